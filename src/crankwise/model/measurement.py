"""Everything measured in one recording: the portable result, without samples.

The dataclasses mirror the JSON document ``crankwise.measurement/1`` field by field, so that the
document, the schema and the code can't drift apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from crankwise.model.finding import Finding, Step

FORMAT = "crankwise.measurement/1"


@dataclass(frozen=True, slots=True)
class RecordingInfo:
    """Where the measurement came from.

    ``interval_s`` is ``None`` for event lists; ``channels`` are the names in file order.
    """

    name: str
    sha256: str
    duration_s: float
    interval_s: float | None
    channels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SpeedRange:
    """Crank speed over the measured part, rpm."""

    mean: float
    min: float
    max: float


@dataclass(frozen=True, slots=True)
class SpeedTrace:
    """Crank speed over time, one value for each half revolution: seconds and rpm."""

    time_s: tuple[float, ...]
    speed_rpm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class RippleOrder:
    """One order of the speed ripple inside the cycle, phase-locked to the gap.

    Attributes
    ----------
    order : float
        Events per crank revolution (0.5 = once a cycle).
    amplitude_rpm : float
        Amplitude of this order.
    phase_deg : float
        Crank angle of its first maximum after the zero, 0 to 360/order.
    uncertainty_deg : float
        Expanded uncertainty (95 %) of the phase, crank degrees.
    """

    order: float
    amplitude_rpm: float
    phase_deg: float
    uncertainty_deg: float


@dataclass(frozen=True, slots=True)
class RejectedEdges:
    """Edges taken out or put in while measuring, by reason."""

    glitch: int = 0
    dropout: int = 0
    extra: int = 0
    missing: int = 0


@dataclass(frozen=True, slots=True)
class WheelChoice:
    """How sure the wheel is.

    ``confidence`` is the probability (0 to 1) that the wheel named is right among those tried;
    ``runner_up`` the next best and ``margin`` the difference of their mean log-likelihoods for
    each edge (natural units); ``reason`` says in words why this timing edge was taken.
    """

    confidence: float
    runner_up: str | None
    margin: float
    reason: str


@dataclass(frozen=True, slots=True)
class CrankMeasurement:
    """The crank signal, decoded.

    Attributes
    ----------
    channel, wheel, timing_edge : str
        Name of the channel; name of the wheel; ``rising`` or ``falling``.
    sensor : str
        ``hall``, ``variable-reluctance`` or ``logic``.
    teeth_per_rev : int
        Real teeth in one revolution.
    pitch_deg : float
        Regular tooth pitch, crank degrees.
    intervals_deg : tuple of float
        Spacing of the timing edges from the zero on; the last one is the gap.
    has_gap : bool
        Whether teeth are counted from a gap (else from a chosen tooth).
    revolutions : int
        Whole revolutions measured.
    speed_rpm : SpeedRange
    speed_trace : SpeedTrace
    ripple : tuple of RippleOrder
        Speed ripple locked to the cycle; compared between recordings it is independent
        evidence on the place of the crank target.
    tooth_error_deg : tuple of float
        Learned spacing error of each timing edge, crank degrees; empty if it can't be told
        from speed.
    tooth_error_sd_deg : float
        Standard deviation of the spacing error estimated from its learned part.
    other_edge_offset_deg : float or None
        Angle from the timing edge to the next edge of the other direction (width of a tooth
        or a slot), mean over regular teeth: converts between the two choices.
    rejected : RejectedEdges
    choice : WheelChoice
    cycle_origin : str
        How the one of the two revolutions that starts at 0 was chosen.
    cycle_known : bool
        Whether the cams settle it (else every angle is right only up to 360 degrees).
    tooth_level : str
        Level of a tooth, ``high`` or ``low``, told by the level in the gap; else ``unknown``.
        With it the timing edge is known to be the end or the beginning of a tooth.
    repeats : int or None
        How often the wheel looks the same within a revolution, the widths of its teeth included;
        ``None`` in measurements saved by versions that did not keep it.
    """

    channel: str
    wheel: str
    sensor: str
    timing_edge: str
    teeth_per_rev: int
    pitch_deg: float
    intervals_deg: tuple[float, ...]
    has_gap: bool
    revolutions: int
    speed_rpm: SpeedRange
    speed_trace: SpeedTrace
    ripple: tuple[RippleOrder, ...]
    tooth_error_deg: tuple[float, ...]
    tooth_error_sd_deg: float
    other_edge_offset_deg: float | None
    rejected: RejectedEdges
    choice: WheelChoice
    cycle_origin: str
    cycle_known: bool
    tooth_level: str = "unknown"
    repeats: int | None = None


@dataclass(frozen=True, slots=True)
class Contribution:
    """One line of an uncertainty budget (JCGM 100:2008): standard uncertainty, crank degrees.

    ``kind`` is the GUM's evaluation type, ``A`` (statistics) or ``B`` (other knowledge);
    ``dof`` the degrees of freedom, ``None`` for infinite.
    """

    source: str
    standard_deg: float
    kind: str
    dof: float | None


@dataclass(frozen=True, slots=True)
class CamEdge:
    """One edge of a cam target over the cycle.

    Attributes
    ----------
    edge : str
        ``rising`` or ``falling``, as recorded.
    angle_deg : float
        Crank angle after the zero, 0 <= angle < 720.
    teeth : str
        The same place as a technician counts it, e.g. ``5.0 before the gap``.
    scatter_deg : float
        Cycle-to-cycle standard deviation, crank degrees.
    drift_deg_per_s : float
        Trend over the recording.
    uncertainty_deg : float
        Expanded uncertainty (95 %) of ``angle_deg``.
    coverage_factor, dof : float
        Student factor used and the effective degrees of freedom it came from.
    count : int
        Cycles in which the edge was measured.
    rejected : int
        Outliers left out.
    budget : tuple of Contribution
        Every contribution to the standard uncertainty.
    """

    edge: str
    angle_deg: float
    teeth: str
    scatter_deg: float
    drift_deg_per_s: float
    uncertainty_deg: float
    coverage_factor: float
    dof: float
    count: int
    rejected: int
    budget: tuple[Contribution, ...]


@dataclass(frozen=True, slots=True)
class CamMeasurement:
    """One cam channel: its pattern over the cycle.

    ``role`` is ``intake``, ``exhaust``, with a bank ``intake-1`` …, or ``cam-1`` … where
    nothing tells; ``cycles`` the number of full cycles seen; ``moving_deg`` the range over
    which the whole pattern moved during the recording beyond its scatter (0 if it stood still);
    ``common_scatter_deg`` the standard deviation of the movement common to all edges of the cam.

    ``delay_s`` is how much later than the crank's the cam sensor answers, with its expanded
    uncertainty, estimated where the recording holds speeds different enough; else ``None``.
    """

    channel: str
    role: str
    sensor: str
    cycles: int
    edges: tuple[CamEdge, ...]
    moving_deg: float = 0.0
    common_scatter_deg: float = 0.0
    delay_s: float | None = None
    delay_uncertainty_s: float | None = None


@dataclass(frozen=True, slots=True)
class Provenance:
    """What is known about the engine and the visit; every field optional, never private.

    ``mileage`` is in ``mileage_unit`` (``km`` or ``miles``); ``date`` is ISO 8601.
    """

    engine_family: str | None = None
    mileage: float | None = None
    mileage_unit: str | None = None
    date: str | None = None
    conditions: str | None = None
    measured_by: str | None = None


@dataclass(frozen=True, slots=True)
class Measurement:
    """All that was measured in one recording (format ``crankwise.measurement/1``)."""

    recording: RecordingInfo
    crank: CrankMeasurement
    cams: tuple[CamMeasurement, ...]
    findings: tuple[Finding, ...]
    history: tuple[Step, ...] = ()
    provenance: Provenance = field(default_factory=Provenance)
    roles: Mapping[str, str] = field(default_factory=dict)
    """Role taken for each channel (``crank``, ``intake``, …, ``other``) and, in words, why."""
    method: str = "1"
    """Version of the measuring method; results of different versions may differ slightly."""
    format: str = FORMAT

    def cam(self, role: str) -> CamMeasurement:
        """Return the cam with this role; raises KeyError."""
        for cam in self.cams:
            if cam.role == role:
                return cam
        raise KeyError(role)
