"""Sampled signals of every quality to edges: counts, kinds, rejects."""

import numpy as np
import pytest

from crankwise.edges import find_edges
from crankwise.edges.glitches import keep_teeth
from crankwise.model.recording import Recording, SampledChannel

STEP_S = 2e-5
TEETH = 200
PER_TOOTH = 83.7
"""Samples a tooth: neither whole nor a simple fraction, so that phases differ."""


def edges_of(values, *, step_s=STEP_S, time_s=None):
    channel = SampledChannel("a", "V", np.asarray(values))
    recording = Recording(
        "a.csv", "0" * 64, (channel,), 0.0, (len(values) - 1) * step_s, step_s, time_s
    )
    return find_edges(recording, "a")


def phase_of(teeth=TEETH):
    return np.arange(int(teeth * PER_TOOTH)) / PER_TOOTH + 0.1


def square(teeth=TEETH, *, low=0.0, high=5.0):
    return np.where(phase_of(teeth) % 1.0 < 0.5, high, low)


def coil(teeth=TEETH, *, height=1.0):
    return height * np.sin(2 * np.pi * phase_of(teeth))


def noise(values, sd, seed=1):
    return values + np.random.default_rng(seed).normal(0.0, sd, len(values))


def eight_bits(values, full_scale):
    step = 2 * full_scale / 256
    return np.clip(np.round(values / step), -128, 127) * step


def assert_teeth(edges, *, teeth=TEETH, at_ends=2):
    """All edges, in strictly rising time, alternating, about half a tooth apart."""
    assert abs(len(edges.times_s) - 2 * teeth) <= at_ends
    assert np.all(np.diff(edges.times_s) > 0)
    assert np.all(edges.rising[1:] != edges.rising[:-1])
    half = np.diff(edges.times_s) / STEP_S / PER_TOOTH
    assert np.all(np.abs(half - 0.5) < 0.1)
    assert np.all(edges.standard_uncertainty_s > 0)


def phase_error(edges, *, sharp=0.0):
    """Distance of each edge to the nearest half tooth, teeth."""
    phase = edges.times_s / STEP_S / PER_TOOTH + 0.1
    return (phase - sharp + 0.25) % 0.5 - 0.25


TWO_LEVELS = {
    "0 to 5 V": square(),
    "0 to 12 V": square(high=12.0),
    "inverted": 5.0 - square(),
    "open collector with a ground offset": square(low=0.8, high=13.9),
    "millivolts": square(high=0.02),
    "negative": square(low=-12.0, high=-1.0),
    "AC coupled": square(low=-2.5, high=2.5),
    "noisy": noise(square(), 0.25),
    "very noisy": noise(square(), 0.5),
    "8 bits of a wide range": eight_bits(noise(square(), 0.05), 20.0),
    "8 bits, one step of swing in sixteen": eight_bits(noise(square(), 0.2), 40.0),
    "drifting": square() + 2.0 * np.sin(2 * np.pi * 0.7 * np.arange(len(square())) * STEP_S),
    "small on a large offset": 100.0 + square(high=0.5),
}


@pytest.mark.parametrize("name", TWO_LEVELS)
def test_two_level_signal(name):
    edges = edges_of(TWO_LEVELS[name])
    assert edges.sensor == "hall"
    assert_teeth(edges)
    # A step between two samples: uniform over one sample (0.29 rms), and noise on top.
    error = phase_error(edges) * PER_TOOTH
    assert np.sqrt(np.mean(error**2)) < 0.45
    assert np.abs(error).max() < 1.5
    assert sum(edges.rejected.values()) == 0
    assert edges.dead_time_s == 0.0


@pytest.mark.parametrize("dtype", [bool, np.uint8, np.int8, np.uint16, np.int16, np.int32])
def test_whole_number_samples(dtype):
    edges = edges_of(square(high=1.0).astype(dtype))
    reference = edges_of(square(high=1.0))
    assert_teeth(edges)
    np.testing.assert_allclose(edges.times_s, reference.times_s, atol=1e-9)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.int16])
def test_whole_number_waves(dtype):
    values = np.round(120.0 + 100.0 * coil()).astype(dtype)
    edges = edges_of(values)
    assert edges.sensor == "variable-reluctance"
    assert_teeth(edges)
    assert np.abs(phase_error(edges)).max() * PER_TOOTH < 0.5


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_inputs_stay_as_they_were(dtype):
    values = noise(square(), 0.1).astype(dtype)
    values[100:120] = np.nan
    values[5000] = np.inf
    before = values.copy()
    edges_of(values)
    np.testing.assert_array_equal(values, before)


COILS = {
    "one volt": coil(),
    "fifty volts": coil(height=50.0),
    "reversed leads": -coil(),
    "noisy": noise(coil(), 0.05),
    "8 bits": eight_bits(noise(coil(), 0.005), 1.5),
    "offset": coil() + 0.7,
    "drifting": coil() + 0.4 * np.sin(2 * np.pi * 0.6 * np.arange(len(coil())) * STEP_S),
    "clipped": np.clip(coil(height=8.0), -5.0, 5.0),
    "clipped on one side": np.minimum(coil(height=8.0), 5.0),
    "doubling in a third of a second": coil() * np.linspace(1.0, 2.0, len(coil())),
    "runout": coil() * (1.0 + 0.4 * np.sin(2 * np.pi * phase_of() / 36.0)),
}


