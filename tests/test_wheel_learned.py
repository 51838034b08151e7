"""Wheels that no catalogue holds, and repeats that the cams settle."""

from dataclasses import replace

import numpy as np
import pytest

from crankwise.angle.cycle import cycle_origin
from crankwise.angle.fit import crank_angle
from crankwise.angle.folding import cam_angles
from crankwise.errors import NotMeasurableError
from crankwise.model.edges import Edges
from crankwise.model.wheel import Wheel
from crankwise.units import wrap_signed_deg
from crankwise.wheel import catalogue
from crankwise.wheel.decode import decode

WHEELS = catalogue.load()
ALL = list(WHEELS.values())
CAM = np.array([30.0, 95.0, 250.0, 290.0, 470.0, 500.0, 610.0, 660.0])
"""Edges of a cam over the cycle, rising first: no two like teeth half a cycle apart."""


def edges(times, channel="crank"):
    rising = np.arange(len(times)) % 2 == 0
    return Edges(channel, "hall", times, rising, np.full(len(times), 3e-7), 0.0, 5.0, 0.0, 0.0, {})


def clock(angle_deg, *, speed_rpm=700.0, swing=0.12):
    grid = np.arange(-60.0, angle_deg.max() + 1.0, 0.05)
    speed = 6.0 * speed_rpm * (1 + swing / 2 * np.cos(np.deg2rad(2 * grid) + 0.7))
    passed = np.concatenate(([0.0], np.cumsum(0.05 / (0.5 * (speed[1:] + speed[:-1])))))
    return np.interp(angle_deg, grid, passed)


