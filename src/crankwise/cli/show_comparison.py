"""A comparison as people read it on a terminal of 80 columns: the verdict first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from crankwise.cli.console import (
    can_print,
    console_for_people,
    named_lines,
    show_findings,
    show_saved,
)
from crankwise.cli.guard import printable
from crankwise.cli.tables import add_row, open_table, print_title
from crankwise.language import say, told
from crankwise.picture.comparison_words import causes_told, chance_words, reasons_left, without
from crankwise.picture.verdicts import SIGNS
from crankwise.picture.words import (
    bounds_words,
    decimals_for,
    rounded_up,
    shift_words,
    signed,
    speed_words,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from rich.console import Console

    from crankwise.model.comparison import (
        CamShift,
        Cause,
        Comparison,
        HealthyLimits,
        RepairCheck,
        SeparationChange,
        SideInfo,
    )

_MOST_CAUSES: Final = 3
_TOOTH_DECIMALS: Final = 2  # finer than anyone counts
_SCATTER_WORTH_SAYING: Final = 1.5


def show_comparison(
    comparison: Comparison, *, pitch_deg: float, saved: Sequence[Path] = ()
) -> None:
    """Print the whole comparison on stdout; ``pitch_deg`` is that of the crank teeth."""
    console = console_for_people()
    verdict = comparison.verdict
    _show_verdict(console, comparison)
    _show_list(console, say("mind"), verdict.cautions)
    console.print()
    console.print(named_lines(_sides(comparison)))
    if comparison.cams:
        _show_cams(console, comparison.cams, pitch_deg)
    _show_separations(console, comparison.separations)
    if comparison.repair is not None:
        _show_repair(console, comparison.repair)
    _show_list(console, say("why"), reasons_left(comparison))
    _show_causes(console, causes_told(comparison.causes))
    # Nothing is opened up for an engine in time; elsewhere the check has a place of its own.
    check = comparison.next_check if verdict.level != "in-time" else None
    to_check = [check.text] if check else []
    _show_list(console, say("next check"), to_check)
    _show_list(console, say("what to do"), without(verdict.advice, to_check))
    _show_list(console, say("trouble codes"), verdict.codes)
    _show_list(console, say("what would change this"), verdict.would_change)
    print_title(console, say("limits"))
    _bullets(console, _limits(comparison))
    show_findings(console, comparison.findings)
    show_saved(console, saved)


def _show_verdict(console: Console, comparison: Comparison) -> None:
    verdict = comparison.verdict
    sign = SIGNS[verdict.level]
    shape = sign.sign if can_print(console, sign.sign) else sign.plain
    row = Table.grid(padding=(0, 2))
    row.add_row(
        Text(f"{shape} {told(verdict.level)}", sign.style),
        Text(printable(told(verdict.summary)), "bold"),
    )
    console.print(row)


def _sides(comparison: Comparison) -> list[tuple[str, str]]:
    lines = [(say("subject"), _side(comparison.subject))]
    lines += [(say("known-good"), _side(side)) for side in comparison.known_goods]
    return lines


def _side(side: SideInfo) -> str:
    words = f"{side.name}: {speed_words(side.speed_rpm)}"
    return f"{words}; {say('left out: it stands out from the others')}" if side.set_aside else words


def _show_cams(console: Console, cams: Sequence[CamShift], pitch_deg: float) -> None:
    console.print()
    for cam in cams:
        console.print(Text(printable(_sentence(told(cam.words)))))
        if cam.scatter_ratio is not None and cam.scatter_ratio >= _SCATTER_WORTH_SAYING:
            words = say(
                "It scatters about {times} times as much as the known-good.",
                times=f"{cam.scatter_ratio:.0f}",
            )
            console.print(Padding(Text(words), (0, 0, 0, 2)))
    console.print()
    table = open_table("cam", "shift", "crank teeth", "healthy", "direction", numbers=_NUMBERS)
    for cam in cams:
        add_row(
            table,
            told(cam.role),
            shift_words(cam.shift_deg, cam.uncertainty_deg),
            _teeth(cam, pitch_deg),
            _healthy(cam.healthy, cam.shift_deg),
            told(cam.direction),
        )
    console.print(table)


def _show_separations(console: Console, changes: Sequence[SeparationChange]) -> None:
    if not changes:
        return
    console.print()
    table = open_table("between", "change", "healthy", "motion", numbers=_NUMBERS)
    for change in changes:
        add_row(
            table,
            told(" and ".join(change.between)),
            shift_words(change.change_deg, change.uncertainty_deg),
            _healthy(change.healthy, change.change_deg),
            told(change.motion),
        )
    console.print(table)


_NUMBERS: Final = {"shift", "crank teeth", "change", "healthy"}


def _teeth(cam: CamShift, pitch_deg: float) -> str:
    uncertainty = cam.uncertainty_deg / pitch_deg
    decimals = min(decimals_for(uncertainty), _TOOTH_DECIMALS)
    shift = signed(cam.shift_deg / pitch_deg, decimals=decimals)
    return told(f"{shift} ± {rounded_up(uncertainty, decimals=decimals)}")


def _healthy(limits: HealthyLimits | None, value_deg: float) -> str:
    if limits is None:
        return say("not known")
    bounds = bounds_words(limits.low_deg, limits.high_deg)
    if limits.contains(value_deg):
        return say("within {limits}", limits=bounds)
    return say("outside {limits}", limits=bounds)


def _show_causes(console: Console, causes: Sequence[Cause]) -> None:
    if not causes:
        return
    print_title(console, say("likeliest causes"))
    table = Table.grid(padding=(0, 2))
    table.add_column(justify="right")
    for cause in causes[:_MOST_CAUSES]:
        size = f": {told(cause.size)}" if cause.size else ""
        table.add_row(
            f"  {chance_words(cause.probability)}", Text(printable(told(cause.name) + size), "bold")
        )
        table.add_row("", Text(printable(_sentence(told(cause.because)))))
    console.print(table)


def _show_repair(console: Console, repair: RepairCheck) -> None:
    right = say("the repair is right") if repair.is_right else say("the repair is not complete")
    print_title(console, right)
    why = told(repair.why)
    may = (
        say("It may become a known-good: {why}", why=why)
        if repair.may_become_known_good
        else say("No known-good yet: {why}", why=why)
    )
    _bullets(console, [*map(told, repair.remains), may])


def _limits(comparison: Comparison) -> list[str]:
    limits = comparison.limits
    lines = [
        say("healthy limits rest on {what}", what=told(limits.text)),
        say(
            "code limit {limit}: {source}",
            limit=told(f"{limits.code_limit_deg:g}°"),
            source=told(limits.code_limit_source),
        ),
        say(
            "worn from {limit}, where that is outside what is healthy",
            limit=told(f"{limits.worn_from_deg:.1f}°"),
        ),
    ]
    return lines + ([told(comparison.ripple.words)] if comparison.ripple else [])


def _show_list(console: Console, title: str, lines: Sequence[str]) -> None:
    if lines:
        print_title(console, title)
        _bullets(console, [told(line) for line in lines])


def _bullets(console: Console, lines: Sequence[str]) -> None:
    table = Table.grid(padding=(0, 1))
    for line in lines:
        table.add_row("  -", Text(printable(_sentence(line))))
    console.print(table)


def _sentence(words: str) -> str:
    """Begin with a capital and end with a full stop."""
    ended = words if words.endswith((".", "!", "?", ":")) else f"{words}."
    return ended[:1].upper() + ended[1:]
