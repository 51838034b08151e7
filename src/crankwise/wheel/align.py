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

SLIP_COST = 8.0
"""Price of a missing tooth or an extra edge, in natural units: one in about 3000 teeth."""
_PRICE = np.array([0.0, SLIP_COST, SLIP_COST + 3.0])
"""Price of no, one, two slips at one place: the second is likelier where there is a first."""
_RESTART_COST = 40.0
_WRONG_WIDTH_COST = 3.9
"""ln 50: one width in fifty is misread."""
_MOST = len(_PRICE)
"""Up to two teeth may be missing between, or two extra edges lie between, used edges."""


@dataclass(frozen=True, slots=True, eq=False)
class Alignment:
    """Used edges and their teeth.

    ``edge`` indexes the train; ``number`` counts teeth (modulo the wheel: the tooth);
    ``restart`` marks used edges at which the count had to begin anew; ``cost`` is the price of
    the whole path in natural units, ``slip_cost`` the part of it for missing and extra edges.
    """

    edge: IntArray
    number: IntArray
    restart: np.ndarray
    extra: int
    missing: int
    cost: float = 0.0
    slip_cost: float = 0.0


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
    classes = None if expected.is_wide is None else width_classes(train.duty)
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
    if cost.max(initial=0.0) >= SLIP_COST or not _widths_agree(classes, expected.is_wide, at):
        return None
    return Alignment(
        edge=np.arange(len(train)),
        number=number.astype(np.int64),
        restart=np.zeros(len(train), dtype=np.bool_),
        extra=0,
        missing=0,
        cost=float(cost.sum()),
    )


def _widths_agree(
    classes: np.ndarray | None, is_wide: np.ndarray | None, tooth: np.ndarray
) -> bool:
    """Whether the widths say the same as the count, for a high or an inverted signal."""
    if classes is None or is_wide is None:
        return True
    share = float((classes[2:] == is_wide[tooth[: len(classes) - 2]]).mean())
    return abs(share - 0.5) > 0.49


