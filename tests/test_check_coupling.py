"""Signals that carry another one, or too little of their own."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from crankwise.edges import find_all_edges
from crankwise.model.wheel import Wheel
from crankwise.pipeline import compare, measure
from crankwise.testing.simulate import (
    CamSpec,
    ScopeSpec,
    SensorSpec,
    preset,
    simulate,
)

COIL = replace(
    preset("t20-vr"),
    scope=ScopeSpec(duration_s=2.4, interval_s=2e-5, range_v=10.0, bits=12, noise_v=0.005),
)


@cache
def coil(wheel="60-2"):
    return simulate(replace(COIL, crank=replace(COIL.crank, wheel=wheel)), seed=6).recording


def with_crank(recording, change):
    channels = tuple(
        replace(item, values=change(np.asarray(item.values, dtype=float)))
        if item.name == "crank"
        else item
        for item in recording.channels
    )
    return replace(recording, channels=channels)


def findings(recording):
    return {item.code: item for item in measure(recording).findings}


def leaking(wheel, share):
    recording = coil(wheel)
    cam = np.asarray(recording.channel("exhaust").values, dtype=float)
    return with_crank(recording, lambda values: values + share * np.ptp(values) * cam / np.ptp(cam))


@pytest.mark.parametrize("wheel", ["60-2", "36-1", "12-1"])
def test_a_cam_in_the_signal_of_the_crank(wheel):
    assert not {"crosstalk", "few-codes"} & set(findings(coil(wheel)))
    found = findings(leaking(wheel, 0.12))["crosstalk"]
    assert found.level == "caution"
    assert "exhaust cam" in found.text


def test_what_leaks_is_measured():
    said = findings(leaking("36-1", 0.10))["crosstalk"].text
    # Of the swing without the cam; with it that is a little more.
    assert any(f"by {percent}%" in said for percent in (8, 9, 10))


def test_with_a_cam_in_the_crank_nothing_is_judged():
    known_good = measure(coil("12-1"))
    verdict = compare(measure(leaking("12-1", 0.12)), [known_good], same_vehicle=True).verdict
    assert verdict.level == "not-judged"
    assert "leaks" in verdict.summary


def in_steps(values, count):
    step = np.ptp(values) / (count - 1)
    return np.round(values / step) * step


@pytest.mark.parametrize("count", [3, 4])
def test_a_coil_in_few_steps(count):
    found = findings(with_crank(coil(), lambda values: in_steps(values, count)))["few-codes"]
    assert found.level == "caution"
    assert "range" in found.text


@pytest.mark.parametrize(("wheel", "told"), [("60-2", False), ("12-1", True)])
def test_few_teeth_need_more_steps(wheel, told):
    # Half of one of eight steps is 0.12 degrees on a pitch of 6, and 0.6 on one of 30.
    found = findings(with_crank(coil(wheel), lambda values: in_steps(values, 8)))
    assert ("few-codes" in found) == told


def test_a_hall_sensor_needs_two_steps():
    recording = simulate(replace(preset("t20-fresh-chain"), scope=COIL.scope), seed=6).recording
    assert "few-codes" not in findings(with_crank(recording, lambda values: in_steps(values, 2)))


def test_a_coil_that_rests_stays_a_coil():
    def freeze(values):
        values = values.copy()
        values[: int(0.6 * len(values))] = 0.0
        return values

    frozen = find_all_edges(with_crank(coil("60-2"), freeze))["crank"]
    assert frozen.sensor == "variable-reluctance"


def test_a_coil_cut_off_to_two_levels():
    # Marked as beyond the range from -0.3 and from 0.1 of the peak on: not as a range cuts.
    def cut(values):
        share = values / np.abs(values).max()
        return np.where(share > 0.1, np.inf, np.where(share < -0.3, -np.inf, values))

    found = findings(with_crank(coil(), cut))["clipped"]
    assert found.level == "caution"
    assert "does not tell a coil" in found.text


def test_a_gap_of_another_wheel():
    # 31-1 has as many teeth as 32-2, and a gap a pitch narrower.
    pitch = 360.0 / 31
    wheel = Wheel("31-1", (*[pitch] * 29, 2 * pitch), pitch)
    hall = replace(COIL.crank, sensor=SensorSpec(kind="hall"), wheel=wheel, width_deg=0.45 * pitch)
    spec = replace(COIL, crank=hall)
    found = findings(simulate(spec, seed=6).recording)
    assert {"wheel-unsure", "wheel-learned"} & set(found)


def test_the_busier_channel_may_be_the_crank():
    # Names that lie: three teeth of a cam named crank look like a 4-1 wheel, and no cam is left.
    teeth = ((0.0, 60.0), (180.0, 240.0), (360.0, 420.0))
    cam = CamSpec("intake", "intake", teeth, COIL.cams[0].sensor, scatter_deg=0.05)
    recording = simulate(replace(COIL, cams=(cam,)), seed=6).recording
    names = {"crank": "injector", "intake": "crank"}
    channels = tuple(replace(item, name=names[item.name]) for item in recording.channels)
    found = findings(replace(recording, channels=channels))["crank-doubtful"]
    assert found.level == "caution"
    assert "'injector' changes far more often" in found.text


def test_a_coil_cut_off_low_stays_a_coil():
    def cut(values):
        limit = 0.12 * np.abs(values).max()
        return np.clip(values, -limit, limit)

    assert find_all_edges(with_crank(coil(), cut))["crank"].sensor == "variable-reluctance"
    assert measure(with_crank(coil(), cut)).crank.timing_edge == measure(coil()).crank.timing_edge
