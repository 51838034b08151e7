"""A quick survey of a signal: which kind of sensor, at which levels, with how much noise.

The survey looks at a thinned copy, so its cost does not grow with the recording.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from crankwise.edges.ordered import in_order, median, percentile
from crankwise.model.edges import SensorKind
from crankwise.model.recording import FloatArray

Samples = npt.NDArray[Any]

WINDOW_S = 0.2
"""Length over which a level may be taken as constant: a few teeth even at starter speed."""

_MAX_WINDOWS = 1024
_SAMPLES_PER_WINDOW = 2048
_PIECE = 4096
_LEAST_PIECE = 8
_KNOWN_SHARE = 4
_LOW_PERCENT, _HIGH_PERCENT = 0.3, 99.7
_PLATEAU_SHARE = 0.76
"""A two-level signal spends more than this share of the time near its two levels; a sine
spends 0.63 there (arcsine law), so the border lies between."""
_DRIFT_SHARE = 0.05
_EVEN_LIMITS = 0.02
_CLEARLY_APART = 8.0
_FINEST = 1e-12
_RESTING_SHARE = 0.3
"""A window that spans less of the widest one's span shows no teeth: the channel rests there."""


LARGEST = 1e30
"""What is larger is no voltage; beyond it numbers of single precision run out."""


def is_usable(values: npt.NDArray[Any], *, limit: float = LARGEST) -> npt.NDArray[np.bool_]:
    """Which samples are numbers of a size that can be reckoned with."""
    return np.asarray(np.abs(values) < limit)


class NotFiniteError(Exception):
    """A sample is missing or beyond the scope's range; kept inside this package."""


@dataclass(frozen=True, slots=True, eq=False)
class Survey:
    """Levels of one signal, constant or slowly moving.

    Attributes
    ----------
    sensor : {"hall", "variable-reluctance"}
    middle, arm_high, arm_low : np.ndarray [shape=(w,)]
        Crossing level and the two levels that arm it, at ``centre``; one entry if constant.
    centre : np.ndarray [shape=(w,)]
        Sample index each entry stands for.
    low, high : float
        Typical levels (hall) or peaks (variable reluctance).
    noise : float
        Standard deviation of the noise, including the quantisation of the scope.
    least_arm : float
        Least distance from the middle to an arming level: noise and the flicker between two
        codes of the scope stay below it.
    is_flat : bool
        Nothing stands out of the noise.
    codes : int
        How many different values were seen among the thinned samples.
    """

    sensor: SensorKind
    middle: FloatArray
    arm_high: FloatArray
    arm_low: FloatArray
    centre: FloatArray
    low: float
    high: float
    noise: float
    least_arm: float
    is_flat: bool
    codes: int = 0


def survey(
    samples: Samples,
    *,
    interval_s: float,
    least_noise: float = 0.0,
    sensor: SensorKind | None = None,
    is_known: bool = False,
) -> Survey:
    """Look a signal over.

    Parameters
    ----------
    samples : np.ndarray [shape=(n,), finite]
    interval_s : float
        Sampling interval, seconds.
    least_noise : float
        Noise known to be left: smoothed noise looks like a slow signal.
    sensor : SensorKind, optional
        Kind of the sensor where that is known already.
    is_known : bool
        Whether the signal was looked over before, in an earlier stretch: a quarter of the samples
        is enough then.

    Raises
    ------
    NotFiniteError
        One of the samples looked at is no finite number.
    """
    share = _KNOWN_SHARE if is_known else 1
    windows, centre = _thin_windows(samples, interval_s=interval_s, share=share)
    ordered = in_order(windows)
    bottom, top = percentile(windows, _LOW_PERCENT), percentile(windows, _HIGH_PERCENT)
    low, high = _two_levels(ordered)
    differences, quantum = noise_and_resolution(samples, share=share)
    noise = max(min(differences, _plateau_noise(ordered, low, high)), least_noise)
    reach = float(percentile(ordered, 99.8) - percentile(ordered, 0.2))
    if reach <= max(8.0 * noise, 1e-9 * max(abs(low), abs(high), 1e-12)):
        middle = np.array([(low + high) / 2])
        return Survey(
            "hall", middle, middle, middle, centre[:1], low, high, noise, 0.0, is_flat=True
        )
    low, high = _settled_levels(ordered, low, high, noise)
    busy = _busy(windows, top - bottom, ordered)
    found: Survey | None = None
    if sensor == "hall" or (sensor is None and _has_two_levels(busy, low, high, reach)):
        found = _hall(windows, centre, bottom, top, low=low, high=high, noise=noise)
    elif sensor is None:
        found = _drifting_hall(windows, centre, bottom, top, noise=noise)
    least_arm = max(4.0 * noise, 1.2 * quantum)
    found = found or _variable_reluctance(
        windows, centre, bottom, top, noise=noise, least_arm=least_arm
    )
    return replace(found, codes=1 + int(np.count_nonzero(np.diff(ordered))))


