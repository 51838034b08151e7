"""Time bases that lie: jumps, gaps, doubles, other clocks, too few samples, backwards."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from attacks.numbers_case import Case, all_changed, changed, samples
from attacks.numbers_engine import draw_engine, nameless, subject
from attacks.numbers_target import passes_backwards
from crankwise.errors import CrankwiseError
from crankwise.readers import read

if TYPE_CHECKING:
    from attacks.numbers_case import Change, Samples


def _retimed(rng: np.random.Generator, change: Change) -> Case:
    case = subject(rng).case()
    return nameless(replace(case, recording=all_changed(case.recording, change)), rng)


def wrong_interval(rng: np.random.Generator) -> Case:
    """The file states another interval: no angle may change."""
    case = subject(rng).case()
    factor = float(10.0 ** rng.uniform(-1.2, 1.2))
    old = case.recording
    recording = replace(
        old, interval_s=(old.interval_s or 0.0) * factor, duration_s=old.duration_s * factor
    )
    return replace(case, recording=recording)


def warped(values: Samples, place: Samples) -> Samples:
    """The signal at other times; ``place`` in samples."""
    return np.interp(place, np.arange(len(values)), values)


def clock_drift(rng: np.random.Generator) -> Case:
    """The scope's clock runs faster and faster, or wavers."""
    size, turns = rng.uniform(0.01, 0.4), rng.uniform(0.2, 3)

    def drift(values: Samples) -> Samples:
        share = np.linspace(0.0, 1.0, len(values))
        wave = share + size / (2 * np.pi * turns) * np.sin(2 * np.pi * turns * share)
        return warped(values, wave / wave.max() * (len(values) - 1))

    return _retimed(rng, drift)


def blocks_dropped(rng: np.random.Generator) -> Case:
    """Blocks of samples are lost, and nothing shows it."""
    cuts = [(rng.uniform(0.05, 0.9), rng.uniform(0.001, 0.3)) for _ in range(rng.integers(1, 4))]

    def drop(values: Samples) -> Samples:
        keep = np.ones(len(values), dtype=bool)
        for begin, length in cuts:
            keep[int(begin * len(values)) : int((begin + length) * len(values))] = False
        return values[keep]

    return _retimed(rng, drop)


def blocks_repeated(rng: np.random.Generator) -> Case:
    """A block is written twice or three times."""
    begin, length, times = rng.uniform(0.05, 0.8), rng.uniform(0.005, 0.4), int(rng.integers(2, 4))

    def repeat(values: Samples) -> Samples:
        first, last = int(begin * len(values)), int((begin + length) * len(values))
        return np.concatenate([values[:last], *[values[first:last]] * (times - 1), values[last:]])

    return _retimed(rng, repeat)


def blocks_swapped(rng: np.random.Generator) -> Case:
    """The blocks of the file stand in another order."""
    order = rng.permutation(int(rng.integers(2, 7)))

    def shuffle(values: Samples) -> Samples:
        parts = np.array_split(values, len(order))
        return np.concatenate([parts[place] for place in order])

    return _retimed(rng, shuffle)


def samples_doubled(rng: np.random.Generator) -> Case:
    """Single samples stand twice, at random or every n-th."""
    share, every = float(10.0 ** rng.uniform(-4, -0.3)), rng.random() < 0.5
    seed = int(rng.integers(1 << 31))

    def double(values: Samples) -> Samples:
        place = np.arange(len(values))
        chosen = np.random.default_rng(seed).random(len(values)) < share
        if every:
            chosen = place % max(int(1 / share), 2) == 0
        return np.repeat(values, 1 + chosen)

    return _retimed(rng, double)


def one_channel_late(rng: np.random.Generator) -> Case:
    """The crank lost a block that the cams have: from there on they no longer belong together."""
    case = subject(rng).case()
    begin, length = rng.uniform(0.2, 0.8), rng.uniform(0.002, 0.2)
    values = samples(case.recording, "crank")
    first, last = int(begin * len(values)), int((begin + length) * len(values))
    shorter = np.concatenate([values[:first], values[last:]])
    changes: dict[str, Change] = dict.fromkeys(
        case.recording.channel_names, lambda other: other[: len(shorter)]
    )
    recording = changed(case.recording, {**changes, "crank": lambda _: shorter})
    return replace(case, recording=recording)


