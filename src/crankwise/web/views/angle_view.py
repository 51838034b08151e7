"""What the angle view of a visit shows, all places on the crank angle of its own recording."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise.angle.position import teeth_in_words
from crankwise.errors import NotFoundError
from crankwise.language import say, told
from crankwise.model.comparison import Level
from crankwise.picture.crank_lane import counted_teeth
from crankwise.picture.layout import Axis
from crankwise.picture.style import has_open_markers
from crankwise.picture.words import angle_words, bounds_words, shift_words, speed_words
from crankwise.units import REVOLUTION_DEG, wrap_cycle_deg
from crankwise.web.views.over_known_goods import OverKnownGoods, over_known_goods

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from crankwise.model.comparison import CamShift
    from crankwise.model.job import KeptComparison, Purpose, VisitFile
    from crankwise.model.kept import KeptMeasurement
    from crankwise.model.measurement import CamEdge, CamMeasurement, CrankMeasurement
    from crankwise.store import Store

_HUES: Final = ("intake", "exhaust")


@dataclass(frozen=True, slots=True)
class ToothView:
    """A timing edge of the crank: its angle, 0 to 360, and how it is counted from the gap."""

    angle_deg: float
    number: int
    after: bool


@dataclass(frozen=True, slots=True)
class CrankView:
    """The crank: ``gap_deg`` is the width of the gap, 0 where there is none to see."""

    channel: str
    wheel: str
    pitch_deg: float
    gap_deg: float
    timing_edge: str
    teeth: tuple[ToothView, ...]


@dataclass(frozen=True, slots=True)
class ShiftView:
    """An edge against its known-goods, crank degrees.

    Attributes
    ----------
    known_good_deg : float
        Mean place of the known-goods' edge on the subject's crank angle, 0 to 720.
    shift_deg, uncertainty_deg : float
    words, known_good_teeth : str
    each_deg : tuple of float
        Place in each single known-good, where there are several.
    """

    known_good_deg: float
    shift_deg: float
    uncertainty_deg: float
    words: str
    known_good_teeth: str
    each_deg: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class EdgeView:
    """An edge of a cam: ``edge`` is ``rising`` or ``falling``; angles are crank degrees."""

    edge: str
    angle_deg: float
    uncertainty_deg: float
    scatter_deg: float
    count: int
    words: str
    teeth: str
    shift: ShiftView | None


@dataclass(frozen=True, slots=True)
class LaneView:
    """One cam.

    Attributes
    ----------
    role, name, channel : str
        ``name`` is the role in the reader's language.
    hue : str
        ``intake``, ``exhaust`` or ``other``.
    is_open : bool
        Whether markers are open, as on bank 2.
    shift : str
        The cam's shift in words; empty if nothing was compared.
    remarks : tuple of str
        Further lines beside the lane.
    healthy_deg : tuple of float or None
        Between which shifts a healthy engine lies.
    edges : tuple of EdgeView
        In order of angle.
    """

    role: str
    name: str
    channel: str
    hue: str
    is_open: bool
    shift: str
    remarks: tuple[str, ...]
    healthy_deg: tuple[float, float] | None
    edges: tuple[EdgeView, ...]


@dataclass(frozen=True, slots=True)
class RecordingChoice:
    """A measured recording of the visit that can be shown; ``purpose`` in words."""

    sha256: str
    name: str
    purpose: str


@dataclass(frozen=True, slots=True)
class VerdictView:
    """The verdict and its sentence."""

    level: Level
    summary: str


@dataclass(frozen=True, slots=True)
class AngleView:
    """The whole picture.

    Attributes
    ----------
    title : str
        Vehicle and day.
    recording : str
        Name of the file.
    facts : str
        Wheel and speed in words.
    doubt : str
        That the revolution is not known, where it is not; else empty.
    crank : CrankView
    lanes : tuple of LaneView
        In the order of the measurement.
    known_goods : tuple of str
        What it is compared with, in words.
    code_limit_deg : float or None
    basis : str
        On what the limits rest.
    verdict : VerdictView or None
    choices : tuple of RecordingChoice
    levels : str
        Address under which levels of the recording are; ``measurement`` goes with each request.
    measurement : int
    """

    title: str
    recording: str
    facts: str
    doubt: str
    crank: CrankView
    lanes: tuple[LaneView, ...]
    known_goods: tuple[str, ...]
    code_limit_deg: float | None
    basis: str
    verdict: VerdictView | None
    choices: tuple[RecordingChoice, ...]
    levels: str
    measurement: int


def angle_view(
    store: Store, visit: VisitFile, *, vehicle: str, sha256: str | None = None
) -> AngleView:
    """Gather the picture of a visit.

    Parameters
    ----------
    store : Store
    visit : VisitFile
    vehicle : str
    sha256 : str, optional
        The recording to show; if not given, the one compared last, else the one measured last.

    Raises
    ------
    NotFoundError
        Nothing was measured at the visit, or it has no such recording.
    """
    kept = _subject(visit, sha256)
    measured = kept.measurement
    compared = _comparison(visit, kept)
    over = over_known_goods(store, measured, compared) if compared else None
    limits = compared.comparison.limits if compared else None
    verdict = compared.comparison.verdict if compared else None
    return AngleView(
        title=f"{vehicle}, {told(visit.visit.date)}",
        recording=measured.recording.name,
        facts=f"{measured.crank.wheel} · {speed_words(measured.crank.speed_rpm)}",
        doubt="" if measured.crank.cycle_known else say(
            "Which revolution comes first is not known: every angle may be 360° more or less."
        ),
        crank=_crank(measured.crank),
        lanes=tuple(_lane(cam, measured.crank, over) for cam in measured.cams),
        known_goods=over.names if over else (),
        code_limit_deg=limits.code_limit_deg if limits else None,
        basis=told(limits.text) if limits else "",
        verdict=VerdictView(verdict.level, told(verdict.summary)) if verdict else None,
        choices=tuple(_choices(visit)),
        levels=f"/api/recordings/{kept.recording_sha256}/levels",
        measurement=kept.id,
    )  # fmt: skip


def _newest(visit: VisitFile, sha256: str) -> KeptMeasurement | None:
    found = [kept for kept in visit.measurements if kept.recording_sha256 == sha256]
    return found[-1] if found else None


def _subject(visit: VisitFile, sha256: str | None) -> KeptMeasurement:
    recorded = [item.recording.sha256 for item in visit.recordings]
    if sha256 is not None and sha256 not in recorded:
        raise NotFoundError(say("This visit has no such recording."))
    wanted = [sha256] if sha256 else [
        *(kept.comparison.subject.sha256 for kept in reversed(visit.comparisons)),
        *reversed(recorded),
    ]  # fmt: skip
    for digest in wanted:
        kept = _newest(visit, digest)
        if kept is not None:
            return kept
    raise NotFoundError(say("Nothing was measured at this visit yet: add a recording."))


def _comparison(visit: VisitFile, kept: KeptMeasurement) -> KeptComparison | None:
    """The newest comparison of this very measurement."""
    found = [one for one in visit.comparisons if one.measurement_id == kept.id]
    return found[-1] if found else None


def _choices(visit: VisitFile) -> Iterator[RecordingChoice]:
    for item in visit.recordings:
        if _newest(visit, item.recording.sha256) is not None:
            words = _purposes()[item.purpose]
            yield RecordingChoice(item.recording.sha256, item.recording.name, words)


def _purposes() -> dict[Purpose, str]:
    return {
        "diagnosis": say("diagnosis"),
        "before-repair": say("before the repair"),
        "after-repair": say("after the repair"),
        "check": say("check"),
    }


def _crank(crank: CrankMeasurement) -> CrankView:
    turn = Axis(0.0, REVOLUTION_DEG - 1e-6, 0.0, 1.0)
    return CrankView(
        channel=crank.channel,
        wheel=crank.wheel,
        pitch_deg=crank.pitch_deg,
        gap_deg=crank.intervals_deg[-1] if crank.has_gap else 0.0,
        timing_edge=crank.timing_edge,
        teeth=tuple(
            ToothView(tooth.angle_deg, tooth.number, tooth.after)
            for tooth in counted_teeth(crank, turn)
        ),
    )


def _lane(cam: CamMeasurement, crank: CrankMeasurement, over: OverKnownGoods | None) -> LaneView:
    shift = over.cams.get(cam.channel) if over else None
    hue = cam.role.partition("-")[0]
    healthy = shift.healthy if shift else None
    return LaneView(
        role=cam.role,
        name=told(cam.role),
        channel=cam.channel,
        hue=hue if hue in _HUES else "other",
        is_open=has_open_markers(cam.role),
        shift=f"{shift_words(shift.shift_deg, shift.uncertainty_deg)} {told(shift.direction)}"
        if shift
        else "",
        remarks=tuple(_remarks(cam, shift)),
        healthy_deg=(healthy.low_deg, healthy.high_deg) if healthy else None,
        edges=tuple(
            _edge(edge, crank, over.edge(cam.channel, number) if over else None)
            for number, edge in enumerate(cam.edges)
        ),
    )


def _remarks(cam: CamMeasurement, shift: CamShift | None) -> Iterator[str]:
    if shift and shift.healthy:
        bounds = bounds_words(shift.healthy.low_deg, shift.healthy.high_deg)
        yield say("healthy {bounds}", bounds=bounds)
    if cam.channel != cam.role:
        yield cam.channel
    if shift and shift.inverted:
        yield say("signal upside down")
    if cam.moving_deg > 0:
        yield say("moves while recorded")


def _edge(
    edge: CamEdge, crank: CrankMeasurement, placed: tuple[float, float, Sequence[float]] | None
) -> EdgeView:
    return EdgeView(
        edge=edge.edge,
        angle_deg=edge.angle_deg,
        uncertainty_deg=edge.uncertainty_deg,
        scatter_deg=edge.scatter_deg,
        count=edge.count,
        words=angle_words(edge.angle_deg, edge.uncertainty_deg),
        teeth=told(edge.teeth),
        shift=_shift(edge, crank, *placed) if placed else None,
    )


def _shift(
    edge: CamEdge,
    crank: CrankMeasurement,
    shift_deg: float,
    uncertainty_deg: float,
    each_deg: Sequence[float],
) -> ShiftView:
    place = wrap_cycle_deg(edge.angle_deg - shift_deg)
    teeth = teeth_in_words(
        place, pitch_deg=crank.pitch_deg, gap_deg=crank.intervals_deg[-1], has_gap=crank.has_gap
    )
    return ShiftView(
        known_good_deg=place,
        shift_deg=shift_deg,
        uncertainty_deg=uncertainty_deg,
        words=shift_words(shift_deg, uncertainty_deg),
        known_good_teeth=told(teeth),
        each_deg=tuple(each_deg),
    )
