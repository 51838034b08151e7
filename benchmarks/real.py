"""Recordings of real engines, which lie outside the project, against what their notes say."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from benchmarks.pages import table
from crankwise.errors import CrankwiseError
from crankwise.pipeline import measure
from crankwise.readers import read

if TYPE_CHECKING:
    from crankwise.model.measurement import CrankMeasurement

FOLDER = Path(__file__).resolve().parents[2] / "shared" / "recordings"


@dataclass(frozen=True, slots=True)
class Known:
    """What the notes beside a recording say of it.

    Attributes
    ----------
    file, about : str
    wheel : str or None
        ``None`` where the notes name none.
    teeth : tuple of int
        Fewest and most teeth a turn that agree with the notes.
    rpm : float or None
    rpm_tolerance : float
        As a share: what the notes' wording leaves open.
    at_end : bool
        Whether the speed is the one at the end instead of the mean.
    """

    file: str
    about: str
    wheel: str | None
    teeth: tuple[int, int]
    rpm: float | None = None
    rpm_tolerance: float = 0.05
    at_end: bool = False

    @property
    def words(self) -> str:
        """The notes in short."""
        low, high = self.teeth
        teeth = f"{low} teeth" if low == high else f"few teeth (at most {high})"
        place = " at the end" if self.at_end else ""
        rpm = "" if self.rpm is None else f", {self.rpm:.0f} rpm{place}"
        return f"{self.wheel}, {teeth}{rpm}" if self.wheel else f"{teeth}{rpm}"


KNOWN = (
    Known("nick_1.csv", "event list, start-up to running", "60-2", (58, 58), 1695.0, at_end=True),
    Known("toyota_3_tooth_cam.csv", "event list, running", "36-2", (34, 34), 1564.0, 0.01),
    Known("nb2-cranking-good.csv", "event list, irregular teeth, cranking", None, (4, 4)),
    # "Few teeth" is all the notes say.
    Known("4g93-cranking.csv", "event list, few teeth, cranking", None, (1, 11)),
    Known("trigger_adc_real1.csv", "coil at 10 kS/s, cranking", "60-2", (58, 58), 160.0, 0.1),
)


@dataclass(frozen=True, slots=True)
class Compared:
    """One recording: what was measured, and whether it agrees with the notes."""

    known: Known
    measured: str
    agrees: bool


def compared() -> list[Compared]:
    """Measure each recording that is there."""
    return [_compare(known) for known in KNOWN if (FOLDER / known.file).is_file()]


def _compare(known: Known) -> Compared:
    try:
        crank = measure(read(FOLDER / known.file)).crank
    except CrankwiseError as error:
        return Compared(known, str(error), agrees=False)
    rpm = _end_rpm(crank) if known.at_end else crank.speed_rpm.mean
    low, high = known.teeth
    agrees = (
        known.wheel in (None, crank.wheel)
        and low <= crank.teeth_per_rev <= high
        and (known.rpm is None or abs(rpm / known.rpm - 1.0) <= known.rpm_tolerance)
    )
    words = f"{crank.wheel}, {crank.teeth_per_rev} teeth, {rpm:.0f} rpm"
    return Compared(known, words, agrees=agrees)


def _end_rpm(crank: CrankMeasurement) -> float:
    """Mean over the last two turns."""
    last = crank.speed_trace.speed_rpm[-4:]
    return sum(last) / len(last)


def real_table(rows: list[Compared]) -> str:
    """Notes beside measurement."""
    if not rows:
        return "The folder of real recordings is not beside the project; none was measured."
    return table(
        ["recording", "its notes", "measured", "agrees"],
        [
            [row.known.about, row.known.words, row.measured, "yes" if row.agrees else "**no**"]
            for row in rows
        ],
    )
