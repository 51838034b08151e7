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
    from collections.abc import Iterable, Sequence
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
    _show_list(console, "mind", verdict.cautions)
    console.print()
    console.print(named_lines(_sides(comparison)))
    _show_cams(console, comparison.cams, pitch_deg)
    _show_separations(console, comparison.separations)
    if comparison.repair is not None:
        _show_repair(console, comparison.repair)
    _show_list(console, "why", _not_said(comparison))
    _show_causes(console, comparison.causes)
    # Nothing is opened up for an engine in time; elsewhere the check has a place of its own.
    check = comparison.next_check if verdict.level != "in-time" else None
    told = [check.text] if check else []
    _show_list(console, "next check", told)
    _show_list(console, "what to do", _without(verdict.advice, told))
    _show_list(console, "trouble codes", verdict.codes)
    _show_list(console, "what would change this", verdict.would_change)
    _show_list(console, "limits", _limits(comparison))
    show_findings(console, comparison.findings)
    show_saved(console, saved)


def _show_verdict(console: Console, comparison: Comparison) -> None:
    verdict = comparison.verdict
    sign = SIGNS[verdict.level]
    shape = sign.sign if can_print(console, sign.sign) else sign.plain
    row = Table.grid(padding=(0, 2))
    row.add_row(
        Text(f"{shape} {verdict.level}", sign.style), Text(printable(verdict.summary), "bold")
    )
    console.print(row)


def _sides(comparison: Comparison) -> list[tuple[str, str]]:
    lines = [("subject", _side(comparison.subject))]
    lines += [("known-good", _side(side)) for side in comparison.known_goods]
    return lines


def _side(side: SideInfo) -> str:
    left_out = "; left out: it stands out of the others" if side.set_aside else ""
    return f"{side.name}: {speed_words(side.speed_rpm)}{left_out}"


def _show_cams(console: Console, cams: Sequence[CamShift], pitch_deg: float) -> None:
    console.print()
    for cam in cams:
        console.print(Text(printable(_sentence(cam.words))))
        if cam.scatter_ratio is not None and cam.scatter_ratio >= _SCATTER_WORTH_SAYING:
            words = f"It scatters about {cam.scatter_ratio:.0f} times as much as the known-good."
            console.print(Padding(Text(words), (0, 0, 0, 2)))
    console.print()
    table = _table("cam", "shift", "crank teeth", "healthy", "direction")
    for cam in cams:
        table.add_row(
            printable(cam.role),
            shift_words(cam.shift_deg, cam.uncertainty_deg),
            _teeth(cam, pitch_deg),
            _healthy(cam.healthy, cam.shift_deg),
            cam.direction,
        )
    console.print(table)


def _show_separations(console: Console, changes: Sequence[SeparationChange]) -> None:
    if not changes:
        return
    console.print()
    table = _table("between", "change", "healthy", "motion")
    for change in changes:
        table.add_row(
            printable(" and ".join(change.between)),
            shift_words(change.change_deg, change.uncertainty_deg),
            _healthy(change.healthy, change.change_deg),
            change.motion,
        )
    console.print(table)


def _table(*titles: str) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="dim")
    for title in titles:
        numbers = title in {"shift", "crank teeth", "change", "healthy"}
        table.add_column(title, justify="right" if numbers else "left")
    return table


def _teeth(cam: CamShift, pitch_deg: float) -> str:
    uncertainty = cam.uncertainty_deg / pitch_deg
    decimals = min(decimals_for(uncertainty), _TOOTH_DECIMALS)
    shift = signed(cam.shift_deg / pitch_deg, decimals=decimals)
    return f"{shift} ± {rounded_up(uncertainty, decimals=decimals)}"


def _healthy(limits: HealthyLimits | None, value_deg: float) -> str:
    if limits is None:
        return "not known"
    place = "within" if limits.contains(value_deg) else "outside"
    return f"{place} {bounds_words(limits.low_deg, limits.high_deg)}"


def _show_causes(console: Console, causes: Sequence[Cause]) -> None:
    if not causes:
        return
    _title(console, "likeliest causes")
    table = Table.grid(padding=(0, 2))
    table.add_column(justify="right")
    for cause in causes[:_MOST_CAUSES]:
        size = f": {cause.size}" if cause.size else ""
        table.add_row(
            f"  {_percent(cause.probability)}", Text(printable(cause.name + size), "bold")
        )
        table.add_row("", Text(printable(_sentence(cause.because))))
    console.print(table)


def _percent(probability: float) -> str:
    """Never 0 % or 100 %, which nothing measured is."""
    if probability < 0.01:
        return "< 1 %"
    return "> 99 %" if probability > 0.99 else f"{100.0 * probability:.0f} %"


def _show_repair(console: Console, repair: RepairCheck) -> None:
    _title(console, "the repair is right" if repair.is_right else "the repair is not complete")
    may = "It may become a known-good" if repair.may_become_known_good else "No known-good yet"
    _bullets(console, [*repair.remains, f"{may}: {repair.why}"])


def _limits(comparison: Comparison) -> list[str]:
    limits = comparison.limits
    lines = [
        f"healthy limits rest on {limits.text}",
        f"code limit {limits.code_limit_deg:g}°: {limits.code_limit_source}",
        f"worn from {limits.worn_from_deg:.1f}°, where that is outside what is healthy",
    ]
    return lines + ([comparison.ripple.words] if comparison.ripple else [])


def _not_said(comparison: Comparison) -> list[str]:
    """Reasons for the verdict that don't stand elsewhere on the page."""
    limits = comparison.limits
    said = [cam.words for cam in comparison.cams]
    said += [change.words for change in comparison.separations]
    said += [limits.text, limits.code_limit_source]
    return _without(comparison.verdict.reasons, said)


def _without(lines: Iterable[str], said: Sequence[str]) -> list[str]:
    """Leave out lines that hold what was said already."""
    told = [words.casefold() for words in said if words]
    return [line for line in lines if not any(words in line.casefold() for words in told)]


def _show_list(console: Console, title: str, lines: Sequence[str]) -> None:
    if lines:
        _title(console, title)
        _bullets(console, lines)


def _title(console: Console, words: str) -> None:
    console.print()
    console.print(Text(words, "bold"))


def _bullets(console: Console, lines: Sequence[str]) -> None:
    table = Table.grid(padding=(0, 1))
    for line in lines:
        table.add_row("  -", Text(printable(_sentence(line))))
    console.print(table)


def _sentence(words: str) -> str:
    """Begin with a capital and end with a full stop."""
    ended = words if words.endswith((".", "!", "?", ":")) else f"{words}."
    return ended[:1].upper() + ended[1:]
