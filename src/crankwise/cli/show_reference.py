"""The shelf as people read it on a terminal of 80 columns."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.cli.console import can_print, console_for_people, named_lines, show_saved
from crankwise.cli.show import cam_table
from crankwise.cli.tables import (
    add_row,
    open_table,
    print_bullets,
    print_title,
    print_words,
)
from crankwise.cli.wording import distance, short
from crankwise.language import say, say_many, told
from crankwise.picture.words import bounds_words

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from rich.console import Console

    from crankwise.model.measurement import Measurement, Provenance
    from crankwise.model.shelf import (
        FamilyStatistics,
        Fit,
        Grade,
        KnownGood,
        KnownGoodRow,
        Spread,
    )


def show_rows(rows: Sequence[KnownGoodRow]) -> None:
    """Print one line for each known-good."""
    console = console_for_people()
    if not rows:
        print_words(
            console,
            say("No known-good here yet: add one with crankwise reference add FILE --family NAME."),
        )
        return
    table = open_table("id", "family", "wheel", "mileage", "date", "grade", numbers={"mileage"})
    for row in rows:
        grade = say("retired") if row.retired else "; ".join(grade_words(row.grade, in_short=True))
        add_row(
            table, short(row.id), row.family, told(row.wheel), _mileage(row.provenance),
            told(row.provenance.date or ""), grade,
        )  # fmt: skip
    console.print(table)
    console.print(f"\n{say_many('{count} known-good', '{count} known-goods', len(rows))}")


def _mileage(provenance: Provenance) -> str:
    return distance(provenance.mileage, provenance.mileage_unit)


def grade_words(grade: Grade, *, in_short: bool = False) -> list[str]:
    """Say what is known of a known-good's quality; what was not said is left out."""
    pairs = (
        (grade.fresh_chain, say("fresh chain"), say("used chain")),
        (grade.warm, say("warm"), say("cold")),
        (grade.phasers_parked, say("phasers parked"), say("phasers free")),
    )
    words = [yes if said else no for said, yes, no in pairs if said is not None]
    if in_short:
        return words[:1] + ([say("verified")] if grade.verified_by else [])
    by = say("verified by {what}", what=grade.verified_by)
    return words + ([by] if grade.verified_by else [])


def show_fits(fits: Sequence[Fit], subject: Measurement) -> None:
    """Print the families whose known-goods a recording fits, the best first."""
    console = console_for_people()
    if not fits:
        print_words(
            console,
            say(
                "No known-good on the shelf fits {name}: wheel {wheel}, {cams}.",
                name=subject.recording.name,
                wheel=told(subject.crank.wheel),
                cams=say_many("{count} cam", "{count} cams", len(subject.cams)),
            ),
        )
        return
    table = open_table(
        "family", "wheel", "known-goods", "off by", numbers={"known-goods", "off by"}
    )
    for fit in fits:
        off_by = told(f"{fit.residual_deg:.2f}°")
        add_row(table, fit.family, told(fit.wheel), fit.known_goods, off_by)
    console.print(table)
    for fit in fits:
        print_title(console, fit.family)
        shifts = ", ".join(f"{told(role)} {told(f'{shift:+.1f}°')}" for role, shift in fit.shifts)
        newest = ", ".join(short(identifier) for identifier in fit.ids[:5])
        lines = [say("shifts: {shifts}", shifts=shifts), say("newest: {ids}", ids=newest)]
        print_bullets(console, [*lines, *map(told, fit.remarks)])


def show_known_good(known_good: KnownGood, *, saved: Sequence[Path]) -> None:
    """Print one known-good with its edges."""
    console = console_for_people()
    lines = [
        (say("known-good"), known_good.id),
        (say("family"), known_good.family),
        (say("wheel"), told(known_good.measurement.crank.wheel)),
        (
            say("provenance"),
            "; ".join(_provenance_words(known_good.provenance)) or say("not said"),
        ),
        (say("grade"), "; ".join(grade_words(known_good.grade)) or say("not said")),
        (say("sensor"), known_good.grade.sensor or told(known_good.measurement.crank.sensor)),
        (say("note"), known_good.grade.note),
        (say("retired"), known_good.retired.why if known_good.retired else ""),
        (say("replaces"), known_good.supersedes or ""),
    ]
    console.print(named_lines((name, words) for name, words in lines if words))
    for cam in known_good.measurement.cams:
        cycles = say_many("{count} cycle", "{count} cycles", cam.cycles)
        print_title(console, f"{told(cam.role)}: {cycles}")
        console.print(cam_table(cam, signs=can_print(console, "▲▼")))
    show_saved(console, saved)


def _provenance_words(provenance: Provenance) -> list[str]:
    parts = (
        _mileage(provenance),
        told(provenance.date or ""),
        provenance.conditions,
        say("measured by {name}", name=provenance.measured_by) if provenance.measured_by else "",
    )
    return [part for part in parts if part]


def show_population(family: str, patterns: Sequence[FamilyStatistics]) -> None:
    """Print how the healthy engines of a family differ, cam by cam and edge by edge."""
    console = console_for_people()
    heading = say("{family}: healthy engines against each other", family=family)
    print_words(console, heading, style="bold")
    for pattern in patterns:
        many = say_many("{count} known-good", "{count} known-goods", pattern.known_goods)
        wheel = told(pattern.wheel)
        print_title(console, say("wheel {wheel}, {known_goods}", wheel=wheel, known_goods=many))
        _show_spreads(console, (*pattern.cams, *pattern.separations))
        console.print()
        table = open_table("  cam", "edge", "angle", "spread", "healthy", numbers=_NUMBERS)
        for edge in pattern.edges:
            add_row(
                table, f"  {told(edge.role)}", told(edge.edge), told(f"{edge.angle_deg:.1f}°"),
                told(f"{edge.spread_deg:.2f}°"), bounds_words(edge.low_deg, edge.high_deg),
            )  # fmt: skip
        console.print(table)
        if pattern.outliers:
            print_title(console, say("stands out"))
            lines = (
                f"{short(odd.id)}, {told(odd.quantity)}: {told(odd.text)}"
                for odd in pattern.outliers
            )
            print_bullets(console, lines)


_NUMBERS = {"angle", "spread", "healthy", "mean", "healthy within"}


def _show_spreads(console: Console, spreads: Sequence[Spread]) -> None:
    table = open_table("  of", "mean", "spread", "healthy within", "rests on", numbers=_NUMBERS)
    for spread in spreads:
        between = told(f"{spread.spread_low_deg:.2f} to {spread.spread_high_deg:.2f}")
        add_row(
            table, f"  {told(spread.quantity)}", told(f"{spread.mean_deg:+.2f}°"),
            f"{told(f'{spread.spread_deg:.2f}°')} ({between})",
            bounds_words(spread.low_deg, spread.high_deg), spread.count,
        )  # fmt: skip
    console.print(table)
    remarks = dict.fromkeys(remark for spread in spreads for remark in spread.remarks)
    print_bullets(console, [*map(told, remarks), _shares(spreads)])


def _shares(spreads: Sequence[Spread]) -> str:
    """Bounds for all healthy engines, beside those for the next one in the table."""
    bounds = (
        f"{told(spread.quantity)} {bounds_words(spread.share_low_deg, spread.share_high_deg)}"
        for spread in spreads
    )
    return say(
        "{share} % of all healthy engines lie within, {sure} % sure: {bounds}.",
        share=told(f"{100.0 * spreads[0].coverage:g}"),
        sure=told(f"{100.0 * spreads[0].confidence:g}"),
        bounds=", ".join(bounds),
    )