@pytest.mark.parametrize("name", COILS)
def test_coil_signal(name):
    edges = edges_of(COILS[name])
    assert edges.sensor == "variable-reluctance"
    assert_teeth(edges)
    # A baseline that wanders or a one-sided clip moves the zero a little: 3 % of a tooth, 0.2
    # degrees on a 60-2 wheel, is the limit asked of a coil.
    assert np.abs(phase_error(edges)[3:-3]).max() < 0.03


def test_coil_growing_sevenfold_over_a_rev_up():
    teeth = 1400
    values = coil(teeth) * np.linspace(1.0, 7.0, len(phase_of(teeth)))
    edges = edges_of(noise(values, 0.02))
    assert_teeth(edges, teeth=teeth)


def test_polarity_changes_directions_only():
    for values in (noise(square(), 0.1), noise(coil(), 0.02)):
        plain, inverted = edges_of(values), edges_of(-values)
        np.testing.assert_array_equal(plain.rising, ~inverted.rising)
        np.testing.assert_allclose(plain.times_s, inverted.times_s, atol=1e-3 * STEP_S)


@pytest.mark.parametrize(("scale", "offset"), [(1000.0, 0.0), (1e-3, 0.0), (1.0, 7.5), (-3.0, 2.0)])
def test_scale_and_offset_change_nothing(scale, offset):
    for values in (noise(square(), 0.1), noise(coil(), 0.02)):
        plain, other = edges_of(values), edges_of(scale * values + offset)
        assert other.sensor == plain.sensor
        np.testing.assert_allclose(other.times_s, plain.times_s, atol=1e-2 * STEP_S)
        np.testing.assert_allclose(
            other.standard_uncertainty_s, plain.standard_uncertainty_s, rtol=0.05
        )
        assert other.noise == pytest.approx(abs(scale) * plain.noise, rel=0.05)


@pytest.mark.parametrize("sd", [0.02, 0.1, 0.4])
def test_noise_is_measured(sd):
    assert edges_of(noise(square(), sd)).noise == pytest.approx(sd, rel=0.1)
    assert edges_of(noise(coil(height=5.0), sd)).noise == pytest.approx(sd, rel=0.1)


def test_levels_are_told():
    edges = edges_of(noise(square(low=0.7, high=11.9), 0.05))
    assert edges.low == pytest.approx(0.7, abs=0.05)
    assert edges.high == pytest.approx(11.9, abs=0.05)


def test_clipping_is_told():
    clipped = edges_of(np.clip(coil(height=8.0), -5.0, 5.0)).clipped_fraction
    # A sine of 8 V is beyond 5 V for 1 - 2/pi*asin(5/8) of the time.
    assert clipped == pytest.approx(1.0 - 2.0 / np.pi * np.arcsin(5.0 / 8.0), abs=0.02)
    assert edges_of(coil()).clipped_fraction == 0.0
    assert edges_of(square()).clipped_fraction == 0.0


@pytest.mark.parametrize("signal", [square(), coil(height=6.0)])
def test_samples_beyond_range_are_levels(signal):
    limit = 4.0
    values = np.where(signal > limit, np.inf, np.where(signal < -limit, -np.inf, signal))
    edges = edges_of(values)
    assert_teeth(edges)
    share = float(np.mean(np.abs(signal) > limit))
    assert edges.clipped_fraction == pytest.approx(share, abs=0.02)
    assert np.all(np.isfinite(edges.times_s))


def test_spikes_are_taken_out_and_counted():
    values = noise(square(), 0.05)
    at = np.arange(5, TEETH - 5, 10)
    for tooth in at:
        # In the middle of a low part: a spike of one sample.
        values[int((tooth + 0.65) * PER_TOOTH)] = 5.0
    edges = edges_of(values)
    assert_teeth(edges)
    assert edges.rejected["glitch"] == 2 * len(at)


def test_ringing_after_an_edge_makes_no_teeth():
    values = square()
    rise = np.flatnonzero(np.diff(values) > 0) + 1
    ring = 1.8 * np.exp(-np.arange(12) / 4.0) * np.cos(2 * np.pi * np.arange(12) / 3.0)
    for start in rise[:-1]:
        values[start : start + 12] += ring
    assert_teeth(edges_of(values))


def test_dither_about_the_middle_makes_no_teeth():
    # Slow ramps with noise: many crossings of the middle at every edge.
    sample = np.arange(40_000)
    values = noise(np.clip(8.0 * np.sin(2 * np.pi * sample / 800.0), -2.5, 2.5), 0.2)
    edges = edges_of(values)
    assert len(edges.times_s) in {99, 100}
    assert np.all(np.abs(np.diff(edges.times_s) / STEP_S / 400.0 - 1.0) < 0.05)


