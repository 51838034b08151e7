"""Cam edges over the cycle: clusters, outliers, doubles, movement, scatter."""

import numpy as np
import pytest

from crankwise.angle.folding import CamAngles, clusters
from crankwise.angle.movement import movement
from crankwise.model.edges import Edges

PATTERN = ((10.0, "rising"), (95.0, "falling"), (300.0, "rising"), (359.0, "falling"))
CYCLES = 20


def cam_of(angle, rising, *, run=None):
    angle = np.asarray(angle, dtype=float)
    order = np.argsort(angle, kind="stable")
    angle, rising = angle[order], np.asarray(rising)[order]
    run = np.zeros(len(angle), dtype=int) if run is None else np.asarray(run)[order]
    times = angle / 4800.0
    edges = Edges("cam", "hall", times, rising, np.full(len(times), 1e-6), 0.0, 5.0, 0.0, 0.0, {})
    return CamAngles(edges, angle, angle + 0.01, rising, times, run, 0)


def sightings(*, scatter=0.0, move=None, pattern=PATTERN, cycles=CYCLES, seed=1):
    rng = np.random.default_rng(seed)
    move = np.zeros(cycles) if move is None else np.asarray(move)
    angle, rising = [], []
    for place, edge in pattern:
        own = rng.normal(0.0, scatter, cycles) if scatter else np.zeros(cycles)
        angle += list(place + 720.0 * np.arange(1, cycles + 1) + own + move)
        rising += [edge == "rising"] * cycles
    return np.array(angle), np.array(rising)


def fold(angle, rising, **how):
    return clusters(cam_of(angle, rising, **how), offset_deg=np.zeros(1))


def places(found):
    return [(round(item.angle_deg, 6), item.edge) for item in found]


def test_a_clean_pattern():
    found = fold(*sightings())
    assert places(found) == list(PATTERN)
    for item in found:
        assert len(item.cycle) == len(set(item.cycle)) == CYCLES
        assert item.deviation_deg == pytest.approx(0.0, abs=1e-9)
        assert item.coarse_shift_deg == pytest.approx(0.01)
        assert item.rejected == 0


def test_scatter_is_kept():
    found = fold(*sightings(scatter=0.5, cycles=200))
    for item, (place, _) in zip(found, PATTERN, strict=True):
        assert item.angle_deg == pytest.approx(place, abs=0.15)
        assert np.std(item.deviation_deg, ddof=1) == pytest.approx(0.5, rel=0.15)
        assert item.rejected <= 1


@pytest.mark.parametrize("turn", [0.0, 9.9, 265.0, 356.0, 359.9, 625.0, 709.9, 719.999])
def test_turning_the_pattern_turns_every_edge(turn):
    angle, rising = sightings(scatter=0.3)
    still, turned = fold(angle, rising), fold(angle + turn, rising)
    expected = sorted(((item.angle_deg + turn) % 720.0, item.edge) for item in still)
    assert [edge for _, edge in expected] == [item.edge for item in turned]
    apart = np.array([place for place, _ in expected]) - [item.angle_deg for item in turned]
    assert np.abs((apart + 360.0) % 720.0 - 360.0).max() < 1e-6


def test_outliers_are_left_out_and_counted():
    angle, rising = sightings(scatter=0.1)
    angle[3] += 3.0
    (first, *others) = fold(angle, rising)
    assert first.rejected == 1
    assert len(first.cycle) == CYCLES - 1
    assert abs(first.deviation_deg).max() < 0.6
    assert all(item.rejected == 0 for item in others)


def test_doubles_count_once():
    angle, rising = sightings(scatter=0.1)
    extra = angle[5] + 0.25
    found = fold(np.append(angle, extra), np.append(rising, rising[5]))
    assert len(found) == len(PATTERN)
    assert sum(item.rejected for item in found) == 1
    assert all(len(item.cycle) == len(set(item.cycle)) == CYCLES for item in found)


