"""Every wheel of the catalogue from clean and from spoiled trains."""

from dataclasses import replace

import numpy as np
import pytest

from crankwise.errors import NotMeasurableError
from crankwise.model.edges import Edges
from crankwise.wheel import catalogue
from crankwise.wheel.decode import decode

WHEELS = catalogue.load()
ALL = list(WHEELS.values())
NAMES = sorted(WHEELS)
TWIN = {"12-2": "36-2-2-2 even", "30-2": "60-2-2", "36-2-2-2 even": "12-2", "60-2-2": "30-2"}
"""Wheels with the same sequence of ratios: only the cams can tell them apart."""
SINGLE = [name for name in NAMES if name not in TWIN]


def time_s(angle_deg, *, speed_rpm, swing, order=2.0, phase=0.7):
    """Time at each angle for ``speed = mean * (1 + swing/2 * cos(order * angle + phase))``.

    Integrated over the angle on a fine grid: ``swing`` is peak to peak over the mean.
    """
    grid = np.arange(angle_deg.min() - 1.0, angle_deg.max() + 1.0, 0.05)
    speed = 6.0 * speed_rpm * (1 + swing / 2 * np.cos(np.deg2rad(order * grid) + phase))
    clock = np.concatenate(([0.0], np.cumsum(0.05 / (0.5 * (speed[1:] + speed[:-1])))))
    return np.interp(angle_deg, grid, clock)


