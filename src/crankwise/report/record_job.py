"""The record's part on the job: hook-up, checks, what was said and done, history, versions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise import __version__
from crankwise.language import say, told
from crankwise.model.job import (
    Advice,
    CheckDone,
    Choice,
    CodesRead,
    Complaint,
    HookUp,
    Note,
    Offer,
    PriceItem,
    Repair,
)
from crankwise.report.blocks import Bullets, Facts, Paragraph, Section, Table
from crankwise.report.common import sentence
from crankwise.report.outlook import chance
from crankwise.report.prices import Amount, priced
from crankwise.report.record_found import digest_table
from crankwise.report.written import TWO_SIDED_95

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from crankwise.model.job import VisitFile
    from crankwise.model.policy import Policy
    from crankwise.model.shelf import KnownGood
    from crankwise.report.dossier import Dossier
    from crankwise.report.prices import Price
    from crankwise.report.written import Written
    from crankwise.store import History, HistorySeries


def complaint(dossier: Dossier) -> Facts | None:
    """What the driver complains of and which codes were read; none where neither is known."""
    pairs: list[tuple[str, str]] = [
        (say("complaint"), fact.text or say("none")) for fact in dossier.facts(Complaint)
    ]
    pairs += [
        (
            say("codes read"),
            "; ".join(filter(None, (", ".join(fact.codes) or say("none"), fact.note))),
        )
        for fact in dossier.facts(CodesRead)
    ]
    if dossier.vehicle is not None and dossier.vehicle.details.vin:
        pairs.insert(0, ("VIN", dossier.vehicle.details.vin))
    return Facts(tuple(pairs)) if pairs else None


def hook_up(dossier: Dossier) -> Iterator[Section]:
    """How each signal was reached, and the checks before and after."""
    taken = dossier.facts(HookUp)
    if taken:
        yield Section(say("Hook-up"), (hook_up_table(taken),))
    checks = [_check(fact) for fact in dossier.facts(CheckDone)]
    if checks:
        yield Section(say("Checks"), (Bullets(tuple(checks)),))


def hook_up_table(taken: tuple[HookUp, ...]) -> Table:
    """Table of how signals were reached."""
    return Table(
        head=(
            say("signal"), say("connector"), say("pin"), say("wire"), say("probed at"),
            say("unplugged"), say("puncture"),
        ),
        rows=tuple(
            (
                told(fact.signal), fact.connector, fact.pin, fact.wire, fact.probed_at,
                fact.unplugged, _puncture(fact),
            )
            for fact in taken
        ),
        wide=(1, 4, 5),
    )  # fmt: skip


def _puncture(fact: HookUp) -> str:
    if fact.puncture_sealed is None:
        return say("not pierced")
    return say("sealed") if fact.puncture_sealed else say("open")


def _check(fact: CheckDone) -> str:
    when = say("before the recording") if fact.when == "before" else say("after the recording")
    done = fact.name if fact.done else say("{check}: not done", check=fact.name)
    return sentence(": ".join((when, "; ".join(filter(None, (done, fact.note))))))


def recordings(file: VisitFile, written: Written) -> Section:
    """Every recording of the visit with its digest."""
    return Section(
        say("Recordings of this visit"),
        (
            Table(
                head=(say("recording"), say("purpose"), say("bytes")),
                rows=tuple(
                    (
                        item.recording.name,
                        told(item.purpose),
                        written.number(item.recording.size_bytes, 0)
                        if item.recording.size_bytes is not None
                        else say("not kept here"),
                    )
                    for item in file.recordings
                ),
                numbers=(2,),
                wide=(0,),
            ),
            digest_table(
                [(item.recording.sha256, item.recording.name) for item in file.recordings]
            ),
        ),
    )


def known_goods(shelf: tuple[KnownGood, ...], written: Written) -> Section:
    """Known-goods of the shelf that the comparison rests on."""
    return Section(
        say("Known-goods of the shelf"),
        (
            Table(
                head=(
                    say("known-good"),
                    say("family"),
                    say("measured"),
                    say("mileage"),
                    say("how good"),
                ),
                rows=tuple(_known_good(item, written) for item in shelf),
                numbers=(3,),
                wide=(4,),
            ),
        ),
    )


def _known_good(item: KnownGood, written: Written) -> tuple[str, ...]:
    provenance, grade = item.measurement.provenance, item.grade
    words = (
        say("fresh chain") if grade.fresh_chain else "",
        grade.verified_by or "",
        say("warm") if grade.warm else "",
        say("phasers parked") if grade.phasers_parked else "",
        told(provenance.conditions or ""),
        grade.note,
    )
    return (
        item.id,
        item.family,
        written.day(provenance.date or ""),
        written.mileage(provenance.mileage, provenance.mileage_unit),
        ", ".join(filter(None, words)),
    )


def said_and_done(dossier: Dossier, written: Written, *, roles: Sequence[str]) -> Iterator[Section]:
    """Advice, offers, choice, repair, prices and notes, as they were written down.

    ``roles`` are those of the quantity that the verdict rests on, for the chance of an offer.
    """
    lines = [say("Advised: {what}", what=fact.text) for fact in dossier.facts(Advice)]
    for price in priced(dossier.facts(Offer)):
        lines += _offered(price, dossier, written, roles)
    lines += map(_chosen, dossier.facts(Choice))
    lines += map(_repaired, dossier.facts(Repair))
    lines += [
        say(
            "Price: {what}, {amount}",
            what=fact.text,
            amount=written.money(fact.amount, fact.amount, fact.currency),
        )
        for fact in dossier.facts(PriceItem)
    ]
    lines += [say("Note: {what}", what=fact.text) for fact in dossier.facts(Note)]
    if lines:
        yield Section(say("Said and done"), (Bullets(tuple(map(sentence, lines))),))


def _chosen(fact: Choice) -> str:
    if fact.accepted:
        return say("Accepted: {what}", what=fact.text)
    return say("Declined: {what}", what=fact.text)


def _repaired(fact: Repair) -> str:
    if fact.chain_replaced:
        return say("Repaired, new chain: {what}", what=fact.text)
    return say("Repaired, chain kept: {what}", what=fact.text)


def _offered(
    price: Price, dossier: Dossier, written: Written, roles: Sequence[str]
) -> Iterator[str]:
    """What an option costs: each offer, then sum, taxes and total, then the chance."""
    option = {"now": say("Offer, now"), "watch": say("Offer, watch"), "later": say("Offer, later")}

    def money(amount: Amount) -> str:
        return written.money(amount.low, amount.high, price.currency)

    for offer in price.offers:
        yield f"{option[price.option]}: {offer.text}, {money(Amount(offer.low, offer.high))}"
    parts = [say("sum {amount}", amount=money(price.net))]
    parts += [
        say(
            "tax {percent} {amount}", percent=written.percent(tax.percent), amount=money(tax.amount)
        )
        for tax in price.taxes
    ]
    parts.append(say("total {amount}", amount=money(price.total)))
    yield f"{option[price.option]}: {', '.join(parts)}"
    if price.recheck_mileage is not None:
        unit = dossier.visit.mileage_unit if dossier.visit else None
        again = say("again at {mileage}", mileage=written.mileage(price.recheck_mileage, unit))
        told_chance = chance(dossier.history, roles, price.recheck_mileage, written)
        yield f"{option[price.option]}: {again}. {told_chance}"


def history(found: History, written: Written) -> Iterator[Section]:
    """Shifts of every visit against one known-good, and where they lead."""
    for series in found.series:
        yield Section(
            say("History: {quantity}", quantity=told(series.quantity)),
            (_visits(series, found.mileage_unit, written), Bullets(tuple(_trend(series)))),
        )
    if found.left_out:
        yield Section(
            say("History: left out"), (Bullets(tuple(told(line) for line in found.left_out)),)
        )


def _visits(series: HistorySeries, unit: str, written: Written) -> Table:
    return Table(
        head=(say("visit"), say("mileage"), say("shift")),
        rows=tuple(
            (
                _visit_name(visit.name, written),
                written.mileage(visit.mileage, unit),
                written.change(visit.shift_deg, TWO_SIDED_95 * visit.standard_uncertainty_deg),
            )
            for visit in series.visits
        ),
        numbers=(1, 2),
        wide=(0,),
    )


def _visit_name(name: str, written: Written) -> str:
    """Write the name of a visit, which is its day and the recording, with the day as days are."""
    day, comma, recording = name.partition(", ")
    return f"{written.day(day)}{comma}{recording}"


def _trend(series: HistorySeries) -> Iterator[str]:
    yield told(series.worn.reason)
    for name, trend in ((say("worn"), series.worn), (say("out of time"), series.out_of_time)):
        if trend.forecast is not None:
            yield f"{name}: {told(trend.forecast.text)}"
    yield from (told(remark) for remark in series.worn.remarks)


def policy(rules: Policy) -> Section:
    """Values of the policy with where each comes from."""
    groups = {
        "limits": rules.limits, "spread": rules.spread, "causes": rules.causes,
        "refusal": rules.refusal,
    }  # fmt: skip
    rows = []
    for key, source in rules.sources.items():
        group, _, name = key.partition(".")
        inner, _, prior = name.partition(".")
        value = getattr(groups[group], inner)
        rows.append((key, told(f"{value[prior] if prior else value:g}"), told(source)))
    return Section(
        say("Policy"),
        (
            Paragraph(say("The values in force when this record was printed."), "small"),
            Table(
                head=(say("key"), say("value"), say("source")),
                rows=tuple(rows), numbers=(1,), wide=(2,),
            ),
        ),
    )  # fmt: skip


def versions(dossier: Dossier, written: Written) -> Section:
    """With what it was measured, compared and printed, and every step with its settings."""
    comparison, measured, kept = dossier.comparison, dossier.measured, dossier.kept
    pairs: list[tuple[str, str]] = [(say("printed by"), f"Crankwise {__version__}")]
    if measured is not None:
        pairs.append(
            (
                say("measured"),
                say(
                    "{when} by Crankwise {version}, method {method}",
                    when=written.moment(measured.measured_at), version=measured.program,
                    method=measured.method,
                ),
            )
        )  # fmt: skip
    if kept is not None:
        pairs.append((say("compared"), written.moment(kept.compared_at)))
    if comparison is not None:
        pairs.append(
            (say("comparison"), f"{comparison.format}, {say('method')} {comparison.method}")
        )
    steps = (
        *(dossier.measurement.history if dossier.measurement else ()),
        *(comparison.history if comparison else ()),
    )
    pairs += [
        (told(step.name), ", ".join(f"{k} {v}" for k, v in step.settings.items() if v is not None))
        for step in steps
    ]
    return Section(say("Versions and steps"), (Facts(tuple(pairs)),))
