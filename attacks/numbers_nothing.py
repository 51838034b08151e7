"""Recordings without an answer: nothing, noise, signals that have nothing to do with each other."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from attacks.numbers_case import Case, of_samples, samples
from attacks.numbers_engine import draw_engine, subject

if TYPE_CHECKING:
    from collections.abc import Callable

    from attacks.numbers_case import Samples


NAMES = (("crank", "intake", "exhaust"), ("A", "B", "C"))


def _made(rng: np.random.Generator, signal: Callable[[int, float], Samples]) -> Case:
    """One to three channels of ``signal(samples, interval)``, named or not."""
    interval_s = float(rng.choice([1e-5, 2e-5, 5e-5]))
    count = int(rng.uniform(0.8, 2.5) / interval_s)
    names = NAMES[rng.integers(2)][: int(rng.integers(1, 4))]
    return Case(of_samples({name: signal(count, interval_s) for name in names}, interval_s))


def constant(rng: np.random.Generator) -> Case:
    """Flat lines, each at its own level."""
    return _made(rng, lambda count, _: np.full(count, rng.uniform(-12, 12)))


def all_missing(rng: np.random.Generator) -> Case:
    """Every sample is missing or beyond the range."""
    value = float(rng.choice([np.nan, np.inf, -np.inf]))
    return _made(rng, lambda count, _: np.full(count, value))


def few_edges(rng: np.random.Generator) -> Case:
    """One to nine edges in the whole recording."""

    def steps(count: int, _: float) -> Samples:
        places = np.sort(rng.integers(1, count, rng.integers(1, 10)))
        return 5.0 * (np.searchsorted(places, np.arange(count)) % 2)

    return _made(rng, steps)


def white_noise(rng: np.random.Generator) -> Case:
    """Independent samples."""
    return _made(rng, lambda count, _: rng.normal(0.0, 1.0, count))


def walking_noise(rng: np.random.Generator) -> Case:
    """A random walk, or one that is pulled back to the middle."""
    pull = float(rng.choice([0.0, 1e-4, 1e-3, 1e-2]))

    def walk(count: int, _: float) -> Samples:
        steps = rng.normal(0.0, 1.0, count)
        kernel = np.exp(-pull * np.arange(min(count, int(5 / pull)))) if pull else None
        if kernel is None:
            return np.cumsum(steps)
        size = count + len(kernel)
        return np.fft.irfft(np.fft.rfft(steps, size) * np.fft.rfft(kernel, size), size)[:count]

    return _made(rng, walk)


def narrow_noise(rng: np.random.Generator) -> Case:
    """Noise in a narrow band, which looks like a coil."""
    middle_hz, width_hz = rng.uniform(100, 1500), rng.uniform(10, 300)

    def band(count: int, interval_s: float) -> Samples:
        frequency = np.fft.rfftfreq(count, interval_s)
        shape = np.exp(-(((frequency - middle_hz) / width_hz) ** 2))
        return np.fft.irfft(np.fft.rfft(rng.normal(0.0, 1.0, count)) * shape, count)

    return _made(rng, band)


def mains_only(rng: np.random.Generator) -> Case:
    """Open probes that pick up the mains."""
    hum_hz = float(rng.choice([50.0, 60.0]))

    def hum(count: int, interval_s: float) -> Samples:
        time = np.arange(count) * interval_s
        third = rng.uniform(0, 0.4) * np.sin(6 * np.pi * hum_hz * time + rng.uniform(0, 6))
        wave = np.sin(2 * np.pi * hum_hz * time + rng.uniform(0, 6)) + third
        return np.asarray(wave + rng.normal(0.0, 0.02, count))

    return _made(rng, hum)


def unrelated_squares(rng: np.random.Generator) -> Case:
    """Square waves, each with a frequency and duty of its own."""

    def square(count: int, interval_s: float) -> Samples:
        cycles = np.arange(count) * interval_s * rng.uniform(3, 900) + rng.uniform()
        return 5.0 * (cycles % 1.0 < rng.uniform(0.1, 0.9))

    return _made(rng, square)


def pulse_widths(rng: np.random.Generator) -> Case:
    """Pulses at a fixed frequency whose width is modulated."""

    def modulated(count: int, interval_s: float) -> Samples:
        time = np.arange(count) * interval_s
        duty = 0.5 + rng.uniform(0.1, 0.4) * np.sin(2 * np.pi * rng.uniform(0.3, 20) * time)
        return np.asarray(12.0 * ((time * rng.uniform(30, 1000)) % 1.0 < duty))

    return _made(rng, modulated)


def chirps(rng: np.random.Generator) -> Case:
    """Square waves that grow faster."""

    def chirp(count: int, interval_s: float) -> Samples:
        time = np.arange(count) * interval_s
        cycles = rng.uniform(5, 300) * time + rng.uniform(0, 300) * time**2
        return 5.0 * (cycles % 1.0 < 0.5)

    return _made(rng, chirp)


def random_pulses(rng: np.random.Generator) -> Case:
    """State changes at random times."""

    def telegraph(count: int, _: float) -> Samples:
        waits = rng.exponential(rng.uniform(20, 2000), count // 10) + 3
        return 5.0 * (np.searchsorted(np.cumsum(waits), np.arange(count)) % 2)

    return _made(rng, telegraph)


def divided_clock(rng: np.random.Generator) -> Case:
    """An even clock, and the same divided: a bench generator instead of an engine."""
    interval_s = 2e-5
    teeth = np.arange(int(2.0 / interval_s)) * interval_s * rng.uniform(200, 1200)
    divided = rng.integers(3, 200, 2)
    channels = {"crank": 5.0 * (teeth % 1.0 < 0.5)}
    for name, by in zip(("intake", "exhaust"), divided, strict=True):
        channels[name] = 5.0 * ((teeth / by) % 1.0 < rng.uniform(0.2, 0.8))
    return Case(of_samples(channels, interval_s))


def another_engines_cams(rng: np.random.Generator) -> Case:
    """The crank of one engine and the cams of another, which turn at a speed of their own."""
    number = draw_engine(rng)
    scope = {"rate_hz": 5e4, "duration_s": float(rng.uniform(1.8, 2.6))}
    mine = subject(rng, number=number, scope=scope)
    other = subject(rng, number=draw_engine(rng), scope=scope)
    channels = {"crank": samples(mine.simulation.recording, "crank")}
    for name in other.cams:
        channels[name] = samples(other.simulation.recording, name)
    return mine.case(recording=of_samples(channels, 2e-5), answers=(), shifts=None)


def crank_and_pulses(rng: np.random.Generator) -> Case:
    """A true crank beside pulses at random times."""
    mine = subject(rng)
    recording = mine.simulation.recording
    count = len(samples(recording, "crank"))
    interval_s = recording.interval_s or 1.0
    waits = rng.exponential(rng.uniform(0.005, 0.1) / interval_s, 2000) + 3
    pulses = 5.0 * (np.searchsorted(np.cumsum(waits), np.arange(count)) % 2)
    channels = {"crank": samples(recording, "crank"), "intake": pulses}
    return mine.case(recording=of_samples(channels, interval_s), answers=(), shifts=None)


def less_than_a_cycle(rng: np.random.Generator) -> Case:
    """A moment of a running engine."""
    mine = subject(rng, scope={"duration_s": float(rng.uniform(0.005, 0.15))})
    return replace(mine.case(), answers=())


def digits(rng: np.random.Generator) -> Case:
    """A column that is no signal: a counter, few states by chance, numbers without order."""
    how = int(rng.integers(3))

    def column(count: int, _: float) -> Samples:
        if how == 0:
            return np.arange(count) % rng.integers(3, 3000) * 1.0
        if how == 1:
            return np.repeat(rng.integers(0, 3, count // 50 + 1), 50)[:count] * 1.0
        return rng.integers(0, 1 << 16, count) * 1.0

    return _made(rng, column)


KINDS = {
    "constant channels": constant,
    "all samples missing or infinite": all_missing,
    "one to nine edges": few_edges,
    "white noise": white_noise,
    "random walk": walking_noise,
    "narrow-band noise": narrow_noise,
    "mains hum alone": mains_only,
    "unrelated square waves": unrelated_squares,
    "pulse-width modulation": pulse_widths,
    "chirps": chirps,
    "pulses at random": random_pulses,
    "clock and divided clock": divided_clock,
    "crank of one engine, cams of another": another_engines_cams,
    "crank and random pulses": crank_and_pulses,
    "shorter than a cycle": less_than_a_cycle,
    "columns that are no signals": digits,
}
