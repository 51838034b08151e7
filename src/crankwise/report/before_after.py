"""The page on a repair: before, after, and whether it is right."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.judge.verdict import Quantity, furthest, quantities
from crankwise.language import say, told
from crankwise.model.job import Repair
from crankwise.report import common
from crankwise.report.blocks import Bullets, Paragraph, Result, Section, Sheet, Table

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from crankwise.model.comparison import Comparison, RepairCheck, SeparationChange
    from crankwise.report.blocks import Block
    from crankwise.report.dossier import Dossier
    from crankwise.report.written import Written

_WIDTH_PERCENT: Final = 82
"""Width of a picture: two of them, one above the other, fit on the page."""
_WIDTH_IN_FULL_PERCENT: Final = 70
"""The same where what remains stands on the page, too."""


def before_after_sheet(
    dossier: Dossier, after: Comparison, repair: RepairCheck, written: Written, *, in_full: bool
) -> Sheet:
    """Make the page on a repair.

    Parameters
    ----------
    dossier : Dossier
    after : Comparison
        After the repair; ``repair`` is its own.
    written : Written
    in_full : bool
        For a technician: also what remains, and whether it may become a known-good.
    """
    about = common.quantity(after)
    between = _separations_before(dossier, after)
    before = quantities(repair.before, between)
    now = quantities(after.cams, after.separations)
    opening: list[Block] = [
        Result(
            level=after.verdict.level,
            word=told(after.verdict.level),
            sign=common.sign(after.verdict.level),
            sentence=_headline(repair),
            amount=written.size(about.change_deg, about.uncertainty_deg),
            about=say("what is left: {what}", what=common.of_what(about.roles)),
        ),
        *(Paragraph(common.sentence(fact.text)) for fact in dossier.facts(Repair)),
    ]
    sections = [
        Section(say("Before and after, in numbers"), (_table(before, now, written),)),
        *_pictures(
            dossier, after, repair, between, written,
            width_percent=_WIDTH_IN_FULL_PERCENT if in_full else _WIDTH_PERCENT,
        ),
    ]  # fmt: skip
    if in_full:
        sections.append(common.whole(say("In full"), (Bullets(tuple(_in_full(repair))),)))
    return Sheet(
        title=say("The repair"),
        subject=common.subject(dossier),
        facts=common.heading_facts(dossier, written),
        opening=tuple(opening),
        sections=tuple(sections),
        closing=say("Both were measured in the same way and compared with the same reference."),
    )


def _separations_before(dossier: Dossier, after: Comparison) -> Sequence[SeparationChange]:
    """What was between the cams before, as the comparison made then tells it.

    It counts only if it rests on the same known-goods as the one after the repair, which keeps
    the cams as they were but not what was between them.
    """
    found = dossier.comparison
    if found is None or not dossier.is_repaired or _reference(found) != _reference(after):
        return ()
    return found.separations


def _reference(comparison: Comparison) -> set[str]:
    return {side.sha256 for side in comparison.known_goods if not side.set_aside}


def _headline(repair: RepairCheck) -> str:
    if repair.is_right:
        return say("The repair is right: the timing is as it should be.")
    return say("The repair is not complete: something is left.")


def _table(before: Sequence[Quantity], after: Sequence[Quantity], written: Written) -> Table:
    earlier = {frozenset(item.roles): item for item in before}
    rows = [_row(earlier.get(frozenset(item.roles)), item, written) for item in after]
    return Table(
        head=(say("what"), say("before"), say("after"), say("healthy"), say("now")),
        rows=tuple(rows),
        numbers=(1, 2, 3),
        wide=(0,),
    )


def _row(was: Quantity | None, now: Quantity, written: Written) -> tuple[str, ...]:
    limits = now.healthy
    return (
        common.of_what(now.roles),
        written.change(was.change_deg, was.uncertainty_deg) if was else say("not told"),
        written.change(now.change_deg, now.uncertainty_deg),
        written.bounds(limits.low_deg, limits.high_deg) if limits else "",
        say("still off") if now.is_beyond_healthy else say("in place"),
    )


def _pictures(
    dossier: Dossier,
    after: Comparison,
    repair: RepairCheck,
    between: Sequence[SeparationChange],
    written: Written,
    *,
    width_percent: int,
) -> Iterator[Section]:
    """Draw the camshaft that had moved most, before and after, one above the other."""
    was, crank = common.moved_most(repair.before), after.crank or dossier.crank
    is_now = next((cam for cam in after.cams if was is not None and cam.role == was.role), None)
    if was is None or is_now is None or crank is None:
        return
    about = furthest(repair.before, between, after.limits)
    later = [
        item
        for item in quantities(after.cams, after.separations)
        if set(item.roles) == set(about.roles)
    ]
    for title, cam, changes in ((say("Before"), was, [about]), (say("After"), is_now, later)):
        for change in changes:
            figure = common.owner_figure(
                cam, crank, after.limits, written, about=change, width_percent=width_percent
            )
            yield Section(title, (figure,))


def _in_full(repair: RepairCheck) -> Iterator[str]:
    yield from (common.sentence(told(line)) for line in repair.remains)
    if repair.may_become_known_good:
        yield say("It may become a known-good: {why}.", why=told(repair.why))
    else:
        yield say("It is no known-good yet: {why}.", why=told(repair.why))