def test_missing_samples_are_counted_and_edges_beside_them_left_out():
    values = noise(square(), 0.05)
    gone = slice(int(50.2 * PER_TOOTH), int(53.2 * PER_TOOTH))
    values[gone] = np.nan
    edges = edges_of(values)
    assert edges.dead_time_s == pytest.approx((gone.stop - gone.start) * STEP_S)
    inside = (edges.times_s / STEP_S > gone.start) & (edges.times_s / STEP_S < gone.stop - 1)
    assert not inside.any()
    assert len(edges.times_s) == pytest.approx(2 * TEETH - 6, abs=3)
    assert np.all(edges.rising[1:] != edges.rising[:-1])
    assert np.abs(phase_error(edges)).max() * PER_TOOTH < 1.0


def test_single_missing_samples_cost_single_edges():
    values = noise(square(), 0.05)
    near = np.flatnonzero(np.diff(square()) > 0)[20:40:5]
    values[near] = np.nan
    edges = edges_of(values)
    assert edges.rejected["dropout"] >= len(near)
    assert len(edges.times_s) >= 2 * TEETH - 2 - 2 * len(near)
    assert np.abs(phase_error(edges)).max() * PER_TOOTH < 1.0


def test_a_start_without_samples():
    values = noise(square(), 0.05)
    values[:3000] = np.nan
    edges = edges_of(values)
    assert edges.times_s[0] > 2998 * STEP_S
    assert_teeth(edges, teeth=TEETH - 36, at_ends=3)


NOTHING = {
    "constant": np.full(20_000, 3.3),
    "zero": np.zeros(20_000),
    "noise": noise(np.zeros(20_000), 0.1),
    "whole-number zeros": np.zeros(20_000, dtype=np.int16),
    "one quantum of flicker": (np.random.default_rng(2).random(20_000) < 0.5) * 0.04 + 2.0,
    "all missing": np.full(20_000, np.nan),
    "all beyond range": np.full(20_000, np.inf),
    "empty": np.empty(0),
    "one sample": np.array([1.0]),
    "ten samples": np.array([0.0, 5.0] * 5),
}


@pytest.mark.parametrize("name", NOTHING)
def test_nothing_to_see(name):
    edges = edges_of(NOTHING[name])
    assert len(edges.times_s) == 0
    assert len(edges.rising) == len(edges.standard_uncertainty_s) == 0
    assert np.isfinite([edges.low, edges.high, edges.noise]).all()


def test_all_missing_counts_as_dead_time():
    assert edges_of(np.full(1000, np.nan)).dead_time_s == pytest.approx(1000 * STEP_S)


@pytest.mark.parametrize("count", [1, 2, 3])
def test_a_few_edges_are_edges_too(count):
    sample = np.arange(10_000)
    values = noise(5.0 * (np.searchsorted(np.arange(1, count + 1) * 2100, sample) % 2), 0.02)
    edges = edges_of(values)
    assert edges.times_s / STEP_S == pytest.approx(np.arange(1, count + 1) * 2100.0, abs=1.0)


def test_unequal_time_steps():
    values = noise(square(), 0.05)
    index = np.arange(len(values))
    time_s = STEP_S * (index + 20.0 * np.sin(index / 700.0))
    edges = edges_of(values, time_s=time_s)
    even = edges_of(values)
    expected = np.interp(even.times_s / STEP_S, index, time_s)
    np.testing.assert_allclose(edges.times_s, expected, atol=1e-9)


def test_start_time_is_kept():
    channel = SampledChannel("a", "V", square())
    recording = Recording("a", "0" * 64, (channel,), -0.05, len(square()) * STEP_S, STEP_S)
    times = find_edges(recording, "a").times_s
    np.testing.assert_allclose(times + 0.05, edges_of(square()).times_s, atol=1e-12)


def test_unknown_channel():
    channel = SampledChannel("a", "V", square())
    with pytest.raises(KeyError):
        find_edges(Recording("a", "0" * 64, (channel,), 0.0, 1.0, STEP_S), "b")


def test_glitches_are_relative_to_their_neighbours():
    slow = np.arange(40.0)
    fast = 40.0 + np.arange(400.0) / 50.0
    # Edges fifty times closer together are no glitches where all are so.
    assert keep_teeth(np.concatenate([slow, fast])).sum() >= 438
    glitch = np.sort(np.append(slow, [10.4, 10.42]))
    keep = keep_teeth(glitch)
    assert glitch[~keep].tolist() == [10.4, 10.42]


def test_narrow_teeth_of_a_coded_wheel_are_kept():
    # 3 and 12 degrees of a 15 degree pitch: the narrowest teeth in use (Speeduino wiki, GM_24X).
    width = np.where(np.random.default_rng(3).random(240) < 0.5, 3.0, 12.0)
    falling = 15.0 * np.arange(1, 241)
    times = np.sort(np.concatenate([falling, falling - width]))
    assert keep_teeth(times).all()
