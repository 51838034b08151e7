"""Smooth a signal that drowns in noise, just enough to find its edges."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from crankwise.edges.coil import settle_levels
from crankwise.edges.crossings import BLOCK, Crossings, find_crossings
from crankwise.edges.running import running_mean
from crankwise.edges.survey import Samples, Survey, noise_and_resolution, survey

_NOISY_SHARE = 0.08
"""Noise as a share of the way from the middle to the level, from which smoothing begins."""
_LONGEST = 256
_LEAST_KEPT = 0.8
_LEAST_SAMPLES = 2.0
_NOT_THE_SIGNAL = 0.5
"""Levels nearer to each other than this share of those before are what is left while a sensor with
two levels rests at one of them: hum, ringing, crosstalk."""
_NOW_THE_SIGNAL = 4.0
"""Levels this many times as far apart as those before show that there was no signal before."""


class TooFastError(Exception):
    """The signal changes every sample or two: noise, or teeth too fast for the scope.

    Kept inside this package: ``args[0]`` is the number of changes.
    """


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Crossings, the levels they refer to, and the samples (smoothed or not) they stand in.

    ``levels.noise`` is that of the samples as recorded; ``length`` is the number of samples that
    each of ``samples`` is the mean of.
    """

    crossings: Crossings
    levels: Survey
    samples: Samples
    length: int = 1

    def without_samples(self) -> Found:
        """The same, ready to be kept."""
        return replace(self, samples=self.samples[:0])

    def outgrows(self, before: Found) -> bool:
        """Whether what was found before can't have been the signal."""
        return _span(self.levels) > _NOW_THE_SIGNAL * _span(before.levels)


def find_through_noise(
    samples: Samples, *, interval_s: float, before: Found | None = None
) -> Found | None:
    """Confirmed crossings, found in a running mean where the noise asks for one.

    The mean is lengthened in steps until the noise is small beside the signal, and no further
    than it takes off a fifth of the signal's height. A centred mean delays nothing. Returns None
    where nothing stands out of the noise.

    A sensor does not change its kind, and one with two levels keeps them while it rests: what was
    found ``before`` in the same channel holds until a signal far larger shows up.

    Raises
    ------
    TooFastError
        The levels last for a sample or two.
    NotFiniteError
        A sample is no finite number.
    """
    is_known = before is not None
    found = _find(samples, interval_s=interval_s, is_known=is_known)
    if before is not None and found is not None and found.outgrows(before):
        before = None
    if before is not None:
        if _rests(found, before):
            return _find_at_levels_before(samples, before)
        if found is not None and found.levels.sensor != before.levels.sensor:
            found = _find(samples, interval_s=interval_s, before=before, is_known=True)
    if _is_noisy(found) and found is not None:
        found = _find(samples, interval_s=interval_s, before=before, exact=True, is_known=is_known)
    recorded_noise = found.levels.noise if found is not None else noise_and_resolution(samples)[0]
    height = _height(found)
    length = 2
    while length <= _LONGEST and _is_noisy(found):
        length *= 2
        smooth = _smoothed(samples, length + 1)
        left = recorded_noise / np.sqrt(length + 1.0)
        tried = _find(smooth, interval_s=interval_s, least_noise=left, before=before, exact=True)
        if tried is None or (found is not None and _height(tried) < _LEAST_KEPT * height):
            break
        if found is not None:
            height = max(height if length > 4 else 0.0, _height(tried))
        else:
            height = _height(tried)
        found = replace(tried, length=length + 1)
    if found is None:
        return None
    return replace(found, levels=replace(found.levels, noise=recorded_noise))


def _smoothed(samples: Samples, length: int) -> Samples:
    """Running mean of an odd number of samples, worked out where the cache holds them."""
    result = np.empty_like(samples)
    half = length // 2
    for begin in range(0, len(samples), BLOCK):
        first = max(begin - half, 0)
        part = samples[first : begin + BLOCK + half].astype(np.float64)
        mean = running_mean(part, length)[begin - first :]
        result[begin : begin + BLOCK] = mean[:BLOCK]
    return result


def _find(
    samples: Samples,
    *,
    interval_s: float,
    least_noise: float = 0.0,
    before: Found | None = None,
    exact: bool = False,
    is_known: bool = False,
) -> Found | None:
    levels = survey(
        samples,
        interval_s=interval_s,
        least_noise=least_noise,
        sensor=before.levels.sensor if before is not None else None,
        is_known=is_known,
    )
    if levels.is_flat:
        return None
    is_coil = levels.sensor == "variable-reluctance"
    crossings = find_crossings(samples, levels, exact=exact or is_coil)
    if is_coil:
        levels = settle_levels(levels, samples, crossings)
        crossings = find_crossings(samples, levels, exact=True)
    if _is_flicker(crossings):
        raise TooFastError(len(crossings.first))
    return Found(crossings, levels, samples)


def _rests(found: Found | None, before: Found) -> bool:
    """Whether a sensor with two levels shows no more than one of them."""
    if before.levels.sensor != "hall":
        return False
    return found is None or _span(found.levels) < _NOT_THE_SIGNAL * _span(before.levels)


def _find_at_levels_before(samples: Samples, before: Found) -> Found:
    """Search at the levels that the sensor had last."""
    last = before.levels
    levels = replace(
        last,
        middle=last.middle[-1:],
        arm_high=last.arm_high[-1:],
        arm_low=last.arm_low[-1:],
        centre=last.centre[-1:],
    )
    if before.length > 1:
        samples = _smoothed(samples, before.length)
    return Found(find_crossings(samples, levels, exact=False), levels, samples, before.length)


def _span(levels: Survey) -> float:
    return levels.high - levels.low


def _is_flicker(crossings: Crossings) -> bool:
    """Levels that last for a sample or two are noise, or teeth far too fast for the scope."""
    lasts = np.diff(crossings.last)
    return len(lasts) > 8 and float(np.median(lasts)) < _LEAST_SAMPLES


def _height(found: Found | None) -> float:
    """Typical height of the confirmed segments over the middle; 0 where there are none."""
    if found is None or len(found.crossings.height) == 0:
        return 0.0
    return float(np.median(found.crossings.height))


def _is_noisy(found: Found | None) -> bool:
    if found is None:
        return True
    # The peaks themselves are raised by the noise: take it off.
    height = _height(found) - 2.0 * found.levels.noise
    return found.levels.noise > _NOISY_SHARE * max(height, 0.0)
