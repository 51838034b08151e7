"""Options that say what is known of an engine when it becomes a known-good."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Final, Literal

import typer

from crankwise.errors import UsageError
from crankwise.language import told

if TYPE_CHECKING:
    from crankwise.model.shelf import Grade

UNITS: Final = ("km", "miles")


def _day(value: str | None) -> str | None:
    from crankwise.workshop.typed import day_of  # noqa: PLC0415  keeps --help fast

    if value is None:
        return None
    try:
        day = day_of(value)
    except UsageError as error:
        raise typer.BadParameter(told(str(error))) from None
    if day is None:
        raise typer.BadParameter(told(f"{value!r} is no date: write 2026-03-01"))
    return day


def _known_unit(value: str | None) -> str | None:
    if value is not None and value not in UNITS:
        raise typer.BadParameter(
            told(f"there is no unit {value!r}; give one of: {', '.join(UNITS)}")
        )
    return value


Mileage = Annotated[
    str | None,
    typer.Option(
        "--mileage",
        metavar="N",
        help="What the clock says: 98400, or with its unit '98400 miles'.",
    ),
]
Unit = Annotated[
    str | None,
    typer.Option(
        "--unit",
        metavar="UNIT",
        callback=_known_unit,
        help="Unit of the mileage: km or miles.",
        autocompletion=lambda: list(UNITS),
    ),
]
DateSeen = Annotated[
    str | None,
    typer.Option("--date", metavar="DATE", callback=_day, help="Day of the recording: 2026-03-01."),
]
Conditions = Annotated[
    str | None,
    typer.Option("--conditions", metavar="TEXT", help="How the engine ran: warm idle, starter."),
]
MeasuredBy = Annotated[
    str | None,
    typer.Option("--measured-by", metavar="TEXT", help="Who measured, as far as you wish to say."),
]
FreshChain = Annotated[
    bool | None,
    typer.Option("--fresh-chain/--used-chain", help="Whether the chain is new or has run."),
]
VerifiedBy = Annotated[
    str | None,
    typer.Option(
        "--verified-by", metavar="TEXT", help="How one knows it is right: marks, locking pins."
    ),
]
Warm = Annotated[bool | None, typer.Option("--warm/--cold", help="Whether the engine was warm.")]
PhasersParked = Annotated[
    bool | None,
    typer.Option(
        "--phasers-parked/--phasers-free", help="Whether the phasers stood at their stops."
    ),
]
Sensor = Annotated[
    str | None,
    typer.Option("--sensor", metavar="TEXT", help="Type of the sensors; else as measured."),
]
GradeNote = Annotated[
    str, typer.Option("--note", metavar="TEXT", help="What else one should know.")
]


def mileage_from(
    mileage: str | None, unit: str | None
) -> tuple[float | None, Literal["km", "miles"] | None]:
    """Take a mileage and its unit together or not at all.

    Raises
    ------
    UsageError
        It is no mileage, or one is given without the other.
    """
    if mileage is None:
        if unit is not None:
            raise UsageError("--unit says the unit of a mileage: give --mileage as well")
        return None, None
    number, written = whole_mileage(mileage, option="--mileage")
    known = unit or written
    if known is None:
        raise UsageError(f"--mileage {number:,.0f} needs its unit: --unit km or --unit miles")
    if written is not None and written != known:
        raise UsageError(f"--mileage {mileage!r} and --unit {known} contradict each other")
    return number, "km" if known == "km" else "miles"


def whole_mileage(text: str, *, option: str) -> tuple[float, Literal["km", "miles"] | None]:
    """Read a mileage as people write it, with its unit if that stands behind it.

    Raises
    ------
    UsageError
        It is no whole number.
    """
    from crankwise.workshop.typed import mileage_of  # noqa: PLC0415  keeps --help fast

    found = mileage_of(text)
    if found is None:
        raise UsageError(f"{option}: {text!r} is no mileage; write the whole number, such as 58900")
    return found


def grade_from(
    *,
    fresh_chain: bool | None,
    verified_by: str | None,
    warm: bool | None,
    phasers_parked: bool | None,
    sensor: str | None,
    note: str,
) -> Grade:
    """Gather what is known of the quality of a known-good; what was not said stays unknown."""
    from crankwise.model.shelf import Grade  # noqa: PLC0415  keeps --help fast

    return Grade(
        fresh_chain=fresh_chain,
        verified_by=verified_by,
        warm=warm,
        phasers_parked=phasers_parked,
        sensor=sensor,
        note=note,
    )
