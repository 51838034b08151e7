"""Edge times against analytic crossings, independent splines and the Cramér-Rao bound.

Time is counted in samples throughout. In white noise of standard deviation ``sd``, the Fisher
information on the time of a waveform of known shape is the sum of its squared slopes at the
samples over ``sd**2`` (S. Kay, Fundamentals of Statistical Signal Processing: Estimation Theory,
from memory), so no unbiased estimate scatters by less than

* ramp with ``M`` samples on it: ``sd / (slope * sqrt(M))``,
* half wave of ``A * sin(w * t)`` with ``M`` samples: the squares of ``A * w * cos`` average to
  ``A**2 * w**2 / 2``, hence ``sd * sqrt(2 / M) / (A * w)``.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from crankwise.edges import find_edges
from crankwise.model.recording import Recording, SampledChannel

SPAN = 5.0
STEP_S = 1e-5


@dataclass(frozen=True)
class Errors:
    """Errors of the edges found, and what was stated, in samples."""

    sensor: str
    rising: np.ndarray
    error: np.ndarray
    stated: np.ndarray


def found_in(values, crossings):
    channel = SampledChannel("a", "V", values)
    recording = Recording("a", "0" * 64, (channel,), 0.0, (len(values) - 1) * STEP_S, STEP_S)
    edges = find_edges(recording, "a")
    assert len(edges.times_s) == len(crossings)
    return Errors(
        edges.sensor,
        edges.rising,
        edges.times_s / STEP_S - crossings,
        edges.standard_uncertainty_s / STEP_S,
    )


def centres_of(count, period, rng):
    """Alternate edges half a period apart, at random phases of the sample clock."""
    return np.arange(count) * period / 2 + period / 3 + rng.uniform(-1.0, 1.0, count) * period / 16


def ramps(length, *, noise, count=1200, seed=1):
    """Two levels joined by straight ramps of ``length`` samples; ``noise`` as a share of span."""
    rng = np.random.default_rng(seed)
    centre = centres_of(count, 6 * length + 40, rng)
    sample = np.arange(int(centre[-1]) + 3 * int(length) + 20)
    after = np.clip(np.searchsorted(centre, sample), 1, count - 1)
    nearest = after - (sample - centre[after - 1] < centre[after] - sample)
    level = np.clip((sample - centre[nearest]) / length + 0.5, 0.0, 1.0)
    level = np.where(nearest % 2 == 0, level, 1.0 - level)
    return SPAN * (level + rng.normal(0.0, noise, len(sample))), centre


def exponentials(rise, fall, *, noise, count=800, seed=2):
    """Make steps through a low pass; ``rise`` and ``fall`` are its time constants."""
    rng = np.random.default_rng(seed)
    start = centres_of(count, 16 * max(rise, fall) + 40, rng)
    sample = np.arange(int(start[-1]) + 10 * int(max(rise, fall)) + 20)
    last = np.searchsorted(start, sample, side="right") - 1
    since = np.maximum(sample - start[last], 0.0)
    level = np.where(last % 2 == 0, 1.0 - np.exp(-since / rise), np.exp(-since / fall))
    level[last < 0] = 0.0
    constant = np.where(np.arange(count) % 2 == 0, rise, fall)
    values = SPAN * (level + rng.normal(0.0, noise, len(sample)))
    return values, start + constant * np.log(2.0)


def sine(period, *, noise, waves=700, seed=3):
    rng = np.random.default_rng(seed)
    sample = np.arange(int(waves * period))
    values = np.sin(2 * np.pi * sample / period + 0.3) + rng.normal(0.0, noise, len(sample))
    first = -0.3 / (2 * np.pi) * period
    crossing = first + period / 2 * np.arange(1, 2 * waves + 2)
    return values, crossing[(crossing > 0.5) & (crossing < len(sample) - period / 4)]


RAMPS = [(10, 0.01), (10, 0.06), (20, 0.01), (20, 0.03), (50, 0.01), (100, 0.003), (300, 0.03)]


@pytest.mark.parametrize(("length", "noise"), RAMPS)
def test_ramp_reaches_the_bound(length, noise):
    errors = found_in(*ramps(length, noise=noise))
    assert errors.sensor == "hall"
    bound = noise * length / np.sqrt(length)
    assert errors.error.std() < 1.3 * bound
    assert abs(errors.error.mean()) < 4 * errors.error.std() / np.sqrt(len(errors.error))


@pytest.mark.parametrize(("length", "noise"), RAMPS)
def test_ramp_states_its_scatter(length, noise):
    errors = found_in(*ramps(length, noise=noise))
    # The scatter of 1200 edges is known to 2 %; the statement is built from estimates.
    assert float(errors.stated.mean()) == pytest.approx(float(errors.error.std()), rel=0.15)


SINES = [(13.7, 0.01), (20.3, 0.03), (40.7, 0.01), (40.7, 0.06), (100.3, 0.03), (400.7, 0.06)]


@pytest.mark.parametrize(("period", "noise"), SINES)
def test_sine_reaches_the_bound(period, noise):
    errors = found_in(*sine(period, noise=noise))
    assert errors.sensor == "variable-reluctance"
    bound = noise * np.sqrt(2.0 / (period / 2)) * period / (2 * np.pi)
    assert errors.error.std() < 1.3 * bound
    # Where noise rules, what is stated is what happens; else it may be wider, never narrower.
    assert 0.87 * errors.error.std() < errors.stated.mean()
    if bound > 0.04:
        assert errors.stated.mean() < 1.2 * errors.error.std()


@pytest.mark.parametrize("length", [0.5, 1.0, 2.5, 5.0, 12.0, 40.0])
def test_clean_ramps_cross_where_they_should(length):
    errors = found_in(*ramps(length, noise=0.0, count=400))
    # A ramp shorter than a sample leaves a uniform error of what it lacks: at most half a sample.
    largest = max(0.5 * (1.0 - length), 0.0) + (0.13 if length < 2.0 else 0.001)
    assert np.abs(errors.error).max() < largest
    assert errors.error.std() < 1.2 * errors.stated.mean() + 1e-3


@pytest.mark.parametrize(("rise", "fall"), [(0.3, 0.3), (1.0, 1.0), (3.0, 3.0), (10.0, 10.0)])
def test_exponential_edges_without_noise(rise, fall):
    errors = found_in(*exponentials(rise, fall, noise=1e-4))
    rms = np.sqrt(np.mean(errors.error**2))
    assert rms < 0.16
    assert rms < 1.3 * errors.stated.mean() + 0.02


@pytest.mark.parametrize(
    ("rise", "fall", "noise"),
    [(3, 3, 0.02), (10, 10, 0.003), (10, 10, 0.02), (100, 100, 0.003)],
)
def test_exponential_edges_in_noise(rise, fall, noise):
    errors = found_in(*exponentials(rise, fall, noise=noise))
    for direction in (errors.rising, ~errors.rising):
        stated = errors.stated[direction].mean()
        # A curve is no line: what bends it off stays within the stated 95 %.
        assert abs(errors.error[direction].mean()) < 2.0 * stated
        assert errors.error[direction].std() < 1.3 * stated + 0.02


def test_slow_rise_beside_a_quick_fall():
    # A pull-up creeps towards its level: the level, a median of the samples on that side, is known
    # to some 0.6 % of the span, the half-way level to half of that, and there the signal rises
    # by 1/(2 tau) of the span a sample. So the time of the slow edge is known to 0.006 tau.
    errors = found_in(*exponentials(60, 2, noise=0.003))
    slow, quick = errors.error[errors.rising], errors.error[~errors.rising]
    assert abs(slow.mean()) < 0.006 * 60.0 + 2.0 * errors.stated[errors.rising].mean()
    assert abs(quick.mean()) < 0.006 * 2.0 + 2.0 * errors.stated[~errors.rising].mean()
    assert slow.std() < 1.3 * errors.stated[errors.rising].mean()


def test_growing_wave_agrees_with_a_spline():
    # Independent reference: roots of SciPy's cubic spline through the same samples, on a wave
    # whose height and frequency grow together as a coil's do while the engine runs up.
    sample = np.arange(60_000)
    speed = 1.0 + 2.0 * sample / len(sample)
    phase = np.cumsum(speed) / 60.0
    values = speed * np.sin(2 * np.pi * phase + 0.2)
    roots = CubicSpline(sample, values).roots(extrapolate=False)
    errors = found_in(values, roots[:-1])
    assert errors.sensor == "variable-reluctance"
    # The electrical zero is estimated from the signal itself; a hundredth of a sample remains.
    inner = slice(20, -20)
    assert np.abs(errors.error[inner]).max() < 0.03
    assert np.abs(errors.error[inner]).max() < 3 * errors.stated[inner].mean()


def test_smooth_two_level_signal_agrees_with_a_spline():
    # Two levels with smooth transitions at irregular times: roots of the spline about mid-level.
    rng = np.random.default_rng(4)
    centre = centres_of(600, 120.0, rng)
    sample = np.arange(int(centre[-1]) + 60)
    place = np.searchsorted(centre, sample)
    steps = [
        np.where(index % 2 == 0, 1.0, -1.0) * np.tanh((sample - centre[index]) / 4.0)
        for index in (np.clip(place - 1, 0, 599), np.clip(place, 0, 599))
    ]
    closer = np.abs(sample - centre[np.clip(place - 1, 0, 599)]) < np.abs(
        sample - centre[np.clip(place, 0, 599)]
    )
    values = np.where(closer, *steps)
    roots = CubicSpline(sample, values).roots(extrapolate=False)
    errors = found_in(values, roots)
    assert errors.sensor == "hall"
    assert np.abs(errors.error).max() < 0.01
