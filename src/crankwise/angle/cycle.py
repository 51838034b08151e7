"""Which revolution starts the cycle, and which repeat of a repeating wheel is the zero.

The crank alone can't tell one revolution of the cycle from the other. The cams can: their
pattern has a place in the cycle. Any rule will do as long as it always makes the same choice, so
that two recordings of like engines get like angles; a comparison checks it again by the pattern.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crankwise.angle.folding import CamAngles, Cluster, clusters
from crankwise.model.recording import FloatArray
from crankwise.units import CYCLE_DEG, wrap_cycle_deg, wrap_signed_deg

_CLEAR = 0.15
"""Least length of a harmonic of the pattern (0 to 1) that names a place in the cycle."""
_HIGHEST = 14
_SAME_PLACE_DEG = 8.0
_ENOUGH = 4
"""Cam edges from which a run says where the cams are."""


@dataclass(frozen=True, slots=True, eq=False)
class Cycle:
    """The choice of the cycle's origin.

    Attributes
    ----------
    offset_deg : np.ndarray [shape=(runs,)]
        Added to each run's count of degrees; NaN for a run that could not be joined.
    known : bool
        Whether the cams settle it.
    how : str
        In words.
    apart : int
        Runs that could not be joined although they hold cam edges enough: these lie elsewhere.
    """

    offset_deg: FloatArray
    known: bool
    how: str
    apart: int = 0


def cycle_origin(cams: Sequence[tuple[str, CamAngles]], *, runs: int, repeats: int) -> Cycle:
    """Join the runs of teeth and choose the origin of the cycle.

    Parameters
    ----------
    cams : sequence of (name, CamAngles)
    runs : int
        Runs of teeth.
    repeats : int
        How often the wheel's pattern repeats in a revolution.
    """
    step = CYCLE_DEG / (2 * repeats)
    offset, apart = _join_runs(cams, runs, step)
    joined = np.where(np.isfinite(offset), offset, 0.0)
    # All cams together, so that neither their names nor their order can change the choice.
    patterns = {name: clusters(cam, offset_deg=joined) for name, cam in cams}
    turn = _turn_deg([item for pattern in patterns.values() for item in pattern], repeats)
    if turn is not None:
        how = f"the cams' pattern tells the {2 * repeats} possible places apart"
        return Cycle(offset + turn, known=True, how=how, apart=apart)
    # Two banks alike half a cycle apart look the same in either place but for their names.
    for name in sorted(patterns):
        turn = _turn_deg(patterns[name], repeats)
        if turn is not None:
            how = f"the pattern of '{name}' tells the {2 * repeats} possible places apart"
            return Cycle(offset + turn, known=True, how=how, apart=apart)
    how = (
        "no cam tells the two revolutions of a cycle apart: angles are right up to a whole turn"
        if cams
        else "no cam was recorded"
    )
    return Cycle(offset, known=False, how=how, apart=apart)


def _turn_deg(pattern: Sequence[Cluster], repeats: int) -> float | None:
    """Turn that brings the pattern to its place; None if it looks alike in every place.

    The ``k``-th harmonic of the pattern over the cycle tells the ``2 * repeats`` possible places
    apart if ``k`` has no factor in common with their number. The lowest clear one is taken, and
    the place is that in which its phase lies in the first part of the circle. First all edges
    count alike, which an inverted sensor does not change; then rising less falling edges.
    """
    if not pattern:
        return None
    angle = np.array([item.angle_deg for item in pattern]) * (2 * np.pi / CYCLE_DEG)
    sign = np.array([1.0 if item.edge == "rising" else -1.0 for item in pattern])
    places = 2 * repeats
    harmonics = [k for k in range(1, _HIGHEST) if np.gcd(k, places) == 1]
    for weight in (np.ones(len(pattern)), sign):
        for k in harmonics:
            vector = complex(np.mean(weight * np.exp(1j * k * angle)))
            if abs(vector) < _CLEAR:
                continue
            phase = [
                float(np.angle(vector * np.exp(2j * np.pi * k * place / places)) % (2 * np.pi))
                for place in range(places)
            ]
            return CYCLE_DEG / places * int(np.argmin(phase))
    return None


def _join_runs(
    cams: Sequence[tuple[str, CamAngles]], runs: int, step_deg: float
) -> tuple[FloatArray, int]:
    """Offset of each run against the longest one, by the cam pattern; NaN if undecided.

    And how many runs lie elsewhere by all their edges.
    """
    offset = np.zeros(runs)
    apart = 0
    if runs < 2:
        return offset, apart
    sightings = np.array([sum(int((cam.run == k).sum()) for _, cam in cams) for k in range(runs)])
    main = int(np.argmax(sightings))
    choices = np.arange(round(CYCLE_DEG / step_deg)) * step_deg
    for run in range(runs):
        if run == main:
            continue
        misses = [_mismatch(cams, main, run, choice) for choice in choices]
        best = np.argsort(misses)
        clear = len(misses) == 1 or misses[best[1]] > 2.0 * misses[best[0]] + 1.0
        is_same = np.isfinite(misses[best[0]]) and misses[best[0]] < _SAME_PLACE_DEG
        offset[run] = choices[best[0]] if is_same and clear else np.nan
        apart += bool(np.isfinite(misses[best[0]]) and not is_same and sightings[run] >= _ENOUGH)
    return offset, apart


def _mismatch(
    cams: Sequence[tuple[str, CamAngles]], main: int, run: int, offset_deg: float
) -> float:
    """Mean distance of a run's cam edges to the nearest like edge of the main run, degrees."""
    distances: list[FloatArray] = []
    for _, cam in cams:
        for rising in (False, True):
            like = cam.rising == rising
            known = wrap_cycle_deg(cam.angle_deg[like & (cam.run == main)])
            asked = wrap_cycle_deg(cam.angle_deg[like & (cam.run == run)] + offset_deg)
            if len(known) and len(asked):
                apart = np.abs(wrap_signed_deg(asked[:, None] - known[None, :]))
                distances.append(apart.min(axis=1))
    return float(np.mean(np.concatenate(distances))) if distances else float("inf")
