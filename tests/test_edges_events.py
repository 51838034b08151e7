"""Event lists to edges."""

import numpy as np
import pytest

from crankwise.edges import find_edges
from crankwise.edges.detect import time_resolution_s
from crankwise.model.recording import EventChannel, Recording


def edges_of(times, *, initial=False):
    times = np.asarray(times, dtype=float)
    states = (np.arange(len(times)) % 2 == 0) != initial
    channel = EventChannel("a", times, states, initial)
    return find_edges(Recording("a", "0" * 64, (channel,), 0.0, 1.0, None), "a")


def test_changes_are_edges():
    times = np.array([0.1, 0.15, 0.3, 0.37, 0.5])
    edges = edges_of(times)
    assert edges.sensor == "logic"
    assert edges.times_s.tolist() == times.tolist()
    assert edges.rising.tolist() == [True, False, True, False, True]
    assert edges.of("falling").tolist() == [0.15, 0.37]
    assert (edges.noise, edges.clipped_fraction, edges.dead_time_s) == (0.0, 0.0, 0.0)


def test_a_channel_that_starts_high():
    assert edges_of([0.1, 0.2], initial=True).rising.tolist() == [False, True]


def test_a_channel_without_changes():
    assert len(edges_of([]).times_s) == 0


@pytest.mark.parametrize("step", [1e-2, 5e-3, 1e-4, 2e-6, 1e-6, 1e-8])
def test_resolution_is_read_from_the_times(step):
    ticks = np.unique(np.random.default_rng(1).integers(1, 100_000, 900))
    assert time_resolution_s(ticks * step) == pytest.approx(step)


def test_uncertainty_is_that_of_the_resolution():
    # Uniform law, step/sqrt(12): GUM 4.3.7 (from memory).
    ticks = np.unique(np.random.default_rng(2).integers(1, 100_000, 500))
    edges = edges_of(ticks * 1e-5)
    assert edges.standard_uncertainty_s == pytest.approx(1e-5 / np.sqrt(12.0))


def test_times_off_a_grid_count_as_fine():
    times = np.cumsum(np.random.default_rng(3).uniform(1e-4, 2e-4, 500))
    assert edges_of(times).standard_uncertainty_s.max() < 1e-8


def test_glitches_are_counted():
    # A change of state for 2 microseconds among pulses of a millisecond.
    times = np.sort(np.append(np.arange(1, 101) * 1e-3, [50.5e-3, 50.502e-3]))
    edges = edges_of(times)
    assert edges.rejected["glitch"] == 2
    assert len(edges.times_s) == 100
    assert np.all(edges.rising[1:] != edges.rising[:-1])


def test_a_burst_of_glitches_is_counted():
    burst = 50.5e-3 + np.arange(6) * 3e-6
    edges = edges_of(np.sort(np.append(np.arange(1, 101) * 1e-3, burst)))
    assert edges.rejected["glitch"] == 6
    assert np.diff(edges.times_s) == pytest.approx(1e-3)