def _with_slips(train: Train, wheel: Wheel, roughness: float, width_cost: FloatArray) -> Alignment:
    """Viterbi over teeth.

    Two paths are kept for each tooth at each edge: the best that came by a plain step and the best
    that came by a slip; for a slip looks dear before the next step shows that the plain one was
    wrong about the speed.
    """
    teeth, n = wheel.teeth_per_rev, len(train)
    steps = _StepTable.of(wheel)
    cost = np.full((n, 2, teeth), np.inf)
    slowness = np.zeros((n, 2, teeth))
    last_deg = np.ones((n, 2, teeth))
    move = np.zeros((n, 2, teeth), dtype=np.int64)
    cost[0, 0] = 0.0
    slowness[0] = np.log(train.times_s[1] - train.times_s[0]) - np.log(wheel.intervals_deg)
    last_deg[0] = wheel.intervals_deg
    columns = np.arange(teeth)
    for j in range(1, n):
        total, now = _candidates(train, j, steps, (cost, slowness, last_deg), roughness)
        restart = float(cost[j - 1].min()) + _RESTART_COST
        for kind, chosen in enumerate((total[:1], total[1:])):
            flat = chosen.reshape(-1, teeth)
            pick = flat.argmin(axis=0)
            best = flat[pick, columns] + width_cost[j]
            is_restart = best > restart
            cost[j, kind] = np.where(is_restart, restart, best)
            # Candidate rows are ordered (skipped, turned, kind of the path before).
            code = pick + (0 if kind == 0 else 2)
            turned = code // 2 % _MOST
            fresh = now[0, 0] - steps.log_deg[0]
            slowness[j, kind] = np.where(
                is_restart, fresh, now[code // 2 // _MOST, 0] - steps.log_deg[turned, columns]
            )
            last_deg[j, kind] = np.where(is_restart, steps.deg[0], steps.deg[turned, columns])
            move[j, kind] = np.where(is_restart, -1, code)
    return _trace_back(cost, move, teeth)


@dataclass(frozen=True, slots=True, eq=False)
class _StepTable:
    """Angle of each step that ends at each tooth, where it began, and what it costs.

    ``deg``, ``log_deg``, ``source``: shape (steps, teeth); ``price``: (skipped, steps).
    """

    deg: FloatArray
    log_deg: FloatArray
    source: IntArray
    price: FloatArray

    @classmethod
    def of(cls, wheel: Wheel) -> _StepTable:
        deg = np.asarray([_angle_back(wheel, back) for back in range(1, _MOST + 1)])
        teeth = np.arange(wheel.teeth_per_rev)
        source = (teeth[None, :] - np.arange(1, _MOST + 1)[:, None]) % wheel.teeth_per_rev
        return cls(deg, np.log(deg), source, _PRICE[:, None] + _PRICE[None, :])


def _candidates(
    train: Train,
    j: int,
    steps: _StepTable,
    before: tuple[FloatArray, FloatArray, FloatArray],
    roughness: float,
) -> tuple[FloatArray, FloatArray]:
    """Cost of every way to every tooth at edge ``j``.

    Returns costs, shape (skipped * steps, 2 kinds before, teeth), and ln(wait), (skipped, 1).
    """
    cost, slowness, last_deg = before
    earlier = np.arange(j - 1, max(j - 1 - _MOST, -1), -1)
    wait = train.times_s[j] - train.times_s[earlier]
    now = np.log(wait)[:, None]
    # Indexed by (skipped, kind before, step, tooth), then steps and kinds change places.
    came = slowness[earlier][:, :, steps.source].transpose(0, 2, 1, 3)
    turned = last_deg[earlier][:, :, steps.source].transpose(0, 2, 1, 3)
    paid = cost[earlier][:, :, steps.source].transpose(0, 2, 1, 3)
    deg = steps.deg[None, :, None, :]
    change = now[:, :, None, None] - steps.log_deg[None, :, None, :] - came
    spread = train.standard_uncertainty_s**2
    timing = 4.0 * (spread[j] + spread[earlier]) / wait**2
    variance = (0.5 * roughness * (deg + turned)) ** 2 + timing[:, None, None, None]
    variance += tooth_variance(deg, turned)
    total = paid + _step_cost(change, variance)
    total += steps.price[: len(earlier), :, None, None]
    return total.reshape(-1, *total.shape[2:]), now


def _angle_back(wheel: Wheel, back: int) -> FloatArray:
    """Angle from the tooth ``back`` places before each tooth to that tooth, degrees."""
    steps = np.asarray(wheel.intervals_deg)
    return np.asarray(np.sum([np.roll(steps, shift) for shift in range(1, back + 1)], axis=0))


def _trace_back(cost: FloatArray, move: IntArray, teeth: int) -> Alignment:
    j = len(cost) - 1
    kind, tooth = np.unravel_index(int(np.argmin(cost[-1])), cost[-1].shape)
    path: list[tuple[int, int, int, bool]] = []
    while j > 0:
        code = int(move[j, kind, tooth])
        if code < 0:
            path.append((j, int(tooth), 0, True))
            j -= 1
            kind, tooth = np.unravel_index(int(np.argmin(cost[j])), cost[j].shape)
            continue
        skipped, turned = divmod(code // 2, _MOST)
        path.append((j, int(tooth), turned + 1, False))
        kind = np.intp(code % 2)
        j, tooth = j - 1 - skipped, np.intp((tooth - turned - 1) % teeth)
    path.append((0, int(tooth), 0, False))
    path.reverse()
    edge = np.array([item[0] for item in path])
    restart = np.array([item[3] for item in path])
    turned_by = np.array([item[2] for item in path])
    number = path[0][1] + np.cumsum(turned_by)
    for at in np.flatnonzero(restart):
        number[at:] += (path[at][1] - number[at]) % teeth
    extra = len(cost) - len(edge)
    missing = int(np.maximum(turned_by - 1, 0).sum())
    slips = _PRICE[np.maximum(turned_by - 1, 0)].sum() + _PRICE[np.diff(edge) - 1].sum()
    return Alignment(
        edge,
        number.astype(np.int64),
        restart,
        extra,
        missing,
        cost=float(cost[-1].min()),
        slip_cost=float(slips + _RESTART_COST * restart.sum()),
    )
