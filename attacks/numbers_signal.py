"""Signals spoiled on their way into the file; the engine and its truth stay as they were."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from attacks.numbers_case import Case, all_changed, changed, inverted, samples
from attacks.numbers_engine import draw_engine, nameless, subject
from crankwise.testing.simulate import Dropout

if TYPE_CHECKING:
    from attacks.numbers_case import Change, Samples


def _spoiled(
    rng: np.random.Generator, change: Change, *, some: bool = False, hall: bool = False
) -> Case:
    """Change all channels of a healthy visit, or some of them."""
    case = subject(rng, number=draw_engine(rng, hall=hall)).case()
    names = case.recording.channel_names
    chosen = [name for name in names if rng.random() < 0.5] if some else list(names)
    recording = changed(case.recording, dict.fromkeys(chosen or [names[0]], change))
    return nameless(replace(case, recording=recording), rng)


def healthy(rng: np.random.Generator) -> Case:
    """Nothing wrong: to show that not everything is refused."""
    return nameless(subject(rng).case(), rng)


def clipped(rng: np.random.Generator) -> Case:
    """A range far too small, cut off or written as infinity."""
    share, beyond = rng.uniform(0.1, 0.8), float(rng.choice([0.0, np.inf]))

    def cut(values: Samples) -> Samples:
        limit = share * float(np.nanmax(np.abs(values)))
        flat = np.clip(values, -limit, limit)
        return (
            np.where(np.abs(values) > limit, np.copysign(beyond, values), values)
            if beyond
            else flat
        )

    return _spoiled(rng, cut)


def upside_down(rng: np.random.Generator) -> Case:
    """Some channels inverted from beginning to end."""
    case = subject(rng).case()
    for name in case.recording.channel_names:
        if rng.random() < 0.5:
            case = replace(
                case,
                recording=changed(case.recording, {name: np.negative}),
                answers=tuple(inverted(answer, name) for answer in case.answers),
            )
    return nameless(case, rng)


def polarity_changes(rng: np.random.Generator) -> Case:
    """A channel turned upside down on the way."""
    case = subject(rng).case()
    name = str(rng.choice(case.recording.channel_names))
    share = rng.uniform(0.1, 0.9)

    def turn(values: Samples) -> Samples:
        late = np.arange(len(values)) > share * len(values)
        return np.where(late, values.max() + values.min() - values, values)

    recording = changed(case.recording, {name: turn})
    both = tuple(inverted(answer, name) for answer in case.answers)
    return replace(case, recording=recording, answers=(*case.answers, *both))


def three_levels(rng: np.random.Generator) -> Case:
    """A range so wide that two to four codes are used.

    A coil of two codes is a threshold logic (see :func:`logic`): its angles have no truth, and only
    the comparison is judged.
    """
    levels = int(rng.integers(2, 5))

    def coarse(values: Samples) -> Samples:
        low, high = float(values.min()), float(values.max())
        step = (high - low) / (levels - 1 + rng.uniform(-0.3, 0.3))
        return np.round((values - rng.uniform(-0.5, 0.5) * step) / step) * step

    case = _spoiled(rng, coarse)
    crank = case.recording.channel_names[0]
    is_logic = len(np.unique(samples(case.recording, crank))) == 2
    is_coil = any(
        len(place.by_crank_edge_deg) == 1
        for answer in case.answers
        for places in answer.cams.values()
        for place in places
    )
    return replace(case, states_angles=not (is_logic and is_coil))


def spikes(rng: np.random.Generator) -> Case:
    """Ignition spikes many times the signal, at every firing."""
    scope = {"spike_v": float(rng.uniform(2, 60)), "spike_s": float(rng.uniform(5e-6, 2e-4))}
    return nameless(subject(rng, scope=scope).case(), rng)


def hum(rng: np.random.Generator) -> Case:
    """Mains hum on top of every channel."""
    case = subject(rng).case()
    interval_s = case.recording.interval_s or 1.0
    size, phase = rng.uniform(0.05, 0.6), rng.uniform(0, 6)

    def add(values: Samples) -> Samples:
        time = np.arange(len(values)) * interval_s
        return np.asarray(values + size * np.ptp(values) * np.sin(2 * np.pi * 50.0 * time + phase))

    return replace(case, recording=all_changed(case.recording, add))


def volts(rng: np.random.Generator) -> Case:
    """Volts of any size on any offset: from a billionth to a billion, down to denormal numbers."""
    scale = float(rng.choice([1e-9, 1e9, 1e-3, 1e-150, 1e150, 1e-310, 1e30]))
    offset = float(rng.choice([0.0, 0.0, 1e3, -1e6, 1e-9]))
    return _spoiled(rng, lambda values: values * scale + offset)


def single_precision(rng: np.random.Generator) -> Case:
    """Half precision and single precision with a large offset: the steps of the number show."""
    kind = np.float16 if rng.random() < 0.5 else np.float32
    offset = float(rng.choice([0.0, 100.0, 1e4]))
    return _spoiled(rng, lambda values: np.asarray((values + offset).astype(kind), np.float64))


def infinities(rng: np.random.Generator) -> Case:
    """Single infinite and missing samples strewn about."""
    share = float(10.0 ** rng.uniform(-5, -1))

    def strew(values: Samples) -> Samples:
        hit = rng.random(len(values)) < share
        return np.where(hit, rng.choice([np.inf, -np.inf, np.nan], len(values)), values)

    return _spoiled(rng, strew, some=True)


def missing_blocks(rng: np.random.Generator) -> Case:
    """Many stretches without samples."""
    count, longest = int(rng.integers(1, 25)), rng.uniform(0.001, 0.2)

    def cut(values: Samples) -> Samples:
        values = values.copy()
        for _ in range(count):
            first = int(rng.integers(len(values)))
            values[first : first + int(longest * rng.random() * len(values))] = np.nan
        return values

    return _spoiled(rng, cut, some=True)


def dropouts(rng: np.random.Generator) -> Case:
    """A bad plug: one channel rests at nought for a while, once or several times."""
    mine = subject(rng)
    roles = ["crank", *(cam.role for cam in mine.spec.cams)]
    length = mine.spec.scope.duration_s
    faults = tuple(
        Dropout(
            str(rng.choice(roles)),
            float(rng.uniform(0, 0.9) * length),
            float(10.0 ** rng.uniform(-3, -0.5) * length),
        )
        for _ in range(int(rng.integers(1, 5)))
    )
    return nameless(
        subject(rng, number=mine.engine, faults=faults, scope={"duration_s": length}).case(), rng
    )


def stuck(rng: np.random.Generator) -> Case:
    """One channel freezes at its last value for part of the recording."""
    case = subject(rng).case()
    name = str(rng.choice(case.recording.channel_names))
    begin, length = rng.uniform(0, 0.8), rng.uniform(0.05, 0.9)

    def freeze(values: Samples) -> Samples:
        values = values.copy()
        first, last = int(begin * len(values)), int((begin + length) * len(values))
        values[first:last] = values[first]
        return values

    return nameless(replace(case, recording=changed(case.recording, {name: freeze})), rng)


def heavy_noise(rng: np.random.Generator) -> Case:
    """Noise of 5 to 60 % of the swing."""
    size = rng.uniform(0.05, 0.6)
    return _spoiled(
        rng, lambda values: values + rng.normal(0.0, size * np.ptp(values), len(values))
    )


def burst_noise(rng: np.random.Generator) -> Case:
    """Noise as large as the signal for part of the recording, at one or all channels."""
    begin, length, size = rng.uniform(0, 0.7), rng.uniform(0.02, 0.4), rng.uniform(0.3, 2.0)

    def burst(values: Samples) -> Samples:
        place = np.arange(len(values)) / len(values)
        here = (place > begin) & (place < begin + length)
        return values + here * rng.normal(0.0, size * np.ptp(values), len(values))

    return _spoiled(rng, burst, some=True)


def two_gains(rng: np.random.Generator) -> Case:
    """The range was switched while recording: another gain and offset from there on."""
    share, gain, offset = rng.uniform(0.1, 0.9), 10.0 ** rng.uniform(-1, 1), rng.uniform(-5, 5)

    def switch(values: Samples) -> Samples:
        late = np.arange(len(values)) > share * len(values)
        return np.where(late, values * gain + offset, values)

    return _spoiled(rng, switch, some=True)


def drifting_base(rng: np.random.Generator) -> Case:
    """A baseline that wanders by up to three times the signal."""
    turns, size = rng.uniform(0.2, 8), rng.uniform(0.3, 3)

    def drift(values: Samples) -> Samples:
        place = np.arange(len(values)) / len(values)
        return np.asarray(values + size * np.ptp(values) * np.sin(2 * np.pi * turns * place))

    return _spoiled(rng, drift)


def coupled(rng: np.random.Generator) -> Case:
    """AC coupling with a corner far too high for slow cam teeth."""
    scope = {"coupling": "ac", "corner_hz": float(rng.uniform(1, 60))}
    return nameless(subject(rng, scope=scope).case(), rng)


def crosstalk(rng: np.random.Generator) -> Case:
    """Each cam carries part of the crank's signal as well, and the crank part of a cam's."""
    case = subject(rng).case()
    names = case.recording.channel_names
    share = rng.uniform(0.05, 0.7)
    whole = {name: samples(case.recording, name) for name in names}
    mixed = {
        name: values
        + share * np.ptp(values) * whole[other] / max(float(np.ptp(whole[other])), 1e-9)
        for (name, values), other in zip(
            whole.items(), (names[-1], *(names[0],) * (len(names) - 1)), strict=True
        )
    }
    changes = {name: (lambda _, name=name: mixed[name]) for name in names}
    return replace(case, recording=changed(case.recording, changes))


def logic(rng: np.random.Generator) -> Case:
    """Nought and one at a threshold that was set anywhere, ringing and noise included.

    Of Hall sensors: a coil through such a threshold has other edges, and no trace of the true ones.
    """
    place = rng.uniform(0.05, 0.95)

    def decide(values: Samples) -> Samples:
        return np.asarray(1.0 * (values > values.min() + place * np.ptp(values)))

    return _spoiled(rng, decide, hall=True)


def event_list(rng: np.random.Generator) -> Case:
    """State changes with a coarse clock."""
    scope = {
        "kind": "events",
        "resolution_s": float(10.0 ** rng.uniform(-7, -3.5)),
        "interval_s": None,
        "rate_hz": None,
    }
    return nameless(subject(rng, scope=scope).case(), rng)


def slow_filter(rng: np.random.Generator) -> Case:
    """A low-pass with a time constant of 5 µs to 0.5 ms on every channel."""
    case = subject(rng).case()
    lag = float(10.0 ** rng.uniform(-5.3, -3.3)) / (case.recording.interval_s or 1.0)

    def smooth(values: Samples) -> Samples:
        kernel = np.exp(-np.arange(int(8 * lag) + 1) / lag)
        size = len(values) + len(kernel)
        spectrum = np.fft.rfft(values, size) * np.fft.rfft(kernel / kernel.sum(), size)
        return np.fft.irfft(spectrum, size)[: len(values)]

    return nameless(replace(case, recording=all_changed(case.recording, smooth)), rng)


KINDS = {
    "healthy, as a control": healthy,
    "clipped": clipped,
    "channels inverted": upside_down,
    "polarity changing on the way": polarity_changes,
    "two to four codes used": three_levels,
    "ignition spikes": spikes,
    "mains hum on top": hum,
    "1e-310 to 1e150 V, huge offsets": volts,
    "half and single precision": single_precision,
    "infinite and missing samples": infinities,
    "missing stretches": missing_blocks,
    "dropouts to nought": dropouts,
    "a channel stuck": stuck,
    "heavy noise": heavy_noise,
    "bursts of noise": burst_noise,
    "range switched": two_gains,
    "wandering baseline": drifting_base,
    "AC coupling": coupled,
    "crosstalk": crosstalk,
    "threshold logic": logic,
    "event list, coarse clock": event_list,
    "low-pass": slow_filter,
}
