"""The record's part on what was found: verdict, shifts, limits, causes, the next check."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from crankwise.language import say, told
from crankwise.picture.comparison_print import comparison_strips
from crankwise.report import common
from crankwise.report.blocks import (
    Bullets,
    Caution,
    Figure,
    Heading,
    Paragraph,
    Result,
    Section,
    Table,
)
from crankwise.report.written import findings_lines

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from crankwise.model.comparison import CamShift, Comparison, EdgeShift, HealthyLimits, SideInfo
    from crankwise.report.blocks import Block
    from crankwise.report.dossier import Dossier
    from crankwise.report.written import Written

_WORTH_TELLING: Final = 0.01
"""Probability from which a cause is told in full; all are in the attached comparison."""


def verdict(comparison: Comparison) -> Iterator[Block]:
    """Verdict in one sentence, and what to mind."""
    judged = comparison.verdict
    yield Result(
        level=judged.level,
        word=told(judged.level),
        sign=common.sign(judged.level),
        sentence=told(judged.summary),
    )
    if judged.cautions:
        yield Caution(say("Mind"), _told(judged.cautions))


def pictures(dossier: Dossier, comparison: Comparison) -> Iterator[Section]:
    """Subject over known-good, in strips as wide as the page."""
    blocks = tuple(_strips(dossier, comparison))
    if blocks:
        yield Section(say("Subject over known-good"), blocks)


def _strips(dossier: Dossier, comparison: Comparison) -> Iterator[Block]:
    if dossier.crank is None:
        yield Paragraph(
            say("No picture: this comparison was saved without the teeth of the crank."), "small"
        )
        return
    words = " ".join(common.sentence(told(cam.words)) for cam in comparison.cams)
    for number, strip in enumerate(comparison_strips(comparison, crank=dossier.crank)):
        # The words are the same for every stretch: they are read out once.
        alt = f"{strip.title}. {words}" if number == 0 else strip.title
        yield Heading(strip.title)
        yield Figure(strip.svg, alt)


def sections(comparison: Comparison, written: Written) -> Iterator[Section]:
    """All that the comparison says, in its order."""
    judged = comparison.verdict
    yield Section(say("Shifts against the known-good"), tuple(_shifts(comparison, written)))
    yield from _titled(say("Why"), judged.reasons)
    yield from _titled(say("What to do"), judged.advice)
    yield from _titled(say("Trouble codes to expect"), judged.codes)
    yield from _titled(say("What would change this"), judged.would_change)
    if comparison.causes:
        yield Section(say("Causes and how probable they are"), tuple(_causes(comparison, written)))
    check = comparison.next_check
    if check is not None and not any(check.text in line for line in judged.advice):
        yield Section(say("Next check"), (Paragraph(told(check.text)),))
    yield Section(say("Limits and what they rest on"), tuple(_limits(comparison, written)))
    if comparison.findings:
        yield Section(say("Findings"), (Bullets(findings_lines(comparison.findings)),))


def sides(comparison: Comparison, written: Written) -> Section:
    """List the recordings that took part, with their digests."""
    every = (comparison.subject, *comparison.known_goods)
    digests = digest_table([(side.sha256, side.name) for side in every])
    return Section(say("What was compared"), (_sides(comparison, written), digests))


def _sides(comparison: Comparison, written: Written) -> Table:
    rows = [_side(say("subject"), comparison.subject, written)]
    rows += [_side(say("known-good"), side, written) for side in comparison.known_goods]
    return Table(
        head=("", say("recording"), say("wheel"), say("speed, rpm")),
        rows=tuple(rows),
        numbers=(3,),
        wide=(1,),
    )


def digest_table(pairs: Sequence[tuple[str, str]]) -> Table:
    """List digests with the names of the recordings that they are of."""
    return Table(head=("SHA-256", say("recording")), rows=tuple(dict.fromkeys(pairs)), wide=(1,))


def edges(comparison: Comparison, written: Written) -> Iterator[Section]:
    """Every edge against the known-good, and the uncertainty budget of every shift."""
    for cam in comparison.cams:
        yield Section(
            say("Edges of the {role} cam against the known-good", role=told(cam.role)),
            (_edges(cam, written), _budget(cam, written)),
        )


def _titled(title: str, lines: Sequence[str]) -> Iterator[Section]:
    if lines:
        yield Section(title, (Bullets(_told(lines)),))


def _told(lines: Sequence[str]) -> tuple[str, ...]:
    return tuple(common.sentence(told(line)) for line in lines)


def _shifts(comparison: Comparison, written: Written) -> Iterator[Block]:
    if comparison.cams:
        yield Table(
            head=(
                say("cam"), say("shift"), say("healthy"), say("direction"),
                say("scatter"), say("edges agree"), say("channels"),
            ),
            rows=tuple(_shift_row(cam, written) for cam in comparison.cams),
            numbers=(1, 2, 4, 5),
            wide=(6,),
        )  # fmt: skip
    if comparison.separations:
        yield Table(
            head=(say("between"), say("change"), say("healthy"), say("motion")),
            rows=tuple(
                (
                    say(" and ").join(told(role) for role in change.between),
                    written.change(change.change_deg, change.uncertainty_deg),
                    _healthy(change.healthy, written),
                    told(change.motion),
                )
                for change in comparison.separations
            ),
            numbers=(1, 2),
            wide=(0,),
        )
    if comparison.ripple is not None:
        yield Paragraph(common.sentence(told(comparison.ripple.words)))
    yield Paragraph(
        say(
            "Crank degrees, subject less known-good; positive is later. ± is expanded, 95 %. "
            "Scatter is that of the subject over the known-good's; 'edges agree' is the "
            "probability of edges differing as much by chance."
        ),
        "small",
    )


def _shift_row(cam: CamShift, written: Written) -> tuple[str, ...]:
    channels = f"{cam.subject_channel} / {cam.known_good_channel}"
    return (
        told(cam.role),
        written.change(cam.shift_deg, cam.uncertainty_deg),
        _healthy(cam.healthy, written),
        told(cam.direction),
        f"{written.number(cam.scatter_ratio, 1)} ×" if cam.scatter_ratio is not None else "",
        written.number(cam.consistency, 2),
        f"{channels}, {say('upside down')}" if cam.inverted else channels,
    )


def _healthy(limits: HealthyLimits | None, written: Written) -> str:
    return written.bounds(limits.low_deg, limits.high_deg) if limits else say("not known")


def _causes(comparison: Comparison, written: Written) -> Iterator[Block]:
    """Tell in full what is probable at all, and name the rest."""
    likely = [cause for cause in comparison.causes if cause.probability >= _WORTH_TELLING]
    rest = [told(cause.name) for cause in comparison.causes if cause not in likely]
    yield Table(
        head=(say("probability"), say("cause"), say("because")),
        rows=tuple(
            (
                written.share(cause.probability),
                f"{told(cause.name)}{': ' if cause.size else ''}{told(cause.size)}",
                told(cause.because),
            )
            for cause in likely
        ),
        numbers=(0,),
        wide=(1, 2),
    )
    if rest:
        below = written.share(_WORTH_TELLING)
        yield Paragraph(
            say("Below {share} each: {causes}.", share=below, causes="; ".join(rest)), "small"
        )


def _limits(comparison: Comparison, written: Written) -> Iterator[Block]:
    limits = comparison.limits
    lines = [
        say("Healthy limits rest on: {basis}.", basis=told(limits.text)),
        say(
            "Code limit {deg}: {source}.", deg=written.degrees(limits.code_limit_deg),
            source=told(limits.code_limit_source),
        ),
        say("Worn from {deg}.", deg=written.degrees(limits.worn_from_deg)),
    ]  # fmt: skip
    if comparison.cams and comparison.cams[0].healthy is not None:
        coverage = comparison.cams[0].healthy.coverage
        lines.append(
            say(
                "They hold {share} % of healthy engines.",
                share=written.number(100.0 * coverage, 1),
            )
        )
    yield Bullets(tuple(lines))


def _side(name: str, side: SideInfo, written: Written) -> tuple[str, ...]:
    speed = side.speed_rpm
    recording = f"{side.name}, {say('left out')}" if side.set_aside else side.name
    rpm = say(
        "{mean} ({low} to {high})", mean=written.number(speed.mean, 0),
        low=written.number(speed.min, 0), high=written.number(speed.max, 0),
    )  # fmt: skip
    return name, recording, f"{told(side.wheel)}, {told(side.timing_edge)}", rpm


def _edges(cam: CamShift, written: Written) -> Table:
    return Table(
        head=(
            say("edge"), say("subject"), say("known-good"), say("shift"), say("off its cam"),
            say("teeth, subject"), say("teeth, known-good"),
        ),
        rows=tuple(_edge_row(edge, written) for edge in cam.edges),
        numbers=(1, 2, 3, 4),
        wide=(5, 6),
    )  # fmt: skip


def _edge_row(edge: EdgeShift, written: Written) -> tuple[str, ...]:
    return (
        told(edge.edge),
        written.degrees(edge.subject_deg, 2),
        written.degrees(edge.known_good_deg, 2),
        written.change(edge.shift_deg, edge.uncertainty_deg),
        written.signed(edge.residual_deg, 2),
        told(edge.subject_teeth),
        told(edge.known_good_teeth),
    )


def _budget(cam: CamShift, written: Written) -> Table:
    """Uncertainty budget of the shift of one cam."""
    rows = [
        (
            told(line.source),
            written.degrees(line.standard_deg, 4),
            line.kind,
            "∞" if line.dof is None else written.number(line.dof, 0),
        )
        for line in cam.budget
    ]
    rows.append(
        (
            say("together, and expanded (95 %)"),
            f"{written.degrees(cam.standard_deg, 4)}, {written.degrees(cam.uncertainty_deg, 4)}",
            "",
            written.number(cam.dof, 0),
        )
    )
    return Table(
        head=(
            say("uncertainty of the shift of the {role} cam", role=told(cam.role)),
            say("standard uncertainty"), say("kind"), say("degrees of freedom"),
        ),
        rows=tuple(rows),
        numbers=(1, 3),
        wide=(0,),
    )  # fmt: skip
