"""Learn a wheel from the recording where the catalogue has none that fits.

The pattern of the spacing says how many teeth make one repeat; the cams, which turn once in two
crank revolutions, say how many make one revolution.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crankwise.edges.running import running_mean
from crankwise.model.edges import Edges
from crankwise.model.recording import FloatArray
from crankwise.model.wheel import Wheel
from crankwise.wheel.train import Train

_MOST_TEETH = 150
_MOST_CAM_EDGES = 16
_GAP_RATIO = 1.4
_ALIKE = 0.2
"""Change of ln(interval) from one repeat to the next that the engine's speed may make."""


@dataclass(frozen=True, slots=True)
class Learned:
    """A learned wheel and whether the cams, or only its own pattern, tell a revolution."""

    wheel: Wheel
    settled_by_cams: bool


def learn(train: Train, cams: Sequence[Edges]) -> Learned | None:
    """Learn the wheel of a train; None where no repeat is found.

    Parameters
    ----------
    train : Train
    cams : sequence of Edges
        Every channel that may be a cam; those that don't repeat are passed over.
    """
    own = pattern_period(train)
    per_cycle = teeth_per_cycle(train, cams)
    if per_cycle is not None and per_cycle % 2 == 0 and (own is None or per_cycle % own == 0):
        teeth, settled = per_cycle // 2, True
        if own is not None and teeth % own != 0:
            # The pattern needs the whole cycle to repeat: the crank has odd teeth for its own.
            teeth = own
    elif own is not None and own > 1:
        teeth, settled = own, False
    else:
        return None
    if len(train) < 2 * teeth + 2:
        return None
    return Learned(_as_wheel(_median_share(train, teeth)), settled)


def pattern_period(train: Train) -> int | None:
    """Teeth after which the spacing repeats; 1 for even teeth; None where it never does."""
    logs = np.log(np.diff(train.times_s))
    flat = logs - running_mean(logs, min(len(logs), 61))
    longest = min(_MOST_TEETH, len(flat) // 3)
    if longest < 1:
        return None
    reference = float(np.percentile(np.abs(flat - np.median(flat)), 99))
    if reference < 0.3 and float(np.percentile(np.abs(np.diff(flat)), 98)) < 0.25:
        return 1
    for lag in range(1, longest + 1):
        miss = np.abs(flat[lag:] - flat[:-lag])
        # A wrong period is off at least once in every repeat; a right one only now and then.
        limit = max(_ALIKE, 3.0 * float(np.median(miss)))
        if limit < 0.5 * reference and float((miss > limit).mean()) < 0.4 / lag:
            return lag
    return None


def teeth_per_cycle(train: Train, cams: Sequence[Edges]) -> int | None:
    """Crank teeth in one cam revolution, from the cams' own repeat; None where they don't tell."""
    answers: list[int] = []
    for cam in cams:
        for direction in ("falling", "rising"):
            times = cam.times_s[cam.rising == (direction == "rising")]
            inside = (times > train.times_s[0]) & (times < train.times_s[-1])
            place = np.interp(times[inside], train.times_s, np.arange(len(train)))
            repeat = _repeat(place)
            if repeat is not None:
                answers.append(repeat)
    # A cam of even teeth repeats more than once a turn; the longest repeat is the turn.
    return max(answers) if answers else None


def _repeat(place: FloatArray) -> int | None:
    """Smallest whole number of teeth after which the cam edges fall at the same place again."""
    for edges in range(1, min(_MOST_CAM_EDGES, (len(place) - 1) // 2) + 1):
        turn = place[edges:] - place[:-edges]
        nearest = np.round(np.median(turn))
        off = np.abs(turn - nearest)
        if nearest >= 2 and np.percentile(off, 80) < min(0.3, 0.12 * nearest):
            return int(nearest)
    return None


def _median_share(train: Train, teeth: int) -> FloatArray:
    """Median spacing of each tooth, slow changes of speed removed; degrees."""
    intervals = np.diff(train.times_s)
    mean = running_mean(intervals, teeth)
    if teeth % 2 == 0:
        # An even window is half a tooth off centre: average both ways round.
        mean = 0.5 * (mean + running_mean(intervals, teeth, later=True))
    ratio = intervals / mean
    usable = len(ratio) // teeth * teeth
    table = ratio[:usable].reshape(-1, teeth)
    share = np.median(table, axis=0)
    return np.asarray(share / share.sum() * 360.0)


def _as_wheel(share_deg: FloatArray) -> Wheel:
    """Turn spacing into a wheel whose zero follows its widest space."""
    order = np.sort(share_deg)[::-1]
    teeth = len(share_deg)
    pitch = float(np.median(share_deg))
    has_gap = teeth > 3 and order[0] > _GAP_RATIO * order[1] and order[1] < _GAP_RATIO * pitch
    if order[0] < 1.15 * order[-1]:
        share_deg = np.full(teeth, 360.0 / teeth)
    widest = int(np.argmax(share_deg))
    steps = _symmetrised(np.roll(share_deg, -(widest + 1)))
    return Wheel(
        name=f"learned, {teeth} teeth",
        intervals_deg=tuple(float(step) for step in steps),
        pitch_deg=pitch if has_gap else 360.0 / teeth,
        has_gap=bool(has_gap),
        found_in="this recording",
        source="learned from the repeating spacing",
        learned=True,
    )


def _symmetrised(steps: FloatArray) -> FloatArray:
    """Where the spacing repeats within the turn but for noise, make it repeat exactly."""
    teeth = len(steps)
    for period in range(1, teeth // 2 + 1):
        if teeth % period:
            continue
        table = steps.reshape(-1, period)
        if np.all(np.abs(np.log(table / table.mean(axis=0))) < 0.08):
            return np.asarray(np.tile(table.mean(axis=0), teeth // period))
    return steps
