"""Name every edge of a train by dynamic programming over the whole of it.

The state at an edge is its tooth. From one edge to the next used one the wheel turns by one tooth,
or by more where teeth made no edge; edges that are no teeth are passed over. Each path carries
its own last slowness, so that a step is judged against the speed that this very path implies.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crankwise.model.recording import FloatArray
from crankwise.model.teeth import IntArray
from crankwise.model.wheel import Wheel
from crankwise.wheel.likelihood import (
    STUDENT_DOF,
    expected_of,
    log_density,
    steps_of,
    tooth_variance,
    width_classes,
)
from crankwise.wheel.train import Train

_SLIP_COST = 8.0
"""Price of a missing tooth or an extra edge, in natural units: one in about 3000 teeth."""
_RESTART_COST = 40.0
_WRONG_WIDTH_COST = 3.9
"""ln 50: one width in fifty is misread."""
_MOST = 3
"""Up to two teeth may be missing between, or two extra edges lie between, used edges."""


@dataclass(frozen=True, slots=True, eq=False)
class Alignment:
    """Used edges and their teeth.

    ``edge`` indexes the train; ``number`` counts teeth (modulo the wheel: the tooth);
    ``restart`` marks used edges at which the count had to begin anew.
    """

    edge: IntArray
    number: IntArray
    restart: np.ndarray
    extra: int
    missing: int
    cost: float = 0.0


def align(train: Train, wheel: Wheel, *, roughness: float) -> Alignment:
    """Name the edges of a train.

    The plain count without any slip is the optimum whenever no step costs as much as a slip; then
    nothing else is tried.
    """
    plain = _without_slips(train, wheel, roughness)
    if plain is not None:
        return plain
    return min(
        (_with_slips(train, wheel, roughness, widths) for widths in _width_costs(train, wheel)),
        key=lambda result: result.cost,
    )


def _width_costs(train: Train, wheel: Wheel) -> list[FloatArray]:
    """Price of each tooth at each edge from the width of the tooth that ends there.

    One table for teeth that are high and one for an inverted signal; a single empty one for wheels
    whose code is not in the widths. Shape (edges, teeth).
    """
    classes = width_classes(train.duty)
    if not wheel.width_deg or classes is None:
        return [np.zeros((len(train), 1))]
    widths = np.asarray(wheel.width_deg)
    is_wide = widths > (widths.max() + widths.min()) / 2
    wrong = classes[:, None] != is_wide[None, :]
    known = np.isfinite(train.duty)[:, None]
    return [np.where(known & other, _WRONG_WIDTH_COST, 0.0) for other in (wrong, ~wrong)]


def _step_cost(residual: FloatArray, variance: FloatArray) -> FloatArray:
    half = (STUDENT_DOF + 1) / 2
    return np.asarray(half * np.log1p(residual**2 / (STUDENT_DOF * variance)))


def _without_slips(train: Train, wheel: Wheel, roughness: float) -> Alignment | None:
    steps, expected = steps_of(train), expected_of(wheel)
    teeth, count = wheel.teeth_per_rev, len(steps.change)
    probe = min(count, 4 * teeth + 8)
    tooth = (np.arange(1, probe + 1)[:, None] + np.arange(teeth)[None, :]) % teeth
    density = log_density(
        steps.change[:probe, None] - expected.change[tooth],
        expected.speed_variance(tooth, roughness=roughness) + steps.timing_variance[:probe, None],
    )
    classes = width_classes(train.duty)
    if expected.is_wide is not None and classes is not None:
        seen = classes[2 : probe + 2, None] == expected.is_wide[tooth]
        agree = np.abs(seen.mean(axis=0) - 0.5)
        density = density + np.where(agree > 0.45, 2.0, -2.0)
    first = int(np.argmax(density.sum(axis=0)))
    number = first + np.arange(count + 2)
    at = number[1:-1] % teeth
    variance = expected.speed_variance(at, roughness=roughness) + steps.timing_variance
    variance += expected.tooth_variance[at]
    cost = _step_cost(steps.change - expected.change[at], variance)
    if cost.max(initial=0.0) >= _SLIP_COST or not _widths_agree(classes, expected.is_wide, at):
        return None
    return Alignment(
        edge=np.arange(len(train)),
        number=number.astype(np.int64),
        restart=np.zeros(len(train), dtype=np.bool_),
        extra=0,
        missing=0,
    )


def _widths_agree(
    classes: np.ndarray | None, is_wide: np.ndarray | None, tooth: np.ndarray
) -> bool:
    """Whether the widths say the same as the count, for a high or an inverted signal."""
    if classes is None or is_wide is None:
        return True
    share = float((classes[2:] == is_wide[tooth[: len(classes) - 2]]).mean())
    return abs(share - 0.5) > 0.49


def _with_slips(
    train: Train, wheel: Wheel, roughness: float, width_cost: FloatArray
) -> Alignment:
    teeth, n = wheel.teeth_per_rev, len(train)
    angle = np.asarray([_angle_back(wheel, back) for back in range(1, _MOST + 1)])
    log_angle = np.log(angle)
    source = (np.arange(teeth)[None, :] - np.arange(1, _MOST + 1)[:, None]) % teeth
    price = _SLIP_COST * (np.arange(_MOST)[:, None] + np.arange(_MOST)[None, :])
    cost = np.zeros((n, teeth))
    slowness = np.empty((n, teeth))
    last_deg = np.empty((n, teeth))
    move = np.zeros((n, teeth), dtype=np.int64)
    slowness[0] = np.log(train.times_s[1] - train.times_s[0]) - np.log(wheel.intervals_deg)
    last_deg[0] = wheel.intervals_deg
    columns = np.arange(teeth)
    relative = train.standard_uncertainty_s**2
    for j in range(1, n):
        earlier = np.arange(j - 1, max(j - 1 - _MOST, -1), -1)
        wait = train.times_s[j] - train.times_s[earlier]
        now = np.log(wait)[:, None, None] - log_angle[None]
        change = now - slowness[earlier][:, source]
        mean_deg = 0.5 * (angle[None] + last_deg[earlier][:, source])
        timing = 4.0 * (relative[j] + relative[earlier]) / wait**2
        teeth_out = tooth_variance(angle[None], last_deg[earlier][:, source])
        variance = (roughness * mean_deg) ** 2 + timing[:, None, None] + teeth_out
        total = cost[earlier][:, source] + _step_cost(change, variance)
        total += price[: len(earlier), :, None]
        flat = total.reshape(-1, teeth)
        choice = flat.argmin(axis=0)
        best = flat[choice, columns] + width_cost[j]
        restart = cost[j - 1].min() + _RESTART_COST
        is_restart = best > restart
        cost[j] = np.where(is_restart, restart, best)
        picked = now.reshape(-1, teeth)[choice, columns]
        # After a restart any speed goes: the next wait sets it.
        fresh = np.log(wait[0]) - log_angle[0]
        slowness[j] = np.where(is_restart, fresh, picked)
        last_deg[j] = np.where(is_restart, angle[0], angle[choice % _MOST, columns])
        move[j] = np.where(is_restart, -1, choice)
    return _trace_back(cost, move, teeth)


def _angle_back(wheel: Wheel, back: int) -> FloatArray:
    """Angle from the tooth ``back`` places before each tooth to that tooth, degrees."""
    steps = np.asarray(wheel.intervals_deg)
    return np.sum([np.roll(steps, shift) for shift in range(1, back + 1)], axis=0)


def _trace_back(cost: FloatArray, move: IntArray, teeth: int) -> Alignment:
    j, tooth = len(cost) - 1, int(np.argmin(cost[-1]))
    path: list[tuple[int, int, int, bool]] = []
    while True:
        step = int(move[j, tooth])
        if j == 0:
            path.append((j, tooth, 0, False))
            break
        if step < 0:
            path.append((j, tooth, 0, True))
            j, tooth = j - 1, int(np.argmin(cost[j - 1]))
            continue
        skipped, turned = divmod(step, _MOST)
        path.append((j, tooth, turned + 1, False))
        j, tooth = j - 1 - skipped, (tooth - turned - 1) % teeth
        if j < 0:
            break
    path.reverse()
    edge = np.array([item[0] for item in path])
    restart = np.array([item[3] for item in path])
    turned_by = np.array([item[2] for item in path])
    number = path[0][1] + np.cumsum(turned_by) - turned_by[0]
    for at in np.flatnonzero(restart):
        number[at:] += (path[at][1] - number[at]) % teeth
    extra = len(cost) - len(edge)
    missing = int(np.maximum(turned_by - 1, 0).sum())
    total = float(cost[-1].min())
    return Alignment(edge, number.astype(np.int64), restart, extra, missing, total)
