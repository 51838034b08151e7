"""The known-good shelf: measurements of healthy engines, and what they say together."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from crankwise.model.measurement import Measurement, Provenance

FORMAT = "crankwise.known-good/1"


@dataclass(frozen=True, slots=True)
class Grade:
    """How good a known-good is; ``None`` where nobody said.

    Attributes
    ----------
    fresh_chain : bool or None
        The timing chain or belt was new.
    verified_by : str or None
        How the timing was proved, for example ``pins and marks``.
    warm : bool or None
        The engine was at its working temperature.
    phasers_parked : bool or None
        The cam phasers stood at their stops (unplugged).
    sensor : str or None
        Kind of the sensors, in words.
    note : str
    """

    fresh_chain: bool | None = None
    verified_by: str | None = None
    warm: bool | None = None
    phasers_parked: bool | None = None
    sensor: str | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Retirement:
    """When and why a known-good was taken off the shelf; it is kept."""

    at: datetime
    why: str


@dataclass(frozen=True, slots=True)
class KnownGood:
    """A measurement of a healthy engine with its provenance; the portable document.

    Attributes
    ----------
    id : str
        The first 16 digits of ``content_sha256``: the same content has the same name everywhere.
    family : str
        Engine family.
    grade : Grade
    measurement : Measurement
        With its provenance; ties it to the original by ``recording.sha256``. File names are
        neutral in it.
    added_at : datetime
        When it first came to a shelf, UTC.
    content_sha256 : str
        Digest over family, grade, measurement and ``supersedes``.
    supersedes : str or None
        The known-good of the same recording that it takes the place of.
    retired : Retirement or None
    format : str
    """

    id: str
    family: str
    grade: Grade
    measurement: Measurement
    added_at: datetime
    content_sha256: str
    supersedes: str | None = None
    retired: Retirement | None = None
    format: str = FORMAT

    @property
    def provenance(self) -> Provenance:
        """What is known of the engine and the visit."""
        return self.measurement.provenance

    @property
    def wheel(self) -> str:
        """The crank wheel."""
        return self.measurement.crank.wheel


@dataclass(frozen=True, slots=True)
class KnownGoodRow:
    """A line of the shelf: a known-good without its measurement.

    ``edge_counts`` are the edges a cycle of each cam, ``vehicle_id`` the vehicle of this store that
    it was taken from, where it was.
    """

    id: str
    family: str
    wheel: str
    edge_counts: tuple[int, ...]
    provenance: Provenance
    grade: Grade
    recording_sha256: str
    added_at: datetime
    retired: Retirement | None
    vehicle_id: int | None


@dataclass(frozen=True, slots=True)
class FamilySummary:
    """An engine family: how many known-goods it has, how many of them retired, their wheels."""

    name: str
    known_goods: int
    retired: int
    wheels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Fit:
    """A pattern on the shelf that a recording fits, found without naming the engine.

    Attributes
    ----------
    family, wheel : str
    known_goods : int
        How many of the family have this pattern.
    ids : tuple of str
        Those of them, newest first.
    residual_deg : float
        How far the worst edge is off its cam's shift, crank degrees.
    shifts : tuple of (role, shift_deg)
        Against the first known-good of the pattern.
    remarks : tuple of str
        What had to be resolved: swapped names, a signal upside down, the other revolution.
    """

    family: str
    wheel: str
    known_goods: int
    ids: tuple[str, ...]
    residual_deg: float
    shifts: tuple[tuple[str, float], ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Spread:
    """One cam, or the separation of two, over the known-goods of a family.

    Attributes
    ----------
    quantity : str
        In words, for example ``intake cam`` or ``intake to exhaust``.
    count : int
        Known-goods used.
    mean_deg : float
        Mean against the first known-good of the pattern, crank degrees.
    spread_deg, spread_low_deg, spread_high_deg : float
        Build spread (standard deviation) with its 95 % interval, crank degrees.
    low_deg, high_deg : float
        Where the next healthy engine lies, against the first known-good, without the uncertainty
        of measuring it.
    coverage : float
        With which probability.
    share_low_deg, share_high_deg : float
        Bounds that hold the share ``coverage`` of all healthy engines, against the first
        known-good: a tolerance interval.
    confidence : float
        How sure it is that they do.
    basis : str
    remarks : tuple of str
    values_deg : tuple of float
        Every known-good against the first one, also one that was set aside, crank degrees; in the
        order of the ids of the family. Empty where there are so many that the database sums them.
    """

    quantity: str
    count: int
    mean_deg: float
    spread_deg: float
    spread_low_deg: float
    spread_high_deg: float
    low_deg: float
    high_deg: float
    coverage: float
    share_low_deg: float
    share_high_deg: float
    confidence: float
    basis: str
    remarks: tuple[str, ...]
    values_deg: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class EdgeSpread:
    """One cam edge over the known-goods of a family, crank degrees.

    ``angle_deg`` is the mean, ``spread_deg`` the standard deviation (0 with one), ``low_deg`` and
    ``high_deg`` the extremes seen; ``median_deg`` the middle one, ``lower_deg`` and ``upper_deg``
    the bounds that 95 % of those seen lie within. The angles are those of the first known-good's
    zero.
    """

    role: str
    edge: str
    angle_deg: float
    spread_deg: float
    low_deg: float
    high_deg: float
    median_deg: float
    lower_deg: float
    upper_deg: float


@dataclass(frozen=True, slots=True)
class Outlier:
    """A known-good that stands out of its family: which, in what, and in words."""

    id: str
    quantity: str
    text: str


@dataclass(frozen=True, slots=True)
class FamilyStatistics:
    """What the known-goods of one family with one pattern say together.

    ``ids`` are those of the known-goods, the first one first; empty where there are so many that
    the database sums them.
    """

    family: str
    wheel: str
    known_goods: int
    ids: tuple[str, ...]
    cams: tuple[Spread, ...]
    separations: tuple[Spread, ...]
    edges: tuple[EdgeSpread, ...]
    outliers: tuple[Outlier, ...]


@dataclass(frozen=True, slots=True)
class Conflict:
    """A known-good that was not imported as it is: its id, the file's part, and why."""

    id: str
    name: str
    why: str


@dataclass(frozen=True, slots=True)
class ImportReport:
    """What came of an import: ids added, ids that were here already, and conflicts."""

    added: tuple[str, ...]
    present: tuple[str, ...]
    conflicts: tuple[Conflict, ...]


@dataclass(frozen=True, slots=True)
class ExportReport:
    """What was written where, and what was withheld because it names somebody (id and why)."""

    path: Path
    exported: tuple[str, ...]
    withheld: tuple[tuple[str, str], ...]
