"""Uncertainty of edge times and its combination against published and derived figures."""

import numpy as np
import pytest
from scipy.stats import circmean, norm

from crankwise.angle.folding import CamAngles, clusters
from crankwise.angle.student import combine, student_factor
from crankwise.edges import find_edges
from crankwise.edges.survey import noise_sd
from crankwise.model.edges import Edges
from crankwise.model.measurement import Contribution
from crankwise.model.recording import Recording, SampledChannel
from crankwise.units import rpm_to_deg_per_s, wrap_cycle_deg, wrap_signed_deg

IDLE_DEG_PER_S = rpm_to_deg_per_s(800.0)


def recording(values, *, interval_s):
    channel = SampledChannel("a", "V", np.asarray(values))
    return Recording("a", "0" * 64, (channel,), 0.0, (len(values) - 1) * interval_s, interval_s)


def steps_at(times, *, count):
    """Ideal steps between 0 and 5 V; ``times`` in samples."""
    level = np.searchsorted(times, np.arange(count), side="right") % 2
    return (5.0 * level).astype(np.float32)


def errors_of(edges, times, *, interval_s):
    """Error of each edge found, in samples."""
    seen = edges.times_s / interval_s
    index = np.clip(np.searchsorted(times, seen), 1, len(times) - 1)
    index -= seen - times[index - 1] < times[index] - seen
    return seen - times[index]


# SD of a digital edge = dt/sqrt(12) (uniform law, GUM 4.3.7, from memory), times 6 rpm: derived.
@pytest.mark.parametrize(
    ("rate_hz", "expected_deg"), [(10e3, 0.13856), (100e3, 0.013856), (1e6, 0.0013856)]
)
def test_quantisation_of_one_edge(rate_hz, expected_deg):
    rng = np.random.default_rng(1)
    times = np.cumsum(rng.uniform(40.0, 90.0, 6000))
    values = steps_at(times, count=int(times[-1]) + 50)
    edges = find_edges(recording(values, interval_s=1 / rate_hz), "a")
    assert len(edges.times_s) == len(times)
    error_deg = errors_of(edges, times, interval_s=1 / rate_hz) / rate_hz * IDLE_DEG_PER_S
    assert error_deg.std() == pytest.approx(expected_deg, rel=0.03)
    assert abs(error_deg.mean()) < 0.05 * expected_deg
    stated_deg = edges.standard_uncertainty_s * IDLE_DEG_PER_S
    assert stated_deg == pytest.approx(expected_deg, rel=1e-3)


def test_quantisation_averages_over_cycles():
    # Difference of two edges dt/sqrt(6), over the root of 100 cycles: 0.00196 degrees at
    # 100 kS/s and 800 rpm (derived; holds where edges are not locked to the sample clock).
    rng = np.random.default_rng(2)
    repeats, cycles = 2500, 100
    errors = []
    for _ in range(2):
        times = 24.0 * np.arange(repeats * cycles) + rng.uniform(8.0, 16.0, repeats * cycles)
        values = steps_at(times, count=int(times[-1]) + 24)
        edges = find_edges(recording(values, interval_s=1e-5), "a")
        assert len(edges.times_s) == len(times)
        errors.append(errors_of(edges, times, interval_s=1e-5) * 1e-5 * IDLE_DEG_PER_S)
    mean = (errors[0] - errors[1]).reshape(repeats, cycles).mean(axis=1)
    assert mean.std() == pytest.approx(0.00196, rel=0.03)


def test_zero_crossing_of_a_noisy_sine():
    # sd_t = sd_noise/slew: 0.00955 crank degrees for 60 teeth and A/sd = 100 (derived). Noise that
    # stands still over a crossing is the case in which no averaging can help; it changes at the
    # peaks, where it moves no crossing. At 11.9 samples a tooth the crossing comes from the two
    # samples beside it; the sine's curvature between them adds 0.0015 degrees.
    rng = np.random.default_rng(3)
    per_tooth, teeth = 11.9, 2000
    phase = np.arange(int(per_tooth * teeth)) / per_tooth
    half_wave = np.floor(2.0 * phase + 0.5).astype(int)
    noise = rng.normal(0.0, 0.01, half_wave[-1] + 1)
    values = np.sin(2 * np.pi * phase) + noise[half_wave]
    edges = find_edges(recording(values, interval_s=1e-5), "a")
    assert edges.sensor == "variable-reluctance"
    tooth = edges.times_s / 1e-5 / per_tooth
    error_deg = (tooth - np.round(2.0 * tooth) / 2.0) * 6.0
    assert len(error_deg) >= 2 * teeth - 2
    assert error_deg.std() == pytest.approx(0.00955, rel=0.05)


