"""The inspection checklist: what to look at, the most telling first, and what speaks for what."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.drive.checks import checks, place_of
from crankwise.drive.hypotheses import JOINT, kinds
from crankwise.language import message, say, told
from crankwise.model.policy import FAULTS, HEALTHY, OTHER_PAIRS
from crankwise.report import common
from crankwise.report.blocks import Blanks, Caution, Paragraph, Section, Sheet, Task, Tasks

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from crankwise.drive.checks import Check
    from crankwise.model.comparison import Cause, Comparison
    from crankwise.report.dossier import Dossier
    from crankwise.report.written import Written

_WORTH_LOOKING: Final = 0.05
"""Probability from which a cause is worth a look."""
_ANYWHERE: Final = {
    "guide-worn": message("between two sprockets"),
    "jumped": message("crank or cam"),
    "phaser-off-stop": message("a cam"),
    "cam-target": message("a cam"),
}
"""Where to look for a kind of fault that no comparison has given a place."""


def checklist_sheet(dossier: Dossier, comparison: Comparison | None, written: Written) -> Sheet:
    """Make the checklist for the causes of a comparison; without one, for every kind of cause."""
    causes = [
        cause
        for cause in (comparison.causes if comparison else ())
        if cause.probability >= _WORTH_LOOKING and cause.cause not in {HEALTHY, OTHER_PAIRS}
    ]
    asked = list(_asked(causes)) if comparison else list(_every())
    return Sheet(
        title=say("Inspection checklist"),
        subject=common.subject(dossier),
        facts=common.heading_facts(dossier, written),
        opening=(*common.vehicle_blanks(dossier), *_opening(comparison, asked)),
        sections=(
            *_first(comparison),
            *(
                Section(_title(part, causes, written), (Tasks(_tasks(part, some)),))
                for part, some in asked
            ),
            Section(say("Result"), (_result(),)),
        ),
    )


def _asked(causes: Sequence[Cause]) -> Iterator[tuple[str, list[Check]]]:
    """Yield each fault behind the causes, likeliest first, with the checks aimed at it."""
    parts = dict.fromkeys(part for cause in causes for part in cause.cause.split(JOINT))
    for part in parts:
        yield part, [check for check in checks() if check.aims_at == kinds(part)[0]]


def _every() -> Iterator[tuple[str, list[Check]]]:
    for kind in FAULTS:
        yield kind, [check for check in checks() if check.aims_at == kind]


def _opening(
    comparison: Comparison | None, asked: Sequence[tuple[str, list[Check]]]
) -> Iterator[Caution | Paragraph]:
    if comparison is not None:
        yield Paragraph(told(comparison.verdict.summary), "lead")
    every = (check.safety for _, some in asked for check in some)
    safety = [told(_finished(words)) for words in dict.fromkeys(every) if words]
    cautions = [told(line) for line in comparison.verdict.cautions] if comparison else []
    if safety or cautions:
        yield Caution(say("Before anything else"), (*safety, *cautions))
    if comparison is not None and not asked:
        yield Paragraph(say("No cause is probable enough to open anything up."))


def _finished(words: str) -> str:
    """End the words that go before a check as a sentence of their own."""
    return f"{words.rstrip(':')}."


def _first(comparison: Comparison | None) -> Iterator[Section]:
    """The check that tells most, in the words of the comparison."""
    if comparison is not None and comparison.next_check is not None:
        task = Task(told(comparison.next_check.text), room=True)
        yield Section(say("First"), (Tasks((task,)),))


def _title(part: str, causes: Sequence[Cause], written: Written) -> str:
    """Name what is looked for, with the probability of the likeliest cause that holds it."""
    cause = next((item for item in causes if part in item.cause.split(JOINT)), None)
    if cause is None:
        return _kind_name(part)
    name, share = told(cause.name), written.share(cause.probability)
    return f"{name[:1].upper()}{name[1:]} ({share})"


def _kind_name(kind: str) -> str:
    return {
        "elongated": say("Chain or belt elongated"),
        "guide-worn": say("Guide worn"),
        "slack-side": say("Slack side loose"),
        "jumped": say("Chain or belt jumped"),
        "phaser-off-stop": say("Phaser off its parked position"),
        "crank-target": say("Crank wheel or crank sensor moved"),
        "cam-target": say("Cam wheel or cam sensor moved"),
    }[kind]


def _tasks(part: str, some: Sequence[Check]) -> tuple[Task, ...]:
    place = place_of(part) if ":" in part else _ANYWHERE.get(part, "timing drive")
    return tuple(
        Task(
            told(check.look.format(place=place)),
            say(
                "Speaks for it: {finding}. Source: {source}.",
                finding=told(check.found.format(place=place)), source=told(check.source),
            ),
            room=True,
        )
        for check in sorted(some, key=lambda check: check.effort)
    )  # fmt: skip


def _result() -> Blanks:
    return Blanks(((say("Found"), ""), (say("To be done"), ""), (say("Day and name"), "")))