def _busy(windows: FloatArray, spans: FloatArray, ordered: FloatArray) -> FloatArray:
    """All samples in order, without the windows in which the channel rests.

    A coil that stands still for a while, or lost its contact, stays at one level without having
    two.
    """
    busy = spans >= _RESTING_SHARE * float(spans.max())
    return ordered if busy.all() else in_order(windows[busy])


def _has_two_levels(ordered: FloatArray, low: float, high: float, reach: float) -> bool:
    """Whether a signal keeps to two levels, as one that is neither a coil's nor drifting does."""
    span = high - low
    near = (np.abs(ordered - low) < 0.2 * span) | (np.abs(ordered - high) < 0.2 * span)
    is_near = float(near.mean()) > _PLATEAU_SHARE
    return is_near and span > 0.5 * reach and not _is_cut_coil(ordered, span)


def noise_and_resolution(samples: Samples, *, share: int = 1) -> tuple[float, float]:
    """Noise of a signal, and the step between neighbouring codes of the scope.

    The noise comes from fourth differences of neighbouring samples, robust against edges: they
    leave nothing of a slow wave and 1+16+36+16+1 = 70 times the variance of white noise. Their
    median absolute deviation, scaled by 1.4826 (normal law; R documentation of ``mad``), ignores
    edges; the quantisation of the scope (step/sqrt(12)) is added.
    """
    values, piece = _pieces(samples, _PIECE // share)
    fourth = np.diff(values, n=4)[piece[4:] == piece[:-4]]
    spread = 1.482602 * median(in_order(np.abs(fourth))) / np.sqrt(70.0)
    quantum = _resolution(values, np.diff(values)[piece[1:] == piece[:-1]])
    return float(np.hypot(spread, quantum / np.sqrt(12.0))), quantum


def _resolution(values: FloatArray, differences: FloatArray) -> float:
    """Step between neighbouring codes of the scope; 0 where the values show none."""
    steps = in_order(np.abs(differences[differences != 0.0]))
    if len(steps) == 0:
        return 0.0
    quantum = float(percentile(steps, 1.0))
    # A signal of two values only has one step, from level to level: that is no resolution.
    # Nor is what no scope resolves.
    span = float(np.ptp(values))
    if not _FINEST * span < quantum < span / 12.0:
        return 0.0
    with np.errstate(over="ignore"):  # numbers as far apart as that show no steps
        multiples = np.round(steps / quantum, 3)
    is_stepped = 1 + np.count_nonzero(multiples[1:] != multiples[:-1]) < 300
    return quantum if is_stepped else 0.0


def _pieces(samples: Samples, length: int) -> tuple[FloatArray, npt.NDArray[np.int8]]:
    """Sixteen stretches of neighbouring samples, spread over the signal, and which one each is.

    Fewer of a signal so short that a stretch would not hold eight samples.
    """
    count = min(max(len(samples) // _LEAST_PIECE, 1), 16)
    parts = [part[:length] for part in np.array_split(samples, count)]
    values = np.concatenate(parts).astype(np.float64)
    if not is_usable(values).all():
        raise NotFiniteError
    return values, np.repeat(np.arange(len(parts), dtype=np.int8), [len(part) for part in parts])


def _settled_levels(
    ordered: FloatArray, low: float, high: float, noise: float
) -> tuple[float, float]:
    """Levels at which a slow pull-up comes to rest, not those half-way through its tail.

    The outer quartile of each level, less what noise alone puts there (0.6745 standard
    deviations, normal law).
    """
    below, above = _halves(ordered, (low + high) / 2)
    if not len(below) or not len(above):
        return low, high
    outer = 0.6745 * noise
    settled_low = float(percentile(below, 25.0)) + outer
    settled_high = float(percentile(above, 75.0)) - outer
    return min(settled_low, low), max(settled_high, high)


def _halves(ordered: FloatArray, middle: float) -> tuple[FloatArray, FloatArray]:
    """Values up to a level and those above it."""
    cut = int(np.searchsorted(ordered, middle, side="right"))
    return ordered[:cut], ordered[cut:]


def _is_cut_coil(ordered: FloatArray, span: float) -> bool:
    """A coil cut off on both sides: exactly flat tops, yet long slopes between them.

    Where it was cut off at like voltages above and below nought, as a scope's range does and no
    supply of a sensor, slopes that show at all are long enough.
    """
    bottom, top = ordered[0], ordered[-1]
    at_limit = min(float((ordered == top).mean()), float((ordered == bottom).mean()))
    between = (ordered > bottom + 0.1 * span) & (ordered < top - 0.1 * span)
    is_even = abs(top + bottom) < _EVEN_LIMITS * (top - bottom)
    return at_limit > 0.1 and float(between.mean()) > (0.05 if is_even else 0.3)


def _plateau_noise(ordered: FloatArray, low: float, high: float) -> float:
    """Scatter about two clear levels; infinite where there are none.

    Differences of neighbouring samples show an edge in every other one when teeth pass within a
    few samples; the levels themselves stay as quiet as they are.
    """
    off = np.minimum(np.abs(ordered - low), np.abs(ordered - high))
    spread = 1.482602 * median(in_order(off))
    return spread if high - low > _CLEARLY_APART * spread > 0.0 else np.inf


def _thin_windows(
    samples: Samples, *, interval_s: float, share: int
) -> tuple[FloatArray, FloatArray]:
    """Evenly spread rows of thinned samples, each in order, and the index of each row's centre."""
    n = len(samples)
    most = min(max(n // _LEAST_PIECE, 1), _MAX_WINDOWS)
    count = int(np.clip(round(n * interval_s / WINDOW_S), 1, most))
    length = n // count
    per_window = min(length, _SAMPLES_PER_WINDOW // share)
    step = -(-length // per_window)
    rows = np.sort(samples[: count * length].reshape(count, length)[:, ::step], axis=1)
    if not is_usable(rows[:, [0, -1]]).all():  # the sort puts NaN last
        raise NotFiniteError
    return rows.astype(np.float64), (np.arange(count, dtype=np.float64) + 0.5) * length


def _two_levels(ordered: FloatArray) -> tuple[float, float]:
    """Medians of the samples below and above their common middle (two-means, iterated)."""
    low, high = float(percentile(ordered, 0.2)), float(percentile(ordered, 99.8))
    for _ in range(4):
        below, above = _halves(ordered, (low + high) / 2)
        if not len(below) or not len(above):
            break
        low, high = median(below), median(above)
    return low, high


def _hall(
    windows: FloatArray,
    centre: FloatArray,
    bottom: FloatArray,
    top: FloatArray,
    *,
    low: float,
    high: float,
    noise: float,
) -> Survey:
    moving = _drifting_hall(windows, centre, bottom, top, noise=noise)
    if moving is not None:
        return moving
    middle, half_band = (low + high) / 2, _half_band(high - low, noise)
    return Survey(
        "hall",
        np.array([middle]),
        np.array([middle + half_band]),
        np.array([middle - half_band]),
        centre[:1],
        low,
        high,
        noise,
        half_band,
        is_flat=False,
    )


def _half_band(span: float, noise: float) -> float:
    """Half hysteresis: a tenth of the span, more in noise, never more than a third."""
    return float(np.clip(4.0 * noise, 0.1 * span, 0.34 * span))


def _drifting_hall(
    windows: FloatArray,
    centre: FloatArray,
    bottom: FloatArray,
    top: FloatArray,
    *,
    noise: float,
) -> Survey | None:
    """Two levels that wander together (offset drift); None unless that explains the signal."""
    spans = top - bottom
    if not spans.max() > 0.0:
        return None
    typical = float(np.median(spans[spans >= 0.5 * spans.max()]))
    seen = spans > 0.6 * typical
    if seen.sum() < 2:
        return None
    middles = (bottom + top) / 2
    local = np.interp(centre, centre[seen], middles[seen])
    level = windows - local[:, None]
    near = np.abs(np.abs(level[seen]) - typical / 2) < 0.2 * typical
    wander = float(np.ptp(local)) / typical
    if near.mean() <= _PLATEAU_SHARE or wander < _DRIFT_SHARE:
        return None
    half_band = _half_band(typical, noise)
    low = float(np.median(local)) - typical / 2
    return Survey(
        "hall",
        local,
        local + half_band,
        local - half_band,
        centre,
        low,
        low + typical,
        noise,
        half_band,
        is_flat=False,
    )


def _variable_reluctance(
    windows: FloatArray,
    centre: FloatArray,
    bottom: FloatArray,
    top: FloatArray,
    *,
    noise: float,
    least_arm: float,
) -> Survey:
    """Crossings of the local mean, armed low: :mod:`crankwise.edges.coil` sets both for good."""
    clipped = np.clip(windows, bottom[:, None], top[:, None])
    baseline = _smooth(clipped.mean(axis=1))
    peak_high = np.maximum(top - baseline, 0.0)
    peak_low = np.maximum(baseline - bottom, 0.0)
    arm_high = np.maximum(0.06 * peak_high, 1.25 * least_arm)
    arm_low = np.maximum(0.06 * peak_low, 1.25 * least_arm)
    return Survey(
        "variable-reluctance",
        baseline,
        baseline + arm_high,
        baseline - arm_low,
        centre,
        float(np.median(bottom)),
        float(np.median(top)),
        noise,
        least_arm,
        is_flat=False,
    )


def _smooth(values: FloatArray) -> FloatArray:
    """Moving average over five windows (one second), shrinking at the ends."""
    kernel = np.ones(min(5, len(values)))
    weight = np.convolve(np.ones(len(values)), kernel, mode="same")
    return np.asarray(np.convolve(values, kernel, mode="same") / weight)