def time_column_jumps(rng: np.random.Generator) -> Case:
    """A true time column with jumps forward and jitter."""
    case = subject(rng).case()
    recording = case.recording
    interval_s = recording.interval_s or 1.0
    count = len(samples(recording, "crank"))
    steps = np.full(count, interval_s) * rng.uniform(0.9, 1.1, count)
    for _ in range(int(rng.integers(0, 4))):
        steps[rng.integers(count)] += float(10.0 ** rng.uniform(-3, 0.5))
    time_s = np.cumsum(steps) - steps[0]
    recording = replace(recording, time_s=time_s, duration_s=float(time_s[-1]))
    return nameless(replace(case, recording=recording), rng)


def time_column_spoiled(rng: np.random.Generator) -> Case:
    """A text file whose time column runs back, stands still, or holds holes."""
    case = subject(rng, scope={"duration_s": 1.6, "rate_hz": 2e4}).case()
    recording = case.recording
    names = recording.channel_names
    columns = [samples(recording, name) for name in names]
    count = len(columns[0])
    time_s = np.arange(count) * (recording.interval_s or 1.0)
    how = int(rng.integers(4))
    first, last = np.sort(rng.integers(0, count, 2))
    if how == 0:
        time_s[first:last] = time_s[first:last][::-1]
    elif how == 1:
        time_s[first:] -= time_s[first] * rng.uniform(0, 1)
    elif how == 2:
        time_s[first:last] = time_s[first]
    else:
        time_s[rng.integers(0, count, 20)] = np.nan
    table = np.column_stack([time_s, *columns])
    with tempfile.TemporaryDirectory(prefix="crankwise-attack-") as folder:
        path = Path(folder) / "hostile.csv"
        header = ",".join(["Time (s)", *names])
        np.savetxt(path, table, fmt="%.7g", delimiter=",", header=header, comments="")
        try:
            return replace(case, recording=read(path))
        except CrankwiseError:
            # The reader refused it already: an empty recording will be refused as well.
            return replace(case, recording=replace(recording, channels=()))


def sampled_too_slowly(rng: np.random.Generator) -> Case:
    """A sample every 1 to 8 degrees of the crank: teeth are lost and aliased."""
    rpm = float(rng.uniform(650, 950))
    rate_hz = 6.0 * rpm / float(rng.uniform(1.0, 8.0))
    return nameless(subject(rng, scope={"rate_hz": rate_hz, "duration_s": 4.0}).case(), rng)


def decimated(rng: np.random.Generator) -> Case:
    """Every n-th sample kept, at odd places."""
    every = int(rng.integers(2, 30))
    jitter = int(rng.integers(0, every))
    seed = int(rng.integers(1 << 31))

    def thin(values: Samples) -> Samples:
        place = np.arange(0, len(values) - every, every)
        if jitter:
            place = place + np.random.default_rng(seed).integers(0, jitter + 1, len(place))
        return values[place]

    case = subject(rng).case()
    recording = all_changed(case.recording, thin)
    interval_s = (recording.interval_s or 0.0) * every
    count = len(samples(recording, "crank"))
    recording = replace(recording, interval_s=interval_s, duration_s=(count - 1) * interval_s)
    return replace(case, recording=recording)


def backwards(rng: np.random.Generator) -> Case:
    """Played backwards: no engine of the family looks so.

    Of wheels and cams that are not their own mirror images: one tooth of a cam is as wide
    backwards, and lies elsewhere, as that of a cam that has moved.
    """
    while True:
        number = draw_engine(rng)
        if not passes_backwards(number):
            break
    case = subject(rng, number=number).case()
    recording = all_changed(case.recording, lambda values: values[::-1])
    return replace(case, recording=recording, states_angles=False, shifts=None)


def end_to_end(rng: np.random.Generator) -> Case:
    """Two recordings of one visit in one file, at other speeds."""
    mine = subject(rng)
    case = mine.case()
    share = rng.uniform(0.3, 1.0)
    again = case.recording

    def join(values: Samples) -> Samples:
        return np.concatenate([values, values[: int(share * len(values))]])

    return replace(case, recording=all_changed(again, join))


KINDS = {
    "wrong interval stated": wrong_interval,
    "clock drifting": clock_drift,
    "blocks dropped": blocks_dropped,
    "blocks repeated": blocks_repeated,
    "blocks in another order": blocks_swapped,
    "samples doubled": samples_doubled,
    "a block lost in the crank only": one_channel_late,
    "time column with jumps and jitter": time_column_jumps,
    "time column that runs back or stands": time_column_spoiled,
    "sampled too slowly": sampled_too_slowly,
    "decimated at odd places": decimated,
    "played backwards": backwards,
    "recordings end to end": end_to_end,
}
