"""Sub-sample times of confirmed crossings, and how well each is known.

Between two samples the time comes from the straight line through them. Where noise would spoil
that, a line is fitted to the ramp (two-level sensors) or to the steep middle of the half wave
(variable reluctance), centred on the crossing by iteration. The bounds these reach are derived in
docs/method.md.
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from crankwise.edges.crossings import Crossings
from crankwise.edges.survey import Samples, Survey
from crankwise.model.recording import FloatArray

_MAX_HALF_WINDOW = 2048
_BATCH = 1 << 22
"""Samples gathered at a time in a line fit (32 MB)."""

_HALF_WAVE_SHARE = 1.0 / 6.0
"""Half window as a share of a sine's period: the variance of the centred mean over +-T/6 is
1.10 times the Cramer-Rao bound of the whole half wave, the least at any width being 1.08."""


def edge_positions(
    samples: Samples, crossings: Crossings, levels: Survey
) -> tuple[FloatArray, FloatArray]:
    """Positions of the edges and their standard uncertainties, both in samples.

    Parameters
    ----------
    samples : np.ndarray [shape=(n,), finite]
    crossings : Crossings
        With ``m`` edges.
    levels : Survey
        What the survey found.

    Returns
    -------
    positions, standard_uncertainties : np.ndarray [shape=(m,)]
    """
    if len(crossings.first) == 0:
        return np.empty(0), np.empty(0)
    middle = _middle(levels, crossings)
    line = 0.5 * (
        _two_point(samples, crossings.first, middle) + _two_point(samples, crossings.last, middle)
    )
    if levels.sensor == "hall":
        return _hall(samples, line, middle, levels)
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
    samples: Samples, line: FloatArray, middle: FloatArray, levels: Survey
) -> tuple[FloatArray, FloatArray]:
    span = levels.high - levels.low
    ramp = _ramp_length(samples, line, middle, span)
    # Mean error of the straight line between two samples when the ramp is shorter than they are
    # apart: uniform law (GUM 4.3.7) with no sample on the ramp; 0.06 with one, found numerically.
    quantised = max(1.0 - ramp, 0.0) / np.sqrt(12.0)
    if ramp < 2.0:
        quantised = max(quantised, 0.06 * min(2.0 - ramp, 1.0))
    slope = span / max(ramp, 1.0)
    # Between two samples the weights are (1-f, f): 2/3 of the variance of one, on average.
    noise = np.sqrt(2.0 / 3.0) * levels.noise / slope
    half = int(min(0.4 * ramp, _MAX_HALF_WINDOW))
    if half < 2 or noise < 0.05:
        return line, np.full(len(line), np.hypot(quantised, noise))
    _, slopes = _fit_line(samples, line, middle, half=half)
    # Noise cuts the counted ramp short; the fitted slope does not mind.
    steepness = float(np.median(np.abs(slopes)))
    widest = int(np.clip(0.45 * span / steepness, half, _MAX_HALF_WINDOW))
    needed = int(np.clip(np.ceil(0.75 * (noise / 0.03) ** 2), 2, widest))
    position, slopes = _fit_line(samples, line, middle, half=needed)
    spread = levels.noise / (float(np.median(np.abs(slopes))) * np.sqrt(2 * needed + 1))
    return position, np.full(len(position), np.hypot(quantised, spread))


def _ramp_length(samples: Samples, line: FloatArray, middle: FloatArray, span: float) -> float:
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
            centre_counts = np.where(on_ramp[:, half], left + right, _beside(on_ramp, half))
            return float(np.median(centre_counts) + np.mean(centre_counts)) / 2 / 0.8
        half *= 4


def _beside(on_ramp: np.ndarray, half: int) -> np.ndarray:
    """Samples on the ramp when the one nearest the crossing is already past it."""
    return on_ramp[:, half - 1 : half + 2].sum(axis=1)


def _variable_reluctance(
    samples: Samples, line: FloatArray, middle: FloatArray, levels: Survey
) -> tuple[FloatArray, FloatArray]:
    """Line fit over the steep middle of each half wave, as wide as its neighbours allow."""
    if len(line) < 3:
        slope = np.abs(_local_slope(samples, line))
        return line, np.hypot(1 / np.sqrt(12.0), levels.noise / slope)
    gaps = np.diff(line)
    # The half wave about an edge reaches half-way to the next edge of the other direction.
    reach = np.minimum(np.append(gaps, gaps[-1]), np.insert(gaps, 0, gaps[0]))
    position, slope = line.copy(), np.abs(_local_slope(samples, line))
    used = np.ones(len(line))
    half_width = np.clip(2 * reach * _HALF_WAVE_SHARE, 0, _MAX_HALF_WINDOW).astype(int)
    half_width = _rounded_down(half_width)
    for half in np.unique(half_width[half_width >= 2]):
        chosen = np.flatnonzero(half_width == half)
        fitted, slopes = _fit_line(samples, line[chosen], middle[chosen], half=int(half))
        position[chosen], slope[chosen] = fitted, np.abs(slopes)
        used[chosen] = 2 * half + 1
    floor = 1e-12 + 1e-3 * np.median(slope)
    spread = levels.noise / (np.maximum(slope, floor) * np.sqrt(used))
    # With one sample interval between points of a smooth wave the line is good to about a tenth.
    curvature = np.where(half_width >= 2, 0.02, 0.1)
    return position, np.hypot(spread, curvature)


def _rounded_down(half_width: np.ndarray) -> np.ndarray:
    """Widths in steps of a tenth, so that edges of like width are fitted together."""
    exponent = np.floor(np.log(np.maximum(half_width, 1)) / np.log(1.1) + 1e-9)
    return np.minimum(np.ceil(1.1**exponent - 1e-9), np.maximum(half_width, 1)).astype(int)


def _local_slope(samples: Samples, line: FloatArray) -> FloatArray:
    index = np.clip(line.astype(np.intp), 0, len(samples) - 2)
    slope = samples[index + 1].astype(np.float64) - samples[index]
    return np.where(slope == 0, 1e-12, slope)


def _fit_line(
    samples: Samples, start: FloatArray, middle: FloatArray, *, half: int
) -> tuple[FloatArray, FloatArray]:
    """Least-squares line over ``2*half+1`` samples centred on each crossing, iterated twice.

    Centring matters: a window off the crossing pulls the result towards its own centre.
    """
    position = start.copy()
    slope = np.ones(len(start))
    offsets = np.arange(-half, half + 1, dtype=np.float64)
    weight = float((offsets**2).sum())
    batch = max(_BATCH // (2 * half + 1), 1)
    windows = sliding_window_view(samples, 2 * half + 1)
    for begin in range(0, len(start), batch):
        part = slice(begin, begin + batch)
        for _ in range(3):
            centre = np.clip(np.round(position[part]).astype(np.intp), half, len(samples) - half - 1)
            values = windows[centre - half].astype(np.float64) - middle[part, None]
            tilt = values @ offsets / weight
            tilt = np.where(tilt == 0, 1e-12, tilt)
            # The mean over a window centred on the crossing vanishes; the end weights shift the
            # window by a fraction of a sample, so that it need not start on one.
            shift = position[part] - centre
            edge_weight = 0.5
            mean = (
                values.sum(axis=1)
                - (edge_weight + shift) * values[:, 0]
                - (edge_weight - shift) * values[:, -1]
            ) / (2 * half)
            move = np.clip(-mean / tilt, -half / 2, half / 2)
            position[part] += move
            slope[part] = tilt
    # A window that hangs over the end is not centred: there the two-point time stands.
    cut = (start < half + 1) | (start > len(samples) - half - 2)
    return np.where(cut | (np.abs(position - start) > half), start, position), slope