def record(intervals, *, turns=24, first_deg=0.0, cam=CAM, **motion):
    """Crank and cam edges of an engine whose wheel has these spaces."""
    places = np.concatenate(([0.0], np.cumsum(intervals)[:-1]))
    falling = (places[None, :] + 360.0 * np.arange(turns)[:, None]).ravel()
    falling = falling[falling >= first_deg]
    narrow = min(intervals) / 2
    crank = edges(clock(np.sort(np.concatenate([falling - narrow, falling])), **motion))
    lobes = (cam[None, :] + 720.0 * np.arange(turns // 2)[:, None]).ravel()
    lobes = lobes[lobes > first_deg + 1.0]
    # The list starts with a rising edge.
    lobes = lobes[int(np.flatnonzero(np.isin(lobes % 720.0, cam[::2]))[0]) :]
    return crank, edges(clock(lobes, **motion), "cam")


STRANGE = {
    "five uneven teeth": (50.0, 85.0, 60.0, 110.0, 55.0),
    "nine teeth and a gap": (36.0,) * 8 + (72.0,),
    "21 teeth and a gap": (360.0 / 23,) * 20 + (3 * 360.0 / 23,),
    "50 teeth, one missing": (7.2,) * 48 + (14.4,),
    "two gaps of unlike width": (12.0,) * 12 + (36.0,) + (12.0,) * 13 + (24.0,),
}


@pytest.mark.parametrize("name", STRANGE)
def test_unknown_wheel_is_learned_with_cams(name):
    crank, cam = record(STRANGE[name])
    teeth = decode(crank, ALL, [cam])
    expected = np.asarray(STRANGE[name])
    assert teeth.wheel.learned
    assert teeth.wheel.teeth_per_rev == len(expected)
    assert "learned" in teeth.choice.reason
    assert (teeth.extra, teeth.missing) == (0, 0)
    # The zero follows the widest space; the spacing is right to what the ripple allows.
    widest = int(np.argmax(expected))
    expected = np.roll(expected, -(widest + 1))
    found = np.asarray(teeth.wheel.intervals_deg)
    assert found.sum() == pytest.approx(360.0)
    assert np.abs(np.log(found / expected)).max() < 0.12


def test_unknown_wheel_that_is_a_known_one_with_a_broken_tooth():
    # Gaps of 36 and 24 degrees among teeth of 12 are just what a 30-2 with a broken tooth shows.
    crank, _ = record(STRANGE["two gaps of unlike width"])
    teeth = decode(crank, ALL)
    assert teeth.choice.confidence < 0.95
    if not teeth.wheel.learned:
        assert teeth.wheel.name == "30-2"
        assert teeth.missing >= 20


@pytest.mark.parametrize("name", ["five uneven teeth"])
def test_unknown_wheel_without_cams_is_not_sure(name):
    crank, _ = record(STRANGE[name])
    teeth = decode(crank, ALL)
    assert teeth.wheel.learned
    assert teeth.wheel.teeth_per_rev == len(STRANGE[name])
    assert teeth.choice.confidence < 0.9
    assert "a revolution is assumed" in teeth.choice.reason


def test_even_teeth_need_a_cam():
    crank, cam = record((15.0,) * 24)
    with pytest.raises(NotMeasurableError, match="record the cam as well"):
        decode(crank, [WHEELS["60-2"]])
    teeth = decode(crank, [WHEELS["60-2"]], [cam])
    assert teeth.wheel.teeth_per_rev == 24
    assert not teeth.wheel.has_gap
    assert teeth.wheel.intervals_deg == pytest.approx((15.0,) * 24)


def test_an_added_wheel_is_preferred_to_learning():
    spaces = STRANGE["nine teeth and a gap"]
    crank, cam = record(spaces)
    own = Wheel("shop 10-1", spaces, 36.0)
    teeth = decode(crank, [*ALL, own], [cam])
    assert teeth.wheel == own
    assert teeth.choice.confidence > 0.9


def cam_places(crank, cam, wheels=ALL):
    """Angle of every cam edge over the cycle by the whole chain, and how it was settled."""
    teeth = decode(crank, wheels, [cam])
    angle = crank_angle(teeth)
    seen = cam_angles(cam, angle, recording_start_s=0.0)
    cycle = cycle_origin([("cam", seen)], runs=len(angle.runs), repeats=teeth.wheel.repeats)
    return (seen.angle_deg + cycle.offset_deg[seen.run]) % 720.0, seen, cycle


REPEATING = ["3 x 4 notches", "4 irregular (70-110)", "6 irregular (32-55-93)", "36-2-2", "44-2-2"]


@pytest.mark.parametrize("name", REPEATING)
def test_cams_settle_which_repeat_it_is(name):
    # The same engine recorded from several starting points gives one and the same angles.
    wheel = WHEELS[name]
    first = None
    for start in (0.0, 130.0, 250.0, 400.0, 610.0):
        crank, cam = record(wheel.intervals_deg, first_deg=start, turns=26, swing=0.05)
        angles, seen, cycle = cam_places(crank, cam)
        assert cycle.known
        assert str(2 * wheel.repeats) in cycle.how
        places = np.sort(np.round(np.median(fold(angles[seen.rising]), axis=0), 2))
        first = places if first is None else first
        assert np.abs(wrap_signed_deg(places - first)).max() < 2.0


def fold(angles):
    """Rows of one cycle each, rotated to begin with the smallest angle's edge."""
    rows = len(CAM) // 2
    table = angles[: len(angles) // rows * rows].reshape(-1, rows)
    return np.array([np.sort(row) for row in table])


def test_an_even_cam_does_not_settle_the_cycle():
    even = np.array([10.0, 50.0, 190.0, 230.0, 370.0, 410.0, 550.0, 590.0])
    crank, cam = record(WHEELS["60-2"].intervals_deg, cam=even)
    _, _, cycle = cam_places(crank, cam)
    assert not cycle.known
    assert "whole turn" in cycle.how


def test_no_cam_settles_nothing():
    cycle = cycle_origin([], runs=1, repeats=1)
    assert not cycle.known
    assert cycle.how == "no cam was recorded"


def test_runs_are_joined_by_the_cam():
    crank, cam = record(WHEELS["60-2"].intervals_deg, turns=24, swing=0.05)
    pause = 9.3 * 360.0 / (6.0 * 700.0)
    for begin in (10.0, 11.0):
        # Take the samples of two turns out and let the engine rest meanwhile.
        from_s, to_s = clock(np.array([begin, begin + 2.6]) * 360.0, swing=0.05)

        def cut(item, from_s=from_s, to_s=to_s):
            keep = (item.times_s < from_s) | (item.times_s > to_s)
            times = np.where(item.times_s > to_s, item.times_s + pause, item.times_s)
            return replace(
                item,
                times_s=times[keep],
                rising=item.rising[keep],
                standard_uncertainty_s=item.standard_uncertainty_s[keep],
            )

        angles, seen, cycle = cam_places(cut(crank), cut(cam))
        assert len(cycle.offset_deg) == 2
        assert np.isfinite(cycle.offset_deg).all()
        first = np.unique(np.round(angles[seen.rising & (seen.run == 0)]))
        second = np.unique(np.round(angles[seen.rising & (seen.run == 1)]))
        apart = np.abs(wrap_signed_deg(second[:, None] - first[None, :])).min(axis=1)
        assert apart.max() < 2.0
