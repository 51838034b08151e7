"""Smooth a signal that drowns in noise, just enough to find its edges."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from crankwise.edges.coil import settle_levels
from crankwise.edges.crossings import Crossings, find_crossings
from crankwise.edges.survey import Samples, Survey, noise_sd, survey

_NOISY_SHARE = 0.08
"""Noise as a share of the way from the middle to the level, from which smoothing begins."""
_LONGEST = 256
_LEAST_KEPT = 0.8
_LEAST_SAMPLES = 2.0


class TooFastError(Exception):
    """The signal changes every sample or two: noise, or teeth too fast for the scope.

    Kept inside this package: ``args[0]`` is the number of changes.
    """


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Crossings, the levels they refer to, and the samples (smoothed or not) they stand in.

    ``levels.noise`` is that of the samples as recorded.
    """

    crossings: Crossings
    levels: Survey
    samples: Samples


def find_through_noise(samples: Samples, *, interval_s: float) -> Found | None:
    """Confirmed crossings, found in a running mean where the noise asks for one.

    The mean is lengthened in steps until the noise is small beside the signal, and no further
    than it takes off a fifth of the signal's height. A centred mean delays nothing. Returns None
    where nothing stands out of the noise.

    Raises
    ------
    TooFastError
        The levels last for a sample or two.
    """
    found = _find(samples, interval_s=interval_s)
    recorded_noise = found.levels.noise if found is not None else noise_sd(samples)
    height = _height(found)
    length = 2
    while length <= _LONGEST and _is_noisy(found):
        length *= 2
        smooth = _running_mean(samples, length + 1)
        left = recorded_noise / np.sqrt(length + 1.0)
        tried = _find(smooth, interval_s=interval_s, least_noise=left)
        if tried is None or (found is not None and _height(tried) < _LEAST_KEPT * height):
            break
        if found is not None:
            height = max(height if length > 4 else 0.0, _height(tried))
        else:
            height = _height(tried)
        found = tried
    if found is None:
        return None
    return replace(found, levels=replace(found.levels, noise=recorded_noise))


def _running_mean(samples: Samples, size: int) -> Samples:
    from scipy.ndimage import uniform_filter1d  # noqa: PLC0415  slow to import, seldom needed

    return np.asarray(uniform_filter1d(samples, size=size, mode="nearest"))


def _find(samples: Samples, *, interval_s: float, least_noise: float = 0.0) -> Found | None:
    levels = survey(samples, interval_s=interval_s, least_noise=least_noise)
    if levels.is_flat:
        return None
    crossings = find_crossings(samples, levels)
    if levels.sensor == "variable-reluctance":
        levels = settle_levels(levels, samples, crossings)
        crossings = find_crossings(samples, levels)
    if _is_flicker(crossings):
        raise TooFastError(len(crossings.first))
    return Found(crossings, levels, samples)


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
