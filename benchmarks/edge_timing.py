"""Scatter of edge times against the Cramér-Rao bound (derived in docs/method.md, section 2).

Time is counted in samples throughout.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchmarks.pages import table
from crankwise.edges import find_edges
from crankwise.model.recording import Recording, SampledChannel

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.model.recording import FloatArray

LIMIT = 1.3
"""Goal: scatter over bound."""

INTERVAL_S = 1e-5

RAMPS = ((10, 0.01), (10, 0.03), (10, 0.06), (20, 0.01), (20, 0.03), (50, 0.01), (100, 0.003))
"""Length of the ramp in samples, and noise as a share of the step between the levels."""

SINES = ((14, 0.01), (20, 0.03), (40, 0.01), (40, 0.06), (100, 0.03), (400, 0.06))
"""Period in samples, and noise as a share of the amplitude."""


@dataclass(frozen=True, slots=True)
class Timing:
    """One waveform in one noise; scatter, bound and stated standard uncertainty in samples."""

    waveform: str
    noise: float
    edges: int
    scatter: float
    bound: float
    stated: float

    @property
    def ratio(self) -> float:
        """Scatter over the bound."""
        return self.scatter / self.bound


def timings(edges: int) -> list[Timing]:
    """Find so many edges on every waveform and compare them with where they were put."""
    found = []
    for place, (length, noise) in enumerate(RAMPS):
        rng = np.random.default_rng([1, place])
        values, crossings = ramps(length, noise=noise, count=edges, rng=rng)
        # Each of the `length` samples on the ramp has the slope 1/length.
        bound = noise * length / np.sqrt(length)
        found.append(_timing(f"ramp of {length} samples", noise, values, crossings, bound))
    for place, (period, noise) in enumerate(SINES):
        rng = np.random.default_rng([2, place])
        values, crossings = sine(period, noise=noise, count=edges, rng=rng)
        # Half a period of samples, whose squared slopes average to (2 pi / period)**2 / 2.
        bound = noise * period / (2 * np.pi) * np.sqrt(2.0 / (period / 2))
        found.append(_timing(f"sine of {period} samples", noise, values, crossings, bound))
    return found


def ramps(
    length: int, *, noise: float, count: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Two levels, 0 and 1, joined by straight ramps at random phases of the sample clock."""
    spacing = 3.0 * length + 20.0
    centres = spacing * (1.0 + np.arange(count)) + rng.uniform(-1.0, 1.0, count) * spacing / 8
    sample = np.arange(int(centres[-1] + spacing))
    corners = (centres[:, None] + np.array([-0.5, 0.5]) * length).ravel()
    levels = np.resize([0.0, 1.0, 1.0, 0.0], len(corners))
    clean = np.interp(sample, corners, levels).astype(np.float64)
    return clean + rng.normal(0.0, noise, len(sample)), centres


def sine(
    period: int, *, noise: float, count: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """A sine of amplitude 1 and its zero crossings.

    The true period lies a little off the whole number, so that the crossings fall on every phase
    of the sample clock.
    """
    true_period = period * 1.00137
    crossings = true_period / 2 * (np.arange(count, dtype=np.float64) + 0.7)
    sample = np.arange(int(crossings[-1] + period / 2))
    clean = np.sin(2 * np.pi * (sample - crossings[0]) / true_period)
    return clean + rng.normal(0.0, noise, len(sample)), crossings


def _timing(
    waveform: str, noise: float, values: FloatArray, crossings: FloatArray, bound: float
) -> Timing:
    duration_s = (len(values) - 1) * INTERVAL_S
    channel = SampledChannel("a", "V", values)
    edges = find_edges(Recording(waveform, "0" * 64, (channel,), 0.0, duration_s, INTERVAL_S), "a")
    found = edges.times_s / INTERVAL_S
    # Every edge that was put there has to be found, else the scatter says nothing.
    nearest = np.abs(found[:, None] - crossings[None, :]).argmin(axis=1)
    error = found - crossings[nearest]
    complete = np.array_equal(nearest, np.arange(len(crossings)))
    return Timing(
        waveform=waveform,
        noise=noise,
        edges=len(found),
        scatter=float(np.sqrt(np.mean(error**2))) if complete else np.inf,
        bound=float(bound),
        stated=float(np.mean(edges.standard_uncertainty_s)) / INTERVAL_S,
    )


def timing_table(rows: Sequence[Timing]) -> str:
    """Scatter, bound, their ratio and what was stated."""
    return table(
        ["waveform", "noise", "edges", "scatter", "bound", "ratio", "stated"],
        [
            [
                row.waveform,
                f"{100 * row.noise:g} %",
                str(row.edges),
                f"{row.scatter:.4f}",
                f"{row.bound:.4f}",
                f"{row.ratio:.2f}",
                f"{row.stated:.4f}",
            ]
            for row in rows
        ],
    )
