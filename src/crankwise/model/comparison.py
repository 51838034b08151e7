"""A subject against its known-goods: what has moved, by how much, why, and whether it matters.

The dataclasses mirror the JSON document ``crankwise.comparison/1`` field by field.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from crankwise.model.finding import Finding, Step
from crankwise.model.measurement import Contribution, CrankMeasurement, SpeedRange

FORMAT = "crankwise.comparison/1"

Direction = Literal["advanced", "retarded", "unchanged"]
Motion = Literal["closing", "opening", "changed", "unchanged"]
Level = Literal["in-time", "drifting", "worn", "out-of-time", "not-judged"]
Basis = Literal[
    "same-vehicle", "population", "one-other-vehicle", "bank-against-bank", "service-figure", "none"
]


@dataclass(frozen=True, slots=True)
class SideInfo:
    """One recording that took part: the subject, a known-good, or the engine before a repair.

    ``name`` and ``sha256`` are those of the recording; ``speed_rpm`` that of its crank;
    ``set_aside`` says that the recording stood out of the population and was left out.
    """

    name: str
    sha256: str
    speed_rpm: SpeedRange
    wheel: str
    timing_edge: str
    set_aside: bool = False


@dataclass(frozen=True, slots=True)
class CrankTeeth:
    """Teeth of the subject's crank wheel, as far as a picture of the comparison needs them.

    Attributes
    ----------
    channel, wheel : str
        Name of the channel; name of the wheel.
    pitch_deg : float
        Regular tooth pitch, crank degrees.
    intervals_deg : tuple of float
        Spacing of the timing edges from the zero on; the last one is the gap.
    has_gap : bool
        Whether teeth are counted from a gap (else from a chosen tooth).
    """

    channel: str
    wheel: str
    pitch_deg: float
    intervals_deg: tuple[float, ...]
    has_gap: bool

    @classmethod
    def of(cls, crank: CrankMeasurement) -> CrankTeeth:
        """Take the teeth out of what was measured."""
        return cls(
            channel=crank.channel,
            wheel=crank.wheel,
            pitch_deg=crank.pitch_deg,
            intervals_deg=crank.intervals_deg,
            has_gap=crank.has_gap,
        )


@dataclass(frozen=True, slots=True)
class EdgeShift:
    """One edge of a cam, subject less known-good.

    ``shift_deg`` is that of this edge alone, ``residual_deg`` what it is off its cam's shift,
    both crank degrees; ``known_good_teeth`` and ``subject_teeth`` the places as counted.
    """

    edge: str
    subject_deg: float
    known_good_deg: float
    shift_deg: float
    residual_deg: float
    uncertainty_deg: float
    subject_teeth: str
    known_good_teeth: str


@dataclass(frozen=True, slots=True)
class HealthyLimits:
    """Between which bounds a healthy engine's value lies, and on what knowledge.

    Attributes
    ----------
    low_deg, high_deg : float
        Bounds for the change seen, crank degrees; they hold the subject's own uncertainty.
    coverage : float
        Share of healthy engines inside (0 to 1).
    basis : str
        On what they rest.
    known_goods : int
        Recordings that they rest on.
    text : str
        The same in words.
    """

    low_deg: float
    high_deg: float
    coverage: float
    basis: Basis
    known_goods: int
    text: str

    def contains(self, value_deg: float) -> bool:
        """Whether a change lies inside."""
        return self.low_deg <= value_deg <= self.high_deg


@dataclass(frozen=True, slots=True)
class CamShift:
    """How far one cam has moved against its known-good.

    Attributes
    ----------
    role : str
        Role in the known-good; ``subject_channel`` and ``known_good_channel`` the channels.
    shift_deg : float
        Subject less known-good, crank degrees; positive = later = retarded.
    uncertainty_deg : float
        Expanded uncertainty (95 %) of the shift as measured.
    standard_deg, dof : float
        Standard uncertainty and effective degrees of freedom behind it.
    shift_teeth : float
        In crank-wheel pitches.
    direction : str
        ``unchanged`` where the shift is within its uncertainty.
    healthy : HealthyLimits or None
    scatter_ratio : float or None
        Cycle-to-cycle scatter of the subject over that of the known-good.
    consistency : float
        Probability of edges disagreeing as much as these by chance (chi-square test).
    inverted : bool
        Whether the signal is upside down against the known-good.
    words : str
        As a technician says it.
    edges : tuple of EdgeShift
    budget : tuple of Contribution
    """

    role: str
    subject_channel: str
    known_good_channel: str
    shift_deg: float
    uncertainty_deg: float
    standard_deg: float
    dof: float
    shift_teeth: float
    direction: Direction
    healthy: HealthyLimits | None
    scatter_ratio: float | None
    consistency: float
    inverted: bool
    words: str
    edges: tuple[EdgeShift, ...]
    budget: tuple[Contribution, ...]


@dataclass(frozen=True, slots=True)
class SeparationChange:
    """Change of the angle between two cams.

    ``change_deg`` is the shift of the second cam less that of the first; ``motion`` whether the
    two come nearer to each other (``closing``) or part (``opening``), by the shorter way round
    between their patterns; ``changed`` where the patterns leave that open. Uncertainty is expanded,
    95 %.
    """

    between: tuple[str, str]
    change_deg: float
    uncertainty_deg: float
    standard_deg: float
    dof: float
    motion: Motion
    healthy: HealthyLimits | None
    words: str


@dataclass(frozen=True, slots=True)
class RippleShift:
    """Change of the phase of the crank's own speed ripple against the gap.

    Independent of the cams: it moves with the crank target and with nothing in the chain drive.
    ``uncertainty_deg`` is expanded (95 %) and holds what load and combustion may do to it.
    """

    order: float
    shift_deg: float
    uncertainty_deg: float
    words: str


@dataclass(frozen=True, slots=True)
class Cause:
    """One possible cause and how probable it is among those considered.

    ``cause`` is the stable key, ``name`` the words for people, ``size`` the most probable size in
    words where it has one, ``because`` what speaks for it.
    """

    cause: str
    name: str
    probability: float
    because: str
    size: str = ""


@dataclass(frozen=True, slots=True)
class NextCheck:
    """The check that tells the likeliest causes apart best, and what each outcome means."""

    between: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """The judgement in words.

    Attributes
    ----------
    level : str
    summary : str
        One sentence with the number and its uncertainty.
    reasons, advice, would_change, cautions : tuple of str
        Why; what to do; what would change the verdict; what to mind (interference engines).
    codes : tuple of str
        Trouble codes that such a shift would be expected to set, or not yet, in words.
    """

    level: Level
    summary: str
    reasons: tuple[str, ...]
    advice: tuple[str, ...]
    would_change: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    codes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LimitsInfo:
    """On what the limits rest: ``basis`` in one word, ``text`` in words, and the code limit."""

    basis: Basis
    text: str
    code_limit_deg: float
    code_limit_source: str
    worn_from_deg: float
    known_goods: int


@dataclass(frozen=True, slots=True)
class RepairCheck:
    """Before and after a repair against the known-good.

    ``is_right`` whether the engine is in time after it; ``remains`` what is left, in words;
    ``may_become_known_good`` with the reason in ``why``.
    """

    before: tuple[CamShift, ...]
    is_right: bool
    remains: tuple[str, ...]
    may_become_known_good: bool
    why: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """The whole comparison (format ``crankwise.comparison/1``).

    ``crank`` is missing from comparisons saved by versions that did not keep it.
    """

    subject: SideInfo
    known_goods: tuple[SideInfo, ...]
    cams: tuple[CamShift, ...]
    separations: tuple[SeparationChange, ...]
    ripple: RippleShift | None
    limits: LimitsInfo
    causes: tuple[Cause, ...]
    next_check: NextCheck | None
    verdict: Verdict
    findings: tuple[Finding, ...]
    repair: RepairCheck | None = None
    crank: CrankTeeth | None = None
    history: tuple[Step, ...] = ()
    method: str = "1"
    format: str = FORMAT

    def cam(self, role: str) -> CamShift:
        """Return the shift of the cam with this role; raises KeyError."""
        for cam in self.cams:
            if cam.role == role:
                return cam
        raise KeyError(role)
