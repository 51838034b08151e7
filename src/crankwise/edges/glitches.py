"""Reject edges that can't come from teeth: pulses far shorter than their neighbours."""

from __future__ import annotations

import numpy as np

from crankwise.edges.running import running_median
from crankwise.model.recording import BoolArray, FloatArray

_GLITCH_SHARE = 0.06
"""A pulse shorter than this share of the local pulses of its own level is no tooth: the
narrowest tooth in use beside wide ones is a quarter of them (3 and 12 degrees, 24x)."""
_NEIGHBOURS = 15


def keep_teeth(times_s: FloatArray) -> BoolArray:
    """Mark the edges to keep; both ends of a glitch go, so directions still alternate.

    Parameters
    ----------
    times_s : np.ndarray [shape=(n,)]
        Alternating edges, seconds.

    >>> import numpy as np
    >>> t = np.delete(np.arange(0, 20.0), []); t = np.sort(np.append(t, [6.5, 6.51]))
    >>> t[~keep_teeth(t)]
    array([6.5 , 6.51])
    """
    keep = np.ones(len(times_s), dtype=np.bool_)
    for _ in range(4):
        index = np.flatnonzero(keep)
        if len(index) < 8:
            break
        width = np.diff(times_s[index])
        if width.min() >= _GLITCH_SHARE * width.max():
            break  # whatever is typical, no pulse can be that short beside it
        typical = np.empty_like(width)
        for level in (0, 1):
            typical[level::2] = running_median(width[level::2], _NEIGHBOURS)
        # Beside a glitch the local median of its own level may be made of glitches: ask both.
        period = typical + np.append(typical[1:], typical[-1])
        short = (width < _GLITCH_SHARE * typical) | (width < 0.25 * _GLITCH_SHARE * period)
        # Of touching short pulses take the shortest first; the next round sees the rest.
        order = np.where(short, width, np.inf)
        local = (
            short
            & (order <= np.append(order[1:], np.inf))
            & (order < np.insert(order[:-1], 0, np.inf))
        )
        chosen = np.flatnonzero(local)
        if len(chosen) == 0:
            break
        keep[index[chosen]] = False
        keep[index[chosen + 1]] = False
    return keep
