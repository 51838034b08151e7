"""A vehicle's file: jobs, visits, and the facts of a visit, which are added and never changed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Literal

from crankwise.model.comparison import Comparison
from crankwise.model.kept import KeptMeasurement, KeptRecording

MileageUnit = Literal["km", "miles"]
Purpose = Literal["diagnosis", "before-repair", "after-repair", "check"]


@dataclass(frozen=True, slots=True)
class Workshop:
    """A workshop."""

    id: int
    name: str


@dataclass(frozen=True, slots=True)
class VehicleDetails:
    """What is private about a vehicle; it never leaves with an export."""

    vin: str | None = None
    plate: str | None = None
    customer: str | None = None


@dataclass(frozen=True, slots=True)
class Vehicle:
    """A vehicle, under the name that the workshop uses for it.

    ``details`` are the ones recorded last; ``family`` is the engine's.
    """

    id: int
    label: str
    workshop: str | None
    family: str | None
    details: VehicleDetails
    added_at: datetime


@dataclass(frozen=True, slots=True)
class Job:
    """One matter with a vehicle, over one or several visits."""

    id: int
    vehicle_id: int
    title: str
    opened_at: datetime


@dataclass(frozen=True, slots=True)
class Visit:
    """One day's work at one mileage; ``date`` is ISO 8601 (``2026-03-01``)."""

    id: int
    job_id: int
    date: str
    mileage: float | None
    mileage_unit: MileageUnit | None
    recorded_at: datetime


@dataclass(frozen=True, slots=True)
class VisitRecording:
    """A recording made on a visit, and what for."""

    id: int
    visit_id: int
    recording: KeptRecording
    purpose: Purpose
    recorded_at: datetime


@dataclass(frozen=True, slots=True)
class Complaint:
    """What the customer says; an empty text says that there is no complaint."""

    text: str


@dataclass(frozen=True, slots=True)
class CodesRead:
    """Trouble codes read from the control unit; none is a fact too."""

    codes: tuple[str, ...]
    note: str = ""


@dataclass(frozen=True, slots=True)
class HookUp:
    """How one signal was reached.

    Attributes
    ----------
    signal : str
        ``crank``, ``intake``, …
    connector, pin, wire, probed_at : str
        Where, as the wiring diagram says and as it was found.
    unplugged : str
        What was unplugged for it.
    puncture_sealed : bool or None
        ``None`` where no insulation was pierced.
    """

    signal: str
    connector: str = ""
    pin: str = ""
    wire: str = ""
    probed_at: str = ""
    unplugged: str = ""
    puncture_sealed: bool | None = None


@dataclass(frozen=True, slots=True)
class CheckDone:
    """A check before or after the recording: reconnected, codes cleared, crank relearned."""

    when: Literal["before", "after"]
    name: str
    done: bool
    note: str = ""


@dataclass(frozen=True, slots=True)
class Advice:
    """What the workshop advised."""

    text: str


@dataclass(frozen=True, slots=True)
class Choice:
    """What the owner chose, and whether that is the repair advised."""

    text: str
    accepted: bool


@dataclass(frozen=True, slots=True)
class Repair:
    """A repair that was done.

    ``chain_replaced`` starts a new series of the history; ``mileage`` is in the visit's unit and
    needed only where the visit has none.
    """

    text: str
    chain_replaced: bool
    mileage: float | None = None


@dataclass(frozen=True, slots=True)
class PriceItem:
    """A line of the bill; ``currency`` is an ISO 4217 code such as ``EUR``."""

    text: str
    amount: Decimal
    currency: str


Option = Literal["now", "watch", "later"]


@dataclass(frozen=True, slots=True)
class Offer:
    """What one of the owner's choices costs, from the workshop's own figures.

    Attributes
    ----------
    option : {"now", "watch", "later"}
        Repair now; watch and measure again; repair after it has failed.
    text : str
        What is in it, in words.
    low, high : Decimal
        Range of the price without tax; alike where it is one figure.
    currency : str
        ISO 4217 code such as ``EUR``.
    tax_percent : Decimal or None
        Put on top; ``None``: the price is final.
    recheck_mileage : float or None
        For ``watch``: when to measure again, in the visit's unit.
    """

    option: Option
    text: str
    low: Decimal
    high: Decimal
    currency: str
    tax_percent: Decimal | None = None
    recheck_mileage: float | None = None


@dataclass(frozen=True, slots=True)
class Note:
    """Anything else worth keeping."""

    text: str


Fact = (
    Complaint | CodesRead | HookUp | CheckDone | Advice | Choice | Repair | PriceItem | Offer | Note
)


@dataclass(frozen=True, slots=True)
class KeptFact:
    """A fact as kept: of a job, mostly of a visit; ``replaces`` names the fact it corrects."""

    id: int
    kind: str
    fact: Fact
    job_id: int
    visit_id: int | None
    recorded_at: datetime
    replaces: int | None = None


@dataclass(frozen=True, slots=True)
class KeptComparison:
    """A comparison made on a visit, with the known-goods of the shelf that it rests on."""

    id: int
    visit_id: int
    measurement_id: int | None
    known_good_ids: tuple[str, ...]
    compared_at: datetime
    comparison: Comparison


@dataclass(frozen=True, slots=True)
class VisitFile:
    """A visit with all that belongs to it, in the order it was recorded.

    ``facts`` leaves out those that a later one replaces.
    """

    visit: Visit
    recordings: tuple[VisitRecording, ...]
    measurements: tuple[KeptMeasurement, ...]
    comparisons: tuple[KeptComparison, ...]
    facts: tuple[KeptFact, ...]


@dataclass(frozen=True, slots=True)
class JobFile:
    """A job with all that belongs to it.

    ``facts`` are those of the job itself, ``known_goods`` the ids of known-goods made from its
    recordings.
    """

    job: Job
    vehicle: Vehicle
    visits: tuple[VisitFile, ...]
    facts: tuple[KeptFact, ...]
    known_goods: tuple[str, ...]


State = Literal[
    "open",
    "to-record",
    "to-measure",
    "to-compare",
    "judged",
    "advised",
    "declined",
    "accepted",
    "repaired",
    "verified",
]


@dataclass(frozen=True, slots=True)
class JobState:
    """Where a job stands, which fact says so, and what would come next."""

    state: State
    because: str
    next_step: str
