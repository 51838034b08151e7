"""The owner's report: what was found, what it means, what can be done, and what is not known."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.model.job import Advice, Choice, Offer, Repair
from crankwise.model.policy import HEALTHY
from crankwise.report import common, plain_words
from crankwise.report.blocks import (
    Bullets,
    Choices,
    Entry,
    Pair,
    Paragraph,
    Result,
    Section,
    Sheet,
)
from crankwise.report.outlook import chance, is_trending, outlook
from crankwise.report.prices import priced

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crankwise.model.comparison import Cause, Comparison
    from crankwise.model.shop import Profile
    from crankwise.report.blocks import Block
    from crankwise.report.dossier import Dossier
    from crankwise.report.prices import Amount, Price
    from crankwise.report.written import Written

_MOVED: Final = frozenset({"drifting", "worn", "out-of-time"})
_HINT_FROM: Final = 0.5
"""Probability from which a cause is named although nothing is beyond healthy limits."""


def owner_sheet(dossier: Dossier, comparison: Comparison, written: Written) -> Sheet:
    """Make the owner's report on a comparison; every number in it is the comparison's own."""
    return Sheet(
        title=say("The valve timing of your engine"),
        subject=common.subject(dossier),
        facts=common.heading_facts(dossier, written),
        opening=tuple(_opening(dossier, comparison, written)),
        sections=tuple(_sections(dossier, comparison, written)),
    )


def _opening(dossier: Dossier, comparison: Comparison, written: Written) -> Iterator[Block]:
    level, about = comparison.verdict.level, common.quantity(comparison)
    is_judged = level != "not-judged"
    yield Result(
        level=level,
        word=told(level),
        sign=common.sign(level),
        sentence=plain_words.headline(
            level,
            is_loose=common.is_loose(comparison),
            is_repaired=comparison.repair is not None,
            is_alike_in_banks=common.is_alike_in_banks(comparison),
        ),
        amount=written.size(about.change_deg, about.uncertainty_deg) if is_judged else "",
        about=_about(comparison) if is_judged else "",
        now=_now(dossier),
    )
    cam, crank = common.moved_most(comparison.cams), dossier.crank
    if is_judged and cam is not None and crank is not None:
        yield common.owner_figure(
            cam, crank, comparison.limits, written, about=about, caption=_caption(cam.role)
        )


def _about(comparison: Comparison) -> str:
    what = common.of_what(common.quantity(comparison).roles)
    if comparison.verdict.level == "in-time":
        return say("the most that anything is off: {what}", what=what)
    return say("how far it has moved: {what}", what=what)


def _now(dossier: Dossier) -> str:
    """Say how the engine is since its repair, where the report tells how it was before."""
    after = dossier.after
    if after is None or not dossier.is_repaired:
        return ""
    if after.repair is not None and after.repair.is_right:
        return say(
            "Repaired since, and measured again: the timing is as it should be. See the page "
            "on the repair."
        )
    return say(
        "Repaired since, and measured again: not all is right yet. See the page on the repair."
    )


def _caption(role: str) -> str:
    return say(
        "On top, the teeth of the wheel on the crankshaft. Below, the signal of the {camshaft}: "
        "where its line steps up or down tells where the camshaft stands. The dotted line is "
        "where a healthy engine has the same step. Degrees are those of the crankshaft.",
        camshaft=plain_words.camshaft(role),
    )


def _sections(
    dossier: Dossier, comparison: Comparison, written: Written
) -> Iterator[Section | Pair]:
    level = comparison.verdict.level
    cause = comparison.causes[0] if comparison.causes else None
    key = cause.cause if cause else None
    yield Section(say("What it means"), tuple(_meaning(dossier, comparison, written)))
    unknown = plain_words.not_known(level, dossier.engine)
    roles = common.quantity(comparison).roles
    if level in _MOVED or is_trending(dossier.history, roles):
        unknown = (outlook(dossier.history, roles, written), *unknown)
    yield Pair(
        Section(
            say("If it is left as it is"),
            (Bullets(plain_words.if_left(level, key, dossier.engine)),),
        ),
        Section(say("What we don't know"), (Bullets(unknown),)),
    )
    yield from _choices(dossier, comparison, written)
    advised = [fact.text for fact in dossier.facts(Advice)] or [plain_words.advice(level)]
    if level in _MOVED and not dossier.facts(Offer):
        advised.append(say("We have not put prices to this yet. Please ask us."))
    yield common.whole(
        say("What we advise"), (Paragraph(common.sentence(text)) for text in advised)
    )
    yield common.whole(say("How sure this is"), (Bullets(_limits(comparison), tone="small"),))


def _meaning(dossier: Dossier, comparison: Comparison, written: Written) -> Iterator[Block]:
    level, limits = comparison.verdict.level, comparison.limits
    said = plain_words.meaning(
        level,
        is_loose=common.is_loose(comparison),
        worn=written.degrees(limits.worn_from_deg),
        far=written.degrees(limits.code_limit_deg),
        is_alike_in_banks=common.is_alike_in_banks(comparison),
    )
    if level == "not-judged" and not common.is_alike_in_banks(comparison):
        said = f"{said} {plain_words.not_told_because(comparison)}"
    yield Paragraph(f"{plain_words.measured(dossier.engine)} {said}")
    causes = comparison.causes
    if not causes or level == "not-judged":
        return
    if level != "in-time":
        yield Paragraph(_likeliest(causes, dossier, written))
    elif causes[0].cause != HEALTHY and causes[0].probability > _HINT_FROM:
        yield Paragraph(
            say(
                "There is a first hint of {cause} ({share}), too weak to act on. That is why it "
                "is worth measuring again.",
                cause=plain_words.cause_name(causes[0].cause, dossier.engine),
                share=written.share(causes[0].probability),
            )
        )


def _likeliest(causes: tuple[Cause, ...], dossier: Dossier, written: Written) -> str:
    """Name the likeliest cause with its probability, what it is, and the next likely one."""
    first, engine = causes[0], dossier.engine
    said = say(
        "What fits best is {cause} ({share}).",
        cause=plain_words.cause_name(first.cause, engine), share=written.share(first.probability),
    )  # fmt: skip
    note = plain_words.cause_note(first.cause, engine)
    second = next((cause for cause in causes[1:] if cause.cause != first.cause), None)
    rival = (
        say(
            "Next comes {cause} ({share}).",
            cause=plain_words.cause_name(second.cause, engine),
            share=written.share(second.probability),
        )
        if second
        else ""
    )
    return " ".join(filter(None, (said, note, rival)))


def _choices(dossier: Dossier, comparison: Comparison, written: Written) -> Iterator[Section]:
    prices = priced(dossier.facts(Offer))
    if not prices:
        return
    entries = tuple(_entry(price, dossier, comparison, written) for price in prices)
    chosen = [_chosen(fact) for fact in dossier.facts(Choice)]
    done = [say("Done: {repair}.", repair=_ended(fact.text)) for fact in dossier.facts(Repair)]
    yield common.whole(
        say("Your choices"),
        (Choices(entries), *(Paragraph(text) for text in (*chosen, *done))),
    )


def _chosen(fact: Choice) -> str:
    if fact.accepted:
        return say("You chose: {choice}.", choice=_ended(fact.text))
    return say("You decided against it: {choice}.", choice=_ended(fact.text))


def _ended(text: str) -> str:
    """Take the full stop off a text that is put into a sentence."""
    return text.strip().rstrip(".")


def _entry(price: Price, dossier: Dossier, comparison: Comparison, written: Written) -> Entry:
    unit = dossier.visit.mileage_unit if dossier.visit else None
    notes: list[str] = []
    if price.option == "watch":
        roles = common.quantity(comparison).roles
        notes.append(chance(dossier.history, roles, price.recheck_mileage, written))
    return Entry(
        title=_title(price, written.mileage(price.recheck_mileage, unit)),
        lines=tuple(common.sentence(offer.text) for offer in price.offers),
        prices=tuple(_amounts(price, dossier.shop.profile, written)),
        notes=tuple(filter(None, notes)),
    )


def _title(price: Price, recheck: str) -> str:
    if price.option == "now":
        return say("Repair it now")
    if price.option == "later":
        return say("Wait, and repair it after it has failed")
    if recheck:
        return say("Watch it, and measure again at {mileage}", mileage=recheck)
    return say("Watch it, and measure again")


def _amounts(price: Price, profile: Profile, written: Written) -> Iterator[tuple[str, str]]:
    """Price without tax, each tax, and the total, which comes last."""

    def money(amount: Amount) -> str:
        return written.money(amount.low, amount.high, price.currency)

    if price.taxes:
        yield say("Price"), money(price.net)
    for tax in price.taxes:
        name = profile.tax_name or say("Tax")
        yield f"{name} {written.percent(tax.percent)}", money(tax.amount)
    yield say("Total"), money(price.total)


def _limits(comparison: Comparison) -> tuple[str, ...]:
    limits = comparison.limits
    return (
        say("The number after ± is the range in which the true value lies 95 times in 100."),
        plain_words.compared_with(limits.basis, limits.known_goods),
        say(
            "It holds for the day of the measurement, and only for the timing. Every number here "
            "stands in the technician's record."
        ),
        say("We follow the vehicle maker's procedure. This is a measurement, not a repair order."),
    )
