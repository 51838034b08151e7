"""The shelf as people read it on a terminal of 80 columns."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.cli.console import can_print, console_for_people, count, named_lines, show_saved
from crankwise.cli.show import cam_table
from crankwise.cli.tables import (
    add_row,
    open_table,
    print_bullets,
    print_title,
    print_words,
)
from crankwise.cli.wording import distance, short
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
            "No known-good here yet: add one with crankwise reference add FILE --family NAME.",
        )
        return
    table = open_table("id", "family", "wheel", "mileage", "date", "grade", numbers={"mileage"})
    for row in rows:
        grade = "retired" if row.retired else "; ".join(grade_words(row.grade, in_short=True))
        add_row(
            table, short(row.id), row.family, row.wheel, _mileage(row.provenance),
            row.provenance.date or "", grade,
        )  # fmt: skip
    console.print(table)
    console.print(f"\n{count(len(rows), 'known-good')}")


def _mileage(provenance: Provenance) -> str:
    return distance(provenance.mileage, provenance.mileage_unit)


def grade_words(grade: Grade, *, in_short: bool = False) -> list[str]:
    """Say what is known of a known-good's quality; what was not said is left out."""
    pairs = (
        (grade.fresh_chain, "fresh chain", "used chain"),
        (grade.warm, "warm", "cold"),
        (grade.phasers_parked, "phasers parked", "phasers free"),
    )
    words = [yes if said else no for said, yes, no in pairs if said is not None]
    if in_short:
        return words[:1] + (["verified"] if grade.verified_by else [])
    return words + ([f"verified by {grade.verified_by}"] if grade.verified_by else [])


def show_fits(fits: Sequence[Fit], subject: Measurement) -> None:
    """Print the families whose known-goods a recording fits, the best first."""
    console = console_for_people()
    if not fits:
        print_words(
            console,
            f"No known-good on the shelf fits {subject.recording.name}: wheel "
            f"{subject.crank.wheel}, {count(len(subject.cams), 'cam')}.",
        )
        return
    table = open_table(
        "family", "wheel", "known-goods", "off by", numbers={"known-goods", "off by"}
    )
    for fit in fits:
        add_row(table, fit.family, fit.wheel, fit.known_goods, f"{fit.residual_deg:.2f}°")
    console.print(table)
    for fit in fits:
        print_title(console, fit.family)
        shifts = ", ".join(f"{role} {shift:+.1f}°" for role, shift in fit.shifts)
        newest = ", ".join(short(identifier) for identifier in fit.ids[:5])
        print_bullets(console, [f"shifts: {shifts}", f"newest: {newest}", *fit.remarks])


def show_known_good(known_good: KnownGood, *, saved: Sequence[Path]) -> None:
    """Print one known-good with its edges."""
    console = console_for_people()
    lines = [
        ("known-good", known_good.id),
        ("family", known_good.family),
        ("wheel", known_good.measurement.crank.wheel),
        ("provenance", "; ".join(_provenance_words(known_good.provenance)) or "not said"),
        ("grade", "; ".join(grade_words(known_good.grade)) or "not said"),
        ("sensor", known_good.grade.sensor or known_good.measurement.crank.sensor),
        ("note", known_good.grade.note),
        ("retired", known_good.retired.why if known_good.retired else ""),
        ("replaces", known_good.supersedes or ""),
    ]
    console.print(named_lines((name, words) for name, words in lines if words))
    for cam in known_good.measurement.cams:
        print_title(console, f"{cam.role}: {count(cam.cycles, 'cycle')}")
        console.print(cam_table(cam, signs=can_print(console, "▲▼")))
    show_saved(console, saved)


def _provenance_words(provenance: Provenance) -> list[str]:
    parts = (
        _mileage(provenance),
        provenance.date,
        provenance.conditions,
        f"measured by {provenance.measured_by}" if provenance.measured_by else "",
    )
    return [part for part in parts if part]


def show_population(family: str, patterns: Sequence[FamilyStatistics]) -> None:
    """Print how the healthy engines of a family differ, cam by cam and edge by edge."""
    console = console_for_people()
    print_words(console, f"{family}: healthy engines against each other", style="bold")
    for pattern in patterns:
        print_title(console, f"wheel {pattern.wheel}, {count(pattern.known_goods, 'known-good')}")
        _show_spreads(console, (*pattern.cams, *pattern.separations))
        console.print()
        table = open_table("  cam", "edge", "angle", "spread", "healthy", numbers=_NUMBERS)
        for edge in pattern.edges:
            add_row(
                table, f"  {edge.role}", edge.edge, f"{edge.angle_deg:.1f}°",
                f"{edge.spread_deg:.2f}°", bounds_words(edge.low_deg, edge.high_deg),
            )  # fmt: skip
        console.print(table)
        if pattern.outliers:
            print_title(console, "stands out")
            print_bullets(
                console,
                (f"{short(odd.id)}, {odd.quantity}: {odd.text}" for odd in pattern.outliers),
            )


_NUMBERS = {"angle", "spread", "healthy", "mean", "healthy within"}


def _show_spreads(console: Console, spreads: Sequence[Spread]) -> None:
    table = open_table("  of", "mean", "spread", "healthy within", "rests on", numbers=_NUMBERS)
    for spread in spreads:
        between = f"{spread.spread_low_deg:.2f} to {spread.spread_high_deg:.2f}"
        add_row(
            table, f"  {spread.quantity}", f"{spread.mean_deg:+.2f}°",
            f"{spread.spread_deg:.2f}° ({between})",
            bounds_words(spread.low_deg, spread.high_deg), spread.count,
        )  # fmt: skip
    console.print(table)
    remarks = dict.fromkeys(remark for spread in spreads for remark in spread.remarks)
    if remarks:
        print_bullets(console, remarks)
