"""What must not change a comparison, and what must turn it round.

Measurements of simulated engines are changed by hand: exactly known, and fast.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crankwise.comparison.against import against
from crankwise.judge.policy import load_policy
from crankwise.pipeline import measure
from crankwise.testing.simulate import ScopeSpec, preset, simulate
from crankwise.units import wrap_cycle_deg

POLICY = load_policy(None)
SCOPE = ScopeSpec(duration_s=1.5, kind="events", resolution_s=1e-6)
law = settings(max_examples=20, deadline=None, derandomize=True)

shift = st.floats(-25.0, 25.0).map(lambda value: round(value, 3))
small = st.floats(-2.5, 2.5).map(lambda value: round(value, 3))
names = st.sampled_from(["t20-fresh-chain", "fell-v6"])
seeds = st.sampled_from([1, 2])


@cache
def engine(name, seed):
    spec = replace(preset(name), scope=SCOPE)
    return measure(simulate(spec, seed=seed).recording)


def changed(measurement, *, by=None, turn_deg=0.0, flip=(), roles=None, order=None):
    """Move, turn, invert, rename and reorder the cams."""
    other = {"rising": "falling", "falling": "rising"}
    cams = []
    for cam in measurement.cams:
        off = (by or {}).get(cam.role, 0.0) + turn_deg
        edges = [
            replace(
                edge,
                angle_deg=wrap_cycle_deg(edge.angle_deg + off),
                edge=other[edge.edge] if cam.role in flip else edge.edge,
            )
            for edge in cam.edges
        ]
        edges.sort(key=lambda edge: edge.angle_deg)
        role = (roles or {}).get(cam.role, cam.role)
        cams.append(replace(cam, role=role, edges=tuple(edges)))
    if order is not None:
        cams = [cams[place] for place in order]
    return replace(measurement, cams=tuple(cams))


def compared(subject, *known_goods, same_vehicle=True):
    return against(subject, known_goods, policy=POLICY, same_vehicle=same_vehicle)


def numbers(result):
    """Everything that a comparison is judged by, by channel of the known-good."""
    cams = {
        cam.known_good_channel: (
            cam.shift_deg,
            cam.uncertainty_deg,
            cam.healthy.low_deg,
            cam.healthy.high_deg,
            cam.scatter_ratio,
            cam.consistency,
        )
        for cam in result.cams
    }
    separations = {
        frozenset(change.between): (
            abs(change.change_deg),
            change.uncertainty_deg,
            change.healthy.high_deg,
        )
        for change in result.separations
    }
    motions = {frozenset(change.between): change.motion for change in result.separations}
    return cams, separations, motions


def same(first, second):
    for mine, theirs in zip(numbers(first)[:2], numbers(second)[:2], strict=True):
        assert mine.keys() == theirs.keys()
        for key, values in mine.items():
            assert values == pytest.approx(theirs[key], abs=2e-6, rel=1e-6), key
    assert numbers(first)[2] == numbers(second)[2]


@law
@given(name=names, seed=seeds)
def test_a_comparison_with_itself_is_nought(name, seed):
    result = compared(engine(name, seed), engine(name, seed))
    for cam in result.cams:
        assert cam.shift_deg == 0.0
        assert cam.direction == "unchanged"
        assert cam.healthy.contains(0.0)
    for change in result.separations:
        assert change.change_deg == 0.0
        assert change.motion == "unchanged"


@law
@given(name=names, values=st.lists(shift, min_size=4, max_size=4))
def test_shifts_come_out_as_they_went_in(name, values):
    good, base = engine(name, 1), engine(name, 2)
    by = dict(zip((cam.role for cam in good.cams), values, strict=False))
    at_rest = {cam.role: cam.shift_deg for cam in compared(base, good).cams}
    result = compared(changed(base, by=by), good)
    for cam in result.cams:
        assert cam.shift_deg == pytest.approx(at_rest[cam.role] + by[cam.role], abs=1e-6)
    for change in result.separations:
        one, two = change.between
        assert change.change_deg == pytest.approx(
            result.cams[result.roles.index(two)].shift_deg
            - result.cams[result.roles.index(one)].shift_deg,
            abs=1e-9,
        )


@law
@given(name=names, values=st.lists(shift, min_size=4, max_size=4), same_vehicle=st.booleans())
def test_swapping_the_two_sides_turns_every_sign(name, values, same_vehicle):
    good = engine(name, 1)
    by = dict(zip((cam.role for cam in good.cams), values, strict=False))
    subject = changed(engine(name, 2), by=by)
    there = compared(subject, good, same_vehicle=same_vehicle)
    back = compared(good, subject, same_vehicle=same_vehicle)
    for mine, theirs in zip(there.cams, back.cams, strict=True):
        assert mine.role == theirs.role
        assert abs(mine.shift_deg + theirs.shift_deg) <= min(
            mine.uncertainty_deg, theirs.uncertainty_deg
        )
        assert mine.shift_deg == pytest.approx(-theirs.shift_deg, abs=1e-6)
        assert mine.uncertainty_deg == pytest.approx(theirs.uncertainty_deg, rel=0.1)
        assert mine.scatter_ratio == pytest.approx(1.0 / theirs.scatter_ratio)
        turned = {"advanced": "retarded", "retarded": "advanced", "unchanged": "unchanged"}
        if abs(mine.shift_deg) > 1.2 * mine.uncertainty_deg:
            assert mine.direction == turned[theirs.direction]
    opposite = {"opening": "closing", "closing": "opening"}
    for mine, theirs in zip(there.separations, back.separations, strict=True):
        assert mine.change_deg == pytest.approx(-theirs.change_deg, abs=1e-6)
        if abs(mine.change_deg) > 1.2 * mine.uncertainty_deg:
            assert mine.motion == opposite.get(theirs.motion, theirs.motion)


@law
@given(
    name=names,
    turn=st.sampled_from([0.0, 360.0]),
    flip=st.sets(st.integers(0, 3)),
    order=st.permutations(range(4)),
    side=st.sampled_from(["subject", "known-good", "both"]),
    values=st.lists(small, min_size=4, max_size=4),
)
def test_origin_polarity_and_order_change_nothing(*, name, turn, flip, order, side, values):
    good = engine(name, 1)
    roles = [cam.role for cam in good.cams]
    subject = changed(engine(name, 2), by=dict(zip(roles, values, strict=False)))
    plain = compared(subject, good)
    how = {
        "turn_deg": turn,
        "flip": {roles[place] for place in flip if place < len(roles)},
        "order": [place for place in order if place < len(roles)],
    }
    turned = {
        "subject": lambda: compared(changed(subject, **how), good),
        "known-good": lambda: compared(subject, changed(good, **how)),
        "both": lambda: compared(changed(subject, **how), changed(good, **how)),
    }[side]()
    same(plain, turned)


@law
@given(name=names, data=st.data(), nameless=st.booleans())
def test_names_of_the_cams_change_nothing(name, data, nameless):
    good, subject = engine(name, 1), engine(name, 2)
    roles = [cam.role for cam in good.cams]
    if nameless:
        renamed = {role: f"cam-{place}" for place, role in enumerate(roles, start=1)}
    else:
        renamed = dict(zip(roles, data.draw(st.permutations(roles)), strict=True))
    by = dict(zip(roles, (2.0, -1.5, 1.0, 0.5), strict=False))
    moved = changed(subject, by=by)
    result = compared(changed(moved, roles=renamed), good)
    same(compared(moved, good), result)
    assert set(result.roles) == set(roles)


@law
@given(speed=st.floats(300.0, 6000.0))
def test_speed_costs_certainty_and_nothing_else(speed):
    good, subject = engine("t20-fresh-chain", 1), engine("t20-fresh-chain", 2)
    at = replace(subject.crank, speed_rpm=replace(subject.crank.speed_rpm, mean=speed))
    result = compared(replace(subject, crank=at), good)
    plain = compared(subject, good)
    for mine, theirs in zip(result.cams, plain.cams, strict=True):
        assert mine.shift_deg == pytest.approx(theirs.shift_deg, abs=1e-9)
        # 10 microseconds of delay (policy) at the difference of the speeds, besides the rest.
        extra = 6.0 * 10e-6 * abs(speed - good.crank.speed_rpm.mean)
        bare = 6.0 * 10e-6 * abs(subject.crank.speed_rpm.mean - good.crank.speed_rpm.mean)
        wanted = np.sqrt(theirs.standard_deg**2 - bare**2 + extra**2)
        assert mine.standard_deg == pytest.approx(wanted, rel=1e-6)


# --- families of known-goods --------------------------------------------------------------------


def half_widths(result):
    return [
        (item.healthy.high_deg - item.healthy.low_deg) / 2
        for item in (*result.cams, *result.separations)
    ]


def family(values):
    made = []
    for place, by in enumerate(values):
        good = changed(engine("t20-fresh-chain", 1), by={"intake": by, "exhaust": by})
        recording = replace(good.recording, name=f"good-{place}", sha256=f"{place:064}")
        made.append(replace(good, recording=recording))
    return made


# Within one standard deviation of the build (policy: 1.5 between two vehicles), so that none of
# a few stands out.
healthy = st.floats(-0.9, 0.9).map(lambda value: round(value, 3))


@law
@given(values=st.lists(healthy, min_size=1, max_size=6))
def test_a_known_good_in_the_middle_never_widens(values):
    van = engine("t20-fresh-chain", 2)
    before = compared(van, *family(values), same_vehicle=False)
    after = compared(van, *family([*values, float(np.mean(values))]), same_vehicle=False)
    for cam in after.cams:
        assert cam.healthy.known_goods == len(values) + 1
    for narrow, wide in zip(half_widths(after), half_widths(before), strict=True):
        assert narrow <= wide * (1 + 1e-6)


@law
@given(values=st.lists(healthy, min_size=2, max_size=6), further=healthy)
def test_a_good_known_good_widens_no_more_than_the_spread_it_adds(values, further):
    van = engine("t20-fresh-chain", 2)
    before = compared(van, *family(values), same_vehicle=False)
    after = compared(van, *family([*values, further]), same_vehicle=False)
    squares = [float(np.sum((np.array(v) - np.mean(v)) ** 2)) for v in (values, [*values, further])]
    # The pooled variance counts the policy's for 40 values; what the further one adds to the sum
    # of squares is all that may widen.
    prior = 40.0 * (POLICY.spread.cam_deg**2 / 2.0)
    allowed = np.sqrt((prior + squares[1]) / (prior + squares[0]))
    for cam_after, cam_before in zip(after.cams, before.cams, strict=True):
        width = cam_after.healthy.high_deg - cam_after.healthy.low_deg
        assert width <= (cam_before.healthy.high_deg - cam_before.healthy.low_deg) * allowed * 1.001


@law
@given(values=st.lists(healthy, min_size=2, max_size=5), data=st.data())
def test_the_order_of_known_goods_changes_nothing(values, data):
    van = changed(engine("t20-fresh-chain", 2), by={"intake": 3.0})
    goods = family(values)
    mixed = data.draw(st.permutations(goods))
    first = compared(van, *goods, same_vehicle=False)
    second = compared(van, *mixed, same_vehicle=False)
    for mine, theirs in zip(first.cams, second.cams, strict=True):
        assert mine.shift_deg == pytest.approx(theirs.shift_deg, abs=1e-9)
        assert mine.healthy.low_deg == pytest.approx(theirs.healthy.low_deg, abs=1e-3)
        assert mine.healthy.high_deg == pytest.approx(theirs.healthy.high_deg, abs=1e-3)
    assert first.left_out == second.left_out == ()


@law
@given(values=st.lists(healthy, min_size=1, max_size=5), by=small)
def test_moving_the_whole_family_moves_every_shift(values, by):
    van = engine("t20-fresh-chain", 2)
    here = compared(van, *family(values), same_vehicle=False)
    there = compared(van, *family([value + by for value in values]), same_vehicle=False)
    for mine, theirs in zip(here.cams, there.cams, strict=True):
        assert theirs.shift_deg == pytest.approx(mine.shift_deg - by, abs=1e-6)
        assert theirs.healthy.low_deg == pytest.approx(mine.healthy.low_deg, abs=1e-6)
    assert there.separations[0].change_deg == pytest.approx(
        here.separations[0].change_deg, abs=1e-6
    )
