"""The edges of a whole recording, or of one channel: the entry of this package."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np

from crankwise.edges.channel import ChannelFinder, bounds
from crankwise.edges.glitches import keep_teeth
from crankwise.edges.stretch import Stretch
from crankwise.model.edges import Edges
from crankwise.model.recording import EventChannel, FloatArray, Recording, SampledChannel

WORKERS = 4
"""NumPy releases the interpreter lock, so channels go side by side; more of them than processors
even out their different lengths."""


def find_all_edges(recording: Recording) -> dict[str, Edges]:
    """Edges of every channel by name, in file order."""
    names = recording.channel_names
    with ThreadPoolExecutor(max_workers=WORKERS) as pool:
        found = pool.map(lambda name: find_edges(recording, name), names)
        return dict(zip(names, found, strict=True))


def find_edges(recording: Recording, channel_name: str) -> Edges:
    """Edges of one channel.

    A channel on which nothing stands out of the noise has no edges; that is no error here.

    Raises
    ------
    KeyError
        No channel of that name.
    """
    channel = recording.channel(channel_name)
    if isinstance(channel, EventChannel):
        return _from_events(channel)
    return _from_samples(channel, recording)


def _from_events(channel: EventChannel) -> Edges:
    times = channel.times_s
    keep = keep_teeth(times)
    resolution_s = time_resolution_s(times)
    return Edges(
        channel=channel.name,
        sensor="logic",
        times_s=times[keep],
        rising=channel.states[keep],
        standard_uncertainty_s=np.full(int(keep.sum()), resolution_s / np.sqrt(12.0)),
        low=0.0,
        high=1.0,
        noise=0.0,
        clipped_fraction=0.0,
        rejected={"glitch": int((~keep).sum())},
    )


def time_resolution_s(times_s: FloatArray) -> float:
    """The coarsest round step that all these times are multiples of, seconds.

    Where none from 10 ms down to 1 ns fits, the clock was finer than what was written: 1 ns.

    >>> import numpy as np
    >>> time_resolution_s(np.array([0.00125, 0.00375, 0.01]))
    5e-05
    """
    sample = times_s[:4096]
    for exponent in range(-2, -9, -1):
        for digit in (5.0, 2.0, 1.0):
            step = float(f"{digit}e{exponent}")
            steps = sample / step
            if np.all(np.abs(steps - np.round(steps)) < 1e-4):
                return step
    return 1e-9


def _from_samples(channel: SampledChannel, recording: Recording) -> Edges:
    interval_s = recording.interval_s
    assert interval_s is not None  # noqa: S101  (sampled recordings have one)
    values = channel.values
    if values.dtype.kind != "f":
        values = values.astype(np.float32)
    finder = ChannelFinder(channel.name, interval_s=interval_s)
    for first, last, begin, end in bounds(len(values)):
        stamps = None if recording.time_s is None else recording.time_s[first:last]
        finder.take(Stretch(values[first:last], first, begin, end, stamps))
    return finder.edges(start_s=recording.start_s, interval_s=interval_s)