def test_strays_make_no_edge():
    angle, rising = sightings(scatter=0.1)
    strays = 720.0 * np.array([3.0, 8.0, 14.0]) + np.array([180.0, 210.0, 560.0])
    found = fold(np.append(angle, strays), np.append(rising, [True, False, True]))
    assert [item.edge for item in found] == [edge for _, edge in PATTERN]


def test_missed_sightings_leave_the_rest():
    angle, rising = sightings(scatter=0.1)
    gone = [2, 3, 11]
    found = fold(np.delete(angle, gone), np.delete(rising, gone))
    assert [len(item.cycle) for item in found] == [CYCLES - 3, CYCLES, CYCLES, CYCLES]


def test_near_edges_of_one_direction_stay_apart():
    pattern = ((100.0, "rising"), (112.0, "falling"), (124.0, "rising"), (136.0, "falling"))
    assert places(fold(*sightings(pattern=pattern))) == list(pattern)


def test_many_edges_a_cycle():
    pattern = tuple(
        (12.0 * k + (5.0 if k % 2 else 0.0), "falling" if k % 2 else "rising") for k in range(60)
    )
    found = fold(*sightings(pattern=pattern, scatter=0.2))
    assert len(found) == 60


def test_nothing_folds_to_nothing():
    assert fold([], np.array([], dtype=bool)) == []


def test_random_edges_make_no_pattern():
    rng = np.random.default_rng(2)
    angle = np.sort(rng.uniform(0.0, 20 * 720.0, 160))
    found = fold(angle, np.arange(160) % 2 == 0)
    assert sum(len(item.cycle) for item in found) < 0.7 * 160


def moves_of(**how):
    return movement(fold(*sightings(**how)))


def test_a_still_cam_does_not_move():
    for seed in range(30):
        moves = moves_of(scatter=0.3, seed=seed)
        assert moves.moving_deg == 0.0
        assert moves.scatter_deg < 0.3


@pytest.mark.parametrize("size", [2.0, 6.0, 15.0])
def test_a_drift_is_movement(size):
    moves = moves_of(scatter=0.1, move=np.linspace(0.0, size, CYCLES))
    assert moves.moving_deg == pytest.approx(size, rel=0.25)


@pytest.mark.parametrize("size", [2.5, 8.0])
@pytest.mark.parametrize("at", [5, 10, 15])
def test_a_step_is_movement(size, at):
    moves = moves_of(scatter=0.1, move=np.where(np.arange(CYCLES) < at, 0.0, size))
    assert moves.moving_deg == pytest.approx(size, rel=0.25)


@pytest.mark.parametrize("period", [6, 8, 12])
def test_hunting_is_movement(period):
    move = 3.0 * np.sin(2 * np.pi * np.arange(CYCLES) / period)
    assert moves_of(scatter=0.1, move=move).moving_deg > 3.0


@pytest.mark.parametrize("period", [2.3, 2.7, 3.0, 3.4])
def test_hunting_every_few_cycles_is_movement(period):
    # Neighbouring cycles are as unlike as scatter makes them, or more.
    move = 2.5 * np.sin(2 * np.pi * np.arange(CYCLES) / period)
    assert moves_of(scatter=0.3, move=move).moving_deg == pytest.approx(5.0, rel=0.2)


def test_common_scatter_is_no_movement():
    # What all edges do together from cycle to cycle, at random, is slack and not a phaser.
    flagged = 0
    for seed in range(40):
        move = np.random.default_rng(1000 + seed).normal(0.0, 0.7, CYCLES)
        moves = moves_of(scatter=0.1, move=move, seed=seed)
        assert moves.scatter_deg == pytest.approx(0.7, rel=0.6)
        flagged += moves.moving_deg > 0
    assert flagged <= 2


def test_common_scatter_is_measured():
    move = np.random.default_rng(5).normal(0.0, 0.8, 300)
    moves = moves_of(scatter=0.2, move=move, cycles=300)
    # Four edges a cycle: their own scatter averages to 0.1 and adds in quadrature.
    assert moves.scatter_deg == pytest.approx(np.hypot(0.8, 0.1), rel=0.1)


def test_nothing_does_not_move():
    assert movement([]).moving_deg == 0.0