def test_gauge_block_example():
    # JCGM 100:2008, annex H.1 (end gauge): u_c = 31.71 nm (printed 32), 16 degrees of freedom,
    # k = 2.92 at 99 %, U = 92.62 nm (printed 93). Degrees of freedom of the inputs from memory.
    length = 50_000_623.0
    budget = [
        Contribution("standard", 25.0, "B", 18.0),
        Contribution("measured difference", 9.7, "B", 25.6),
        Contribution("difference of expansion", length * 0.1 * 0.58e-6, "B", 50.0),
        Contribution("difference of temperature", length * 11.5e-6 * 0.029, "B", 2.0),
    ]
    standard, dof, factor, expanded = combine(budget, coverage=0.99)
    assert standard == pytest.approx(31.71, abs=0.01)
    assert dof == 16.0
    assert factor == pytest.approx(2.92, abs=0.005)
    assert expanded == pytest.approx(92.62, abs=0.1)


# NIST Technical Note 1297, table B.1.
@pytest.mark.parametrize(
    ("dof", "coverage", "factor"),
    [(9, 0.95, 2.26), (4, 0.95, 2.78), (19, 0.95, 2.09), (16, 0.99, 2.92), (1e9, 0.9545, 2.0)],
)
def test_student_factors(dof, coverage, factor):
    assert student_factor(float(dof), coverage=coverage) == pytest.approx(factor, abs=0.005)


def test_nothing_uncertain_combines_to_nothing():
    assert combine([]) == (0.0, 1e6, student_factor(1e6), 0.0)


def fold(angles_deg, *, near=0.0):
    """Sightings of one falling edge, one a cycle, through the folding."""
    count = len(angles_deg)
    apart = wrap_signed_deg(np.asarray(angles_deg, dtype=float) - near)
    total = near + apart + 720.0 * np.arange(1, count + 1)
    order = np.argsort(total)
    nothing = np.zeros(count)
    edges = Edges("cam", "hall", total / 4800, nothing > 0, nothing + 1e-6, 0.0, 5.0, 0.0, 0.0, {})
    cam = CamAngles(
        edges, total[order], total[order], nothing > 0, total[order] / 4800, nothing.astype(int), 0
    )
    found = clusters(cam, offset_deg=np.zeros(1))
    assert len(found) == 1
    return found[0]


def mean_of(cluster):
    return float(wrap_cycle_deg(cluster.angle_deg + float(np.mean(cluster.deviation_deg))))


def test_circular_mean_across_the_zero():
    # SciPy's documentation of circmean: [20, 30, 330] degrees has the mean 7.294977, where plain
    # arithmetic says 126.667. On the cycle of 720: [718, 2, 4] -> 1.3334 (derived).
    assert circmean([20, 30, 330], high=360) == pytest.approx(7.294977, abs=1e-5)
    assert circmean([718, 2, 4], high=720) == pytest.approx(1.3334, abs=1e-4)
    assert mean_of(fold([718, 2, 4])) == pytest.approx(1.3334, abs=1e-3)
    # Unwrapped about one of them, the documentation's angles average near the circular mean too.
    unwrapped = 20.0 + np.mean(wrap_signed_deg(np.array([0.0, 10.0, 310.0]), period_deg=360.0))
    assert unwrapped == pytest.approx(6.667, abs=1e-3)


@pytest.mark.parametrize("centre", [0.0, 0.3, 359.9, 360.0, 719.7])
def test_circular_mean_agrees_with_scipy(centre):
    sightings = (centre + np.random.default_rng(5).normal(0.0, 0.4, 25)) % 720.0
    expected = float(circmean(sightings, high=720.0))
    assert wrap_signed_deg(mean_of(fold(sightings, near=centre)) - expected) == pytest.approx(
        0.0, abs=1e-4
    )


# R, documentation of mad: scale 1.4826 = 1/qnorm(3/4); mad(1..9) = 2.9652 from a median absolute
# deviation of 2, which replacing the 9 by 100 does not change.
def test_outliers_are_measured_by_the_scaled_deviation():
    assert 1 / norm.ppf(0.75) == pytest.approx(1.482602, abs=1e-6)
    # A sighting counts up to six scaled deviations: 6 * 2.9652 = 17.79 above the median of 5.
    body = np.arange(1.0, 9.0)
    for scale in (0.1, 0.2):
        inside = fold(100.0 + scale * np.append(body, 5.0 + 17.7))
        outside = fold(100.0 + scale * np.append(body, 5.0 + 17.9))
        assert (inside.rejected, outside.rejected) == (0, 1)
        assert len(outside.deviation_deg) == 8


def test_noise_estimate_is_scaled_to_a_standard_deviation():
    # The same scale makes the median of white noise its standard deviation; slow waves and rare
    # edges leave it alone.
    rng = np.random.default_rng(6)
    noise = rng.normal(0.0, 0.05, 200_000)
    slow = np.sin(np.arange(200_000) / 3000.0)
    square = 5.0 * (np.arange(200_000) % 3000 < 1500)
    for signal in (noise, noise + slow, noise + square):
        assert noise_sd(signal) == pytest.approx(0.05, rel=0.02)
