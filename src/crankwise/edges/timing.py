"""Sub-sample times of confirmed crossings, and how well each is known.

Between two samples the time comes from the straight line through them. Where noise would spoil
that, a line is fitted to the ramp (two-level sensors) or to the steep middle of the half wave
(variable reluctance), centred on the crossing by iteration. The bounds these reach are derived in
docs/method.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from crankwise.edges.crossings import Crossings
from crankwise.edges.survey import Samples, Survey
from crankwise.model.recording import BoolArray, FloatArray

_MAX_HALF_WINDOW = 1024
_BATCH = 1 << 22
"""Samples gathered at a time in a line fit (32 MB)."""

_RAMP_SAMPLES = (0.0, 0.8, 1.5, 2.75, 5.0, 10.0)
_BETWEEN_SAMPLES = (0.289, 0.16, 0.12, 0.09, 0.04, 0.02)
"""Standard error of the straight line between two samples for ramps of so many samples, the worse
of straight and exponential ones: the uniform law 1/sqrt(12) (GUM 4.3.7) where no sample lies on
the ramp; beyond that found numerically (tests/truth/test_measure_edge_times.py)."""

_CLEAR_PULL = 0.04

_HALF_WAVE_SHARE = 1.0 / 6.0
"""Half window as a share of a sine's period: the variance of the centred mean over +-T/6 is
1.10 times the Cramer-Rao bound of the whole half wave, the least at any width being 1.08."""


@dataclass(frozen=True, slots=True, eq=False)
class EdgePositions:
    """Edges in units of samples.

    Attributes
    ----------
    position, standard_uncertainty : np.ndarray [shape=(m,)]
        Samples from the first one.
    steepness : np.ndarray [shape=(m,)] or empty
        Slope of a coil's signal, channel units a sample.
    """

    position: FloatArray
    standard_uncertainty: FloatArray
    steepness: FloatArray


def edge_positions(
    samples: Samples, crossings: Crossings, levels: Survey, *, found_in: Samples
) -> EdgePositions:
    """Positions of the edges and their standard uncertainties, both in samples.

    Parameters
    ----------
    samples : np.ndarray [shape=(n,), finite]
    crossings : Crossings
        With ``m`` edges.
    levels : Survey
        What the survey found.
    found_in : np.ndarray [shape=(n,)]
        The samples, smoothed or not, in which the crossings were found.
    """
    if len(crossings.first) == 0:
        return EdgePositions(np.empty(0), np.empty(0), np.empty(0))
    middle = _middle(levels, crossings)
    line = _two_point(found_in, crossings.first, middle)
    dithers = np.flatnonzero(crossings.last != crossings.first)
    if len(dithers):
        last = _two_point(found_in, crossings.last[dithers], middle[dithers])
        line[dithers] = 0.5 * (line[dithers] + last)
    if levels.sensor == "hall":
        return EdgePositions(*_hall(samples, line, crossings.rising, middle, levels), np.empty(0))
    return _variable_reluctance(samples, line, middle, levels)


def _middle(levels: Survey, crossings: Crossings) -> FloatArray:
    if len(levels.middle) == 1:
        return np.full(len(crossings.first), levels.middle[0])
    return np.asarray(np.interp(crossings.first + 0.5, levels.centre, levels.middle))


def _two_point(samples: Samples, index: np.ndarray, middle: FloatArray) -> FloatArray:
    left = samples[index].astype(np.float64)
    right = samples[index + 1].astype(np.float64)
    step = right - left
    share = np.divide(middle - left, step, out=np.full(len(step), 0.5), where=step != 0)
    return np.asarray(index + np.clip(share, 0.0, 1.0))


def _hall(
    samples: Samples, line: FloatArray, rising: BoolArray, middle: FloatArray, levels: Survey
) -> tuple[FloatArray, FloatArray]:
    """Each direction by itself: a pull-up rises slowly where the switch falls at once."""
    position, uncertainty = line.copy(), np.zeros(len(line))
    for chosen in (np.flatnonzero(rising), np.flatnonzero(~rising)):
        if len(chosen):
            position[chosen], uncertainty[chosen] = _hall_ramps(
                samples, line[chosen], middle[chosen], levels
            )
    return position, uncertainty


def _hall_ramps(
    samples: Samples, line: FloatArray, middle: FloatArray, levels: Survey
) -> tuple[FloatArray, FloatArray]:
    span = levels.high - levels.low
    ramp = _ramp_length(samples, line, middle, span=span, noise=levels.noise)
    between = float(np.interp(ramp, _RAMP_SAMPLES, _BETWEEN_SAMPLES))
    half = int(min(0.4 * ramp, _MAX_HALF_WINDOW))
    if half < 2:
        # Between two samples the weights are (1-f, f): 2/3 of the variance of one, on average.
        noise = np.sqrt(2.0 / 3.0) * levels.noise / span * max(ramp, 1.0)
        return line, np.full(len(line), np.hypot(between, noise))
    _, slopes, _ = _fit_line(samples, line, middle, half=half)
    # Noise cuts the counted ramp short; the fitted slope does not mind.
    steepness = float(np.median(np.abs(slopes)))
    half = int(np.clip(0.45 * span / max(steepness, 1e-12), half, _MAX_HALF_WINDOW))
    position, slopes, bends = _fit_line(samples, line, middle, half=half)
    # A bent ramp pulls the centred mean off. The bend is the same at every edge of a direction,
    # so its mean is known far better than one edge is, and the pull can be taken off; a clear
    # bend also asks for a shorter window, where what is left of it fades with the fourth power.
    pull = _pull(slopes, bends, half)
    if abs(pull) > _CLEAR_PULL * half and half > 4:
        half = max(half * 5 // 9, 3)
        position, slopes, bends = _fit_line(samples, line, middle, half=half)
        pull = _pull(slopes, bends, half)
    position = position + np.clip(pull, -half / 2, half / 2)
    steepness = float(np.median(np.abs(slopes)))
    spread = levels.noise / (steepness * np.sqrt(2 * half + 1))
    return position, np.full(len(position), np.hypot(min(between, 0.01), spread))


def _ramp_length(
    samples: Samples, line: FloatArray, middle: FloatArray, *, span: float, noise: float
) -> float:
    """Length of a straight ramp with as many samples between 10 % and 90 % as these edges."""
    chosen = np.linspace(0, len(line) - 1, min(len(line), 200)).astype(int)
    centre = np.round(line[chosen]).astype(np.intp)
    half = 4
    while True:
        inside = (centre >= half) & (centre < len(samples) - half)
        if not inside.any():
            return 0.0
        offsets = np.arange(-half, half + 1)
        values = samples[centre[inside, None] + offsets] - middle[chosen][inside, None]
        on_ramp = np.abs(values) < 0.4 * span
        # Only the run about the crossing belongs to this edge; neighbours would count twice.
        left = np.cumprod(on_ramp[:, half::-1], axis=1).sum(axis=1)
        right = np.cumprod(on_ramp[:, half + 1 :], axis=1).sum(axis=1)
        longest = float(np.percentile(np.maximum(left, right), 90))
        if longest < half or half >= _MAX_HALF_WINDOW:
            counts = np.where(on_ramp[:, half], left + right, _beside(on_ramp, half))
            counted = float(np.median(counts) + np.mean(counts)) / 2 / 0.8
            return min(counted, _longest_ramp(values[:, half - 2 : half + 3], span, noise))
        half *= 4


def _longest_ramp(values: FloatArray, span: float, noise: float) -> float:
    """Length that the steepest of the four steps about each crossing allows.

    Where the middle level is not well known (drift), a level may pass for a ramp; a step that
    covers most of the span tells otherwise. Steps lost in noise tell nothing.
    """
    step = float(np.median(np.abs(np.diff(values, axis=1)).max(axis=1)))
    return 1.3 * span / step if step > 8.0 * noise else np.inf


def _beside(on_ramp: np.ndarray, half: int) -> np.ndarray:
    """Samples on the ramp when the one nearest the crossing is already past it."""
    return np.asarray(on_ramp[:, half - 1 : half + 2].sum(axis=1))


def _variable_reluctance(
    samples: Samples, line: FloatArray, middle: FloatArray, levels: Survey
) -> EdgePositions:
    """Line fit over the steep middle of each half wave, as wide as its neighbours allow."""
    if len(line) < 3:
        slope = np.abs(_local_slope(samples, line))
        spread = levels.noise / np.maximum(slope, 1e-12)
        return EdgePositions(line, np.hypot(1 / np.sqrt(12.0), spread), slope)
    gaps = np.diff(line)
    # The half wave about an edge reaches half-way to the next edge of the other direction.
    reach = np.minimum(np.append(gaps, gaps[-1]), np.insert(gaps, 0, gaps[0]))
    position, slope = line.copy(), np.abs(_local_slope(samples, line))
    used = np.ones(len(line))
    half_width = np.clip(2 * reach * _HALF_WAVE_SHARE, 0, _MAX_HALF_WINDOW).astype(int)
    half_width = _rounded_down(half_width)
    for half in np.unique(half_width[half_width >= 2]):
        chosen = np.flatnonzero(half_width == half)
        fitted, slopes, _ = _fit_line(samples, line[chosen], middle[chosen], half=int(half))
        position[chosen], slope[chosen] = fitted, np.abs(slopes)
        used[chosen] = 2 * half + 1
    floor = 1e-12 + 1e-3 * np.median(slope)
    spread = levels.noise / (np.maximum(slope, floor) * np.sqrt(used))
    # With one sample interval between points of a smooth wave the line is good to about a tenth.
    curvature = np.where(half_width >= 2, 0.02, 0.1)
    return EdgePositions(position, np.hypot(spread, curvature), slope)


def _rounded_down(half_width: np.ndarray) -> np.ndarray:
    """Widths in steps of a tenth, so that edges of like width are fitted together."""
    exponent = np.floor(np.log(np.maximum(half_width, 1)) / np.log(1.1) + 1e-9)
    rounded = np.ceil(1.1**exponent - 1e-9)
    return np.asarray(np.minimum(rounded, np.maximum(half_width, 1)).astype(int))


def _local_slope(samples: Samples, line: FloatArray) -> FloatArray:
    index = np.clip(line.astype(np.intp), 0, len(samples) - 2)
    slope = samples[index + 1].astype(np.float64) - samples[index]
    return np.where(slope == 0, 1e-12, slope)


def _pull(slopes: FloatArray, bends: FloatArray, half: int) -> float:
    """How far the bend of a ramp pulls the zero of a centred mean back, samples."""
    return float(np.median(bends)) * _mean_square_offset(half) / float(np.median(slopes))


def _mean_square_offset(half: int) -> float:
    """Mean square of the offsets in a window whose two end samples count half."""
    offsets = np.arange(-half, half + 1, dtype=np.float64)
    weights = np.ones(len(offsets))
    weights[[0, -1]] = 0.5
    return float((weights * offsets**2).sum() / weights.sum())


def _fit_line(
    samples: Samples, start: FloatArray, middle: FloatArray, *, half: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Least-squares line over ``2*half+1`` samples centred on each crossing, iterated.

    Centring matters: a window off the crossing pulls the result towards its own centre. Returns
    positions, slopes (a sample) and bends (half the second derivative, a sample squared).
    """
    half = min(half, (len(samples) - 1) // 2)
    position = start.copy()
    slope, bend = np.ones(len(start)), np.zeros(len(start))
    offsets = np.arange(-half, half + 1, dtype=np.float64)
    tilt_weight = offsets / float((offsets**2).sum())
    curved = offsets**2 - (offsets**2).mean()
    bend_weight = curved / float((curved**2).sum())
    batch = max(_BATCH // (2 * half + 1), 1)
    windows = sliding_window_view(samples, 2 * half + 1)
    for begin in range(0, len(start), batch):
        part = slice(begin, begin + batch)
        for _ in range(3):
            nearest = np.round(position[part]).astype(np.intp)
            centre = np.clip(nearest, half, len(samples) - half - 1)
            values = windows[centre - half].astype(np.float64) - middle[part, None]
            tilt = values @ tilt_weight
            tilt = np.where(tilt == 0, 1e-12, tilt)
            # The mean over a window centred on the crossing vanishes; the end weights shift the
            # window by a fraction of a sample, so that it need not start on one.
            shift = position[part] - centre
            mean = (
                values.sum(axis=1) - (0.5 + shift) * values[:, 0] - (0.5 - shift) * values[:, -1]
            ) / (2 * half)
            position[part] += np.clip(-mean / tilt, -half / 2, half / 2)
            slope[part], bend[part] = tilt, values @ bend_weight
    # A window that hangs over the end is not centred: there the two-point time stands.
    cut = (start < half + 1) | (start > len(samples) - half - 2)
    lost = cut | (np.abs(position - start) > half)
    return np.where(lost, start, position), slope, bend
