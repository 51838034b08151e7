"""One hostile draw: the recording, what is true of it, and the known-good beside it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from crankwise.model.recording import Recording, SampledChannel
from crankwise.units import wrap_signed_deg

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import numpy.typing as npt

    from crankwise.model.measurement import Measurement
    from crankwise.model.wheel import Wheel
    from crankwise.testing.simulate import Simulation, Truth

    Samples = npt.NDArray[Any]
    Change = Callable[[Samples], Samples]

OTHER_EDGE = {"rising": "falling", "falling": "rising"}


@dataclass(frozen=True, slots=True)
class Place:
    """Where one cam edge truly is: its direction, and its angle by each usable crank edge."""

    edge: str
    by_crank_edge_deg: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Answer:
    """What a right measurement may say.

    Attributes
    ----------
    wheel : Wheel
    cams : Mapping of channel to tuple of Place
        A channel that is not here has no edges to be measured.
    """

    wheel: Wheel
    cams: Mapping[str, tuple[Place, ...]]


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """A hostile recording.

    Attributes
    ----------
    recording : Recording
    answers : tuple of Answer
        Any of them is right; with none, only a refusal or a caution is.
    states_angles : bool
        Whether angles can be told right from wrong; without, only the comparison is judged.
    known_good : Measurement or None
        The healthy engine that it is compared with.
    shifts : Mapping of channel to (role, degrees), or None
        True role and shift of each cam against the known-good; ``None`` where nothing can be
        compared and only a refusal or a caution is right.
    crank : str or None
        Channel that the user names as the crank.
    cams : Mapping of role to channel
        Channels that the user names as cams.
    """

    recording: Recording
    answers: tuple[Answer, ...] = ()
    states_angles: bool = True
    known_good: Measurement | None = None
    shifts: Mapping[str, tuple[str, float]] | None = None
    crank: str | None = None
    cams: Mapping[str, str] = field(default_factory=dict)


def answer_of(simulation: Simulation, wheel: Wheel) -> Answer:
    """What a perfect measurement of an undisturbed simulation says."""
    cams = {
        cam.channel: tuple(Place(edge.edge, edge.angle_by_crank_edge_deg) for edge in cam.edges)
        for cam in simulation.truth.cams
    }
    return Answer(wheel, cams)


def shifts_of(subject: Truth, known_good: Truth) -> dict[str, tuple[str, float]]:
    """True shift of each cam that both have, by channel: mean over the flanks of its teeth."""
    before = {
        (cam.role, edge.tooth, edge.edge): edge.geometric_deg
        for cam in known_good.cams
        for edge in cam.edges
    }
    shifts = {}
    for cam in subject.cams:
        moved = [
            float(wrap_signed_deg(edge.geometric_deg - before[cam.role, edge.tooth, edge.edge]))
            for edge in cam.edges
            if (cam.role, edge.tooth, edge.edge) in before
        ]
        if moved:
            shifts[cam.channel] = (cam.role, float(np.mean(moved)))
    return shifts


def turned(answer: Answer, *, turn_deg: float, wheel: Wheel) -> Answer:
    """The same with another zero: every angle grows by ``turn_deg``."""
    cams = {
        channel: tuple(
            Place(
                place.edge,
                {key: (deg + turn_deg) % 720.0 for key, deg in place.by_crank_edge_deg.items()},
            )
            for place in places
        )
        for channel, places in answer.cams.items()
    }
    return Answer(wheel, cams)


def inverted(answer: Answer, channel: str) -> Answer:
    """The same with a channel upside down; the crank is the channel that is no cam."""
    if channel in answer.cams:
        places = tuple(
            replace(place, edge=OTHER_EDGE[place.edge]) for place in answer.cams[channel]
        )
        return replace(answer, cams={**answer.cams, channel: places})
    cams = {
        name: tuple(
            Place(
                place.edge,
                {OTHER_EDGE[key]: deg for key, deg in place.by_crank_edge_deg.items()},
            )
            for place in places
        )
        for name, places in answer.cams.items()
    }
    return replace(answer, cams=cams)


def renamed(case: Case, names: Mapping[str, str]) -> Case:
    """Give channels other names, in the recording and in what is true of it."""

    def new(name: str) -> str:
        return names.get(name, name)

    channels = tuple(replace(item, name=new(item.name)) for item in case.recording.channels)
    return replace(
        case,
        recording=replace(case.recording, channels=channels),  # type: ignore[arg-type]
        answers=tuple(
            replace(answer, cams={new(name): places for name, places in answer.cams.items()})
            for answer in case.answers
        ),
        shifts=None
        if case.shifts is None
        else {new(name): shift for name, shift in case.shifts.items()},
    )


def samples(recording: Recording, name: str) -> Samples:
    """Samples of one channel as 64-bit numbers."""
    channel = recording.channel(name)
    assert isinstance(channel, SampledChannel)  # noqa: S101  (drawn as samples)
    return np.asarray(channel.values, dtype=np.float64)


def changed(recording: Recording, changes: Mapping[str, Change]) -> Recording:
    """Change the samples of some channels; all must keep one length."""
    channels = tuple(
        SampledChannel(item.name, "V", changes[item.name](samples(recording, item.name)))
        if item.name in changes
        else item
        for item in recording.channels
    )
    return _measured_out(replace(recording, channels=channels))  # type: ignore[arg-type]


def all_changed(recording: Recording, change: Change) -> Recording:
    """Change the samples of every channel alike."""
    return changed(recording, dict.fromkeys(recording.channel_names, change))


def _measured_out(recording: Recording) -> Recording:
    """The duration that the samples now have."""
    count = len(samples(recording, recording.channel_names[0]))
    interval_s = recording.interval_s or 0.0
    return replace(recording, duration_s=max(count - 1, 0) * interval_s)


def of_samples(channels: Mapping[str, Samples], interval_s: float) -> Recording:
    """A recording of bare arrays."""
    items = tuple(
        SampledChannel(name, "V", np.asarray(values, dtype=np.float64))
        for name, values in channels.items()
    )
    recording = Recording("bench.csv", "0" * 64, items, 0.0, 0.0, interval_s)
    return _measured_out(recording) if items else recording