def train(wheel, *, turns=12, start_tooth=5, speed_rpm=800.0, swing=0.0, other="narrow", seed=1):
    """Edges of a wheel and the index of each timing edge's tooth."""
    rng = np.random.default_rng(seed)
    teeth = wheel.teeth_per_rev
    number = np.arange(start_tooth, start_tooth + turns * teeth)
    falling = 360.0 * (number // teeth) + wheel.angles_deg[number % teeth]
    narrowest = min(wheel.intervals_deg)
    width = np.asarray(wheel.width_deg)[number % teeth] if wheel.width_deg else narrowest / 2
    if other == "uneven" and not wheel.width_deg:
        width = narrowest * rng.uniform(0.2, 0.7, len(number))
    angle = np.sort(np.concatenate([falling, falling - width]))
    times = time_s(angle, speed_rpm=speed_rpm, swing=swing)
    return edges(times + rng.normal(0.0, 2e-7, len(times))), number % teeth


def edges(times, *, first_rises=True):
    rising = (np.arange(len(times)) % 2 == 0) == first_rises
    return Edges("crank", "hall", times, rising, np.full(len(times), 3e-7), 0.0, 5.0, 0.0, 0.0, {})


def inverted(found):
    return replace(found, rising=~found.rising)


def without(found, index):
    return edges(np.delete(found.times_s, index), first_rises=bool(found.rising[0]))


def tooth_error(teeth, times, tooth):
    """How many timing edges got another number than theirs, up to a repeat of the pattern."""
    wheel = teeth.wheel
    repeat = wheel.teeth_per_rev // wheel.repeats
    wrong = 0
    for run in teeth.runs:
        at = np.searchsorted(times, run.times_s - 1e-9)
        wrong += int(np.sum((run.number - tooth[at]) % repeat != 0))
    return wrong


def assert_right(teeth, name, found, tooth, *, direction="falling", lost=0, sure=0.95):
    assert teeth.wheel.name == name
    assert teeth.timing_edge == direction
    assert teeth.choice.confidence > sure
    assert teeth.choice.runner_up != name
    times = found.of(direction)
    assert sum(run.teeth for run in teeth.runs) >= len(tooth) - lost
    assert tooth_error(teeth, times, tooth) == 0


def turns_for(wheel):
    # A code in the widths takes more turns to read past a spoiled one.
    return 12 if wheel.width_deg else max(6, int(np.ceil(60 / wheel.teeth_per_rev)))


@pytest.mark.parametrize("name", SINGLE)
def test_constant_speed(name):
    found, tooth = train(WHEELS[name], turns=turns_for(WHEELS[name]))
    teeth = decode(found, ALL)
    assert_right(teeth, name, found, tooth)
    assert (teeth.extra, teeth.missing, len(teeth.runs)) == (0, 0, 1)


@pytest.mark.parametrize("name", SINGLE)
def test_idle_ripple(name):
    # 18.75 % peak to peak in the second order (J. Venter, 'Doing the twist').
    wheel = WHEELS[name]
    found, tooth = train(wheel, turns=turns_for(wheel), swing=0.1875, other="uneven")
    # A handful of wide spaces can be mistaken for speed: right is enough there.
    sure = 0.95 if wheel.teeth_per_rev > 8 else 0.5
    assert_right(decode(found, ALL), name, found, tooth, sure=sure)


@pytest.mark.parametrize("name", [n for n in SINGLE if WHEELS[n].teeth_per_rev >= 20])
def test_cranking_ripple(name):
    # The speed changes by a factor of two inside a revolution.
    found, tooth = train(WHEELS[name], turns=8, speed_rpm=200.0, swing=0.67)
    assert_right(decode(found, ALL), name, found, tooth)


@pytest.mark.parametrize("name", SINGLE)
def test_other_polarity(name):
    found, tooth = train(WHEELS[name], turns=turns_for(WHEELS[name]), other="uneven")
    found = inverted(found)
    teeth = decode(found, ALL)
    assert_right(teeth, name, found, tooth, direction="rising")
    assert "rising" in teeth.choice.reason


@pytest.mark.parametrize("name", SINGLE)
def test_one_missing_and_one_extra_edge(name):
    wheel = WHEELS[name]
    found, tooth = train(wheel, turns=turns_for(wheel), other="uneven")
    # Both edges of one tooth go; later a pulse lies inside the space between two teeth.
    gone, later = len(tooth) // 3, 2 * len(tooth) // 3
    before, after = found.of("falling")[later : later + 2]
    next_rise = found.of("rising")[later + 1]
    assert before < next_rise < after
    pulse = before + (next_rise - before) * np.array([0.3, 0.5])
    rest = without(found, [2 * gone, 2 * gone + 1])
    spoiled = edges(np.sort(np.concatenate([rest.times_s, pulse])))
    named = np.delete(np.insert(tooth, later + 1, -1), gone)
    teeth = decode(spoiled, ALL)
    assert_right(teeth, name, spoiled, named, lost=1, sure=0.5)
    assert (teeth.extra, teeth.missing) == (1, 1)


@pytest.mark.parametrize("name", ["60-2", "36-1", "36-2-2-2", "24-1", "12-1"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_many_spoiled_edges(name, seed):
    wheel = WHEELS[name]
    rng = np.random.default_rng(seed)
    found, tooth = train(wheel, turns=20, swing=0.15)
    gone = np.sort(rng.choice(np.arange(5, len(tooth) - 5), len(tooth) // 60 + 1, replace=False))
    found = without(found, np.concatenate([2 * gone, 2 * gone + 1]))
    tooth = np.delete(tooth, gone)
    teeth = decode(found, ALL)
    assert_right(teeth, name, found, tooth, sure=0.5)
    assert teeth.missing == len(gone)


@pytest.mark.parametrize("name", ["60-2", "36-2"])
@pytest.mark.parametrize("broken", [3, 10, 14])
def test_tooth_missing_every_turn(name, broken):
    found, tooth = train(WHEELS[name], turns=14, start_tooth=20, swing=0.15, other="uneven")
    gone = np.flatnonzero(tooth == broken)
    found = without(found, np.concatenate([2 * gone, 2 * gone + 1]))
    teeth = decode(found, ALL)
    assert_right(teeth, name, found, np.delete(tooth, gone), sure=0.5)
    assert teeth.missing >= len(gone) - 2


@pytest.mark.parametrize("name", ["36-1", "24-1"])
@pytest.mark.parametrize("broken", [3, 10, 14])
def test_tooth_missing_every_turn_beside_a_gap_of_one(name, broken):
    # A broken tooth leaves a gap like the true one: either may be taken for it.
    found, tooth = train(WHEELS[name], turns=14, start_tooth=20, swing=0.15, other="uneven")
    gone = np.flatnonzero(tooth == broken)
    teeth = decode(without(found, np.concatenate([2 * gone, 2 * gone + 1])), ALL)
    assert teeth.wheel.name == name


@pytest.mark.parametrize("name", TWIN)
def test_twins_are_not_sure_without_cams(name):
    found, _ = train(WHEELS[name], turns=12, swing=0.1)
    choice = decode(found, ALL).choice
    assert {decode(found, ALL).wheel.name, choice.runner_up} == {name, TWIN[name]}
    assert choice.confidence <= 0.6


@pytest.mark.parametrize("name", TWIN)
@pytest.mark.parametrize("lobes", [1, 2, 4])
def test_twins_are_settled_by_a_cam(name, lobes):
    wheel = WHEELS[name]
    found, tooth = train(wheel, turns=14, start_tooth=0, swing=0.1)
    # Cam edges in the time of the same motion; one lobe is of another width.
    lobe = np.arange(lobes) * 720.0 / lobes
    width = np.full(lobes, 40.0)
    width[0] = 70.0
    pattern = np.sort(np.concatenate([lobe + 11.0, lobe + 11.0 + width]))
    angle = (pattern[None, :] + 720.0 * np.arange(7)[:, None]).ravel()
    crank_angle = 360.0 * (np.arange(len(tooth)) // wheel.teeth_per_rev) + wheel.angles_deg[tooth]
    inside = angle[angle < crank_angle[-1]]
    cam = edges(np.interp(inside, crank_angle, found.of("falling")))
    teeth = decode(found, ALL, [replace(cam, channel="cam")])
    assert_right(teeth, name, found, tooth)


@pytest.mark.parametrize("name", SINGLE)
def test_without_the_right_wheel_no_other_is_sure(name):
    wheel = WHEELS[name]
    found, _ = train(wheel, turns=turns_for(wheel), swing=0.1)
    others = [item for item in ALL if item.name != name]
    try:
        teeth = decode(found, others)
    except NotMeasurableError:
        return
    assert teeth.choice.confidence < 0.95
    if teeth.wheel.learned:
        # Without cams a repeat of the pattern is taken for a turn.
        assert teeth.wheel.teeth_per_rev == wheel.teeth_per_rev // wheel.repeats


def test_shifting_the_start_changes_no_tooth():
    wheel = WHEELS["60-2"]
    for start in range(0, 58, 7):
        found, tooth = train(wheel, turns=4, start_tooth=start)
        assert_right(decode(found, ALL), "60-2", found, tooth)


def test_the_edge_that_ends_a_tooth_is_taken_where_both_are_alike():
    # The level in the gap tells which edge that is, so an inverted signal gives the same angles.
    found, _ = train(WHEELS["60-2"])
    assert decode(found, ALL).timing_edge == "falling"
    assert decode(inverted(found), ALL).timing_edge == "rising"
    assert "level in the gap" in decode(found, ALL).choice.reason


def test_standstill_and_restart_make_two_runs():
    wheel = WHEELS["60-2"]
    first, tooth_1 = train(wheel, turns=5, start_tooth=10)
    second, tooth_2 = train(wheel, turns=6, start_tooth=33)
    found = edges(np.concatenate([first.times_s, first.times_s[-1] + 1.5 + second.times_s]))
    teeth = decode(found, ALL)
    assert_right(teeth, "60-2", found, np.concatenate([tooth_1, tooth_2]))
    assert len(teeth.runs) == 2
    assert teeth.runs[1].times_s[0] - teeth.runs[0].times_s[-1] > 1.4


def test_run_up_from_rest():
    wheel = WHEELS["60-2"]
    number = np.arange(8 * 58)
    angle = 360.0 * (number // 58) + wheel.angles_deg[number % 58]
    # Even angular acceleration from 50 to 900 rpm over eight turns.
    low, high = 300.0, 5400.0
    rate = (high**2 - low**2) / (2 * 2880.0)
    both = np.sort(np.concatenate([angle + 3.0, angle + 6.0]))
    found = edges((np.sqrt(low**2 + 2 * rate * both) - low) / rate)
    assert_right(decode(found, ALL), "60-2", found, number % 58)


def test_hard_revving():
    # From 800 to 6000 rpm within half a second, and 19 % ripple on top.
    wheel = WHEELS["36-1"]
    number = np.arange(28 * 35)
    angle = 360.0 * (number // 35) + wheel.angles_deg[number % 35]
    both = np.sort(np.concatenate([angle, angle + 5.0]))
    grid = np.arange(-1.0, both[-1] + 1.0, 0.1)
    speed = np.sqrt(4800.0**2 + 2 * 62_400.0 * np.maximum(grid, 0.0))
    speed *= 1 + 0.09 * np.cos(np.deg2rad(2 * grid))
    clock = np.concatenate(([0.0], np.cumsum(0.1 / (0.5 * (speed[1:] + speed[:-1])))))
    found = edges(np.interp(both, grid, clock))
    teeth = decode(found, ALL)
    assert teeth.wheel.name == "36-1"
    assert teeth.choice.confidence > 0.95
    assert (teeth.extra, teeth.missing) == (0, 0)


def test_too_few_edges_say_what_to_do():
    found, _ = train(WHEELS["4-1"], turns=1)
    with pytest.raises(NotMeasurableError, match="too few for a crank wheel") as caught:
        decode(found, ALL)
    text = str(caught.value)
    assert "'crank'" in text
    assert "record at least two crank revolutions" in text
    assert "\n" not in text
    assert caught.value.exit_code == 4


@pytest.mark.parametrize("turns", [1.7, 2.0, 2.5])
def test_two_turns_are_enough(turns):
    found, tooth = train(WHEELS["60-2"], turns=3)
    keep = int(turns * 58)
    found = edges(found.times_s[: 2 * keep])
    assert_right(decode(found, ALL), "60-2", found, tooth[:keep])


@pytest.mark.parametrize("turns", [0.3, 0.8, 1.2])
def test_a_single_turn_is_refused(turns):
    found, _ = train(WHEELS["60-2"], turns=3)
    with pytest.raises(NotMeasurableError, match="record"):
        decode(edges(found.times_s[: 2 * int(turns * 58)]), ALL)


def test_random_edges_are_refused():
    times = np.cumsum(np.random.default_rng(4).uniform(1e-4, 5e-3, 800))
    with pytest.raises(NotMeasurableError, match="fits no wheel") as caught:
        decode(edges(times), ALL)
    assert "check that this is the crank sensor" in str(caught.value)


@pytest.mark.parametrize("seed", range(6))
def test_random_edges_are_never_sure(seed):
    rng = np.random.default_rng(seed)
    times = np.cumsum(rng.lognormal(-6.0, rng.uniform(0.05, 1.0), 700))
    try:
        teeth = decode(edges(times), ALL)
    except NotMeasurableError:
        return
    assert teeth.choice.confidence < 0.95
