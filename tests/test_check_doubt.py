"""What does not belong together is told: each case was measured as if nothing were wrong."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from crankwise.check.doubt_checks import _broken
from crankwise.model.recording import SampledChannel
from crankwise.pipeline import measure
from crankwise.testing.simulate import (
    CamSpec,
    ExtraSpec,
    MissedTeeth,
    ScopeSpec,
    SpeedSpec,
    preset,
    simulate,
)

FRESH = replace(
    preset("t20-fresh-chain"),
    scope=ScopeSpec(duration_s=2.4, interval_s=2e-5, range_v=10.0, bits=12, noise_v=0.02),
)
CODES = {
    "pattern-broken",
    "parts-disagree",
    "crank-doubtful",
    "cam-left-out",
    "cam-doubtful",
    "levels-wander",
}


@cache
def clean():
    return simulate(FRESH, seed=6).recording


def with_values(recording, **changes):
    channels = tuple(
        replace(item, values=changes.get(item.name, np.asarray)(item.values))
        for item in recording.channels
    )
    count = len(channels[0].values)
    duration_s = (count - 1) * recording.interval_s
    return replace(recording, channels=channels, duration_s=duration_s)


def findings(recording):
    return {item.code: item for item in measure(recording).findings}


@pytest.mark.parametrize(
    "name", ["t20-fresh-chain", "t20-vr", "t20-logic", "t20-start-up", "fell-v6"]
)
def test_what_belongs_together_is_not_doubted(name):
    assert not CODES & set(findings(simulate(preset(name), seed=3).recording))


def test_a_cam_that_misses_edges_half_of_the_time():
    spec = replace(FRESH, faults=(MissedTeeth("intake", 0.4),))
    found = findings(simulate(spec, seed=6).recording)["pattern-broken"]
    assert found.level == "caution"
    assert "intake cam" in found.text
    assert "cycles" in found.text


@pytest.mark.parametrize(
    ("scatter_deg", "told"),
    [((0.3, 1.0), False), ((0.2, 1.6), True), ((2.0, 6.5), False), ((2.0, 8.0), True)],
)
def test_an_edge_that_wanders(scatter_deg, told):
    (cam, *_) = measure(clean()).cams
    edges = tuple(
        replace(edge, scatter_deg=scatter_deg[place % 2]) for place, edge in enumerate(cam.edges)
    )
    cycles = min(edge.count for edge in edges)
    reason = _broken(replace(cam, edges=edges), float(cycles), stray=0.0)
    assert ("wanders" in reason) == told


def test_two_patterns_in_one_file_do_not_alternate():
    turned = tuple(replace(cam, shift_deg=cam.shift_deg + 100.0) for cam in FRESH.cams)
    other = simulate(replace(FRESH, cams=turned), seed=7).recording
    joined = with_values(
        clean(),
        **{
            item.name: lambda values, item=item: np.concatenate([values, item.values])
            for item in other.channels
        },
    )
    found = findings(joined)
    assert {"pattern-broken", "parts-disagree"} & set(found)


def test_a_block_lost_in_the_crank_only():
    # 30 ms at 760 rpm are 137 degrees: from there on the cams lie elsewhere.
    def shorter(values):
        return np.concatenate([values[:70_000], values[71_500:]])

    cut = with_values(
        clean(),
        crank=shorter,
        intake=lambda values: values[: len(values) - 1_500],
        exhaust=lambda values: values[: len(values) - 1_500],
    )
    found = findings(cut)["parts-disagree"]
    assert found.level == "caution"
    assert "record again" in found.text


def test_cams_alone_make_no_crank():
    # Three teeth at 180 degrees look like a 4-1 wheel that turns half as fast as the engine.
    teeth = tuple((start, start + 60.0) for start in (0.0, 180.0, 360.0))
    sensor = FRESH.cams[0].sensor
    cams = (
        CamSpec("intake", "A", teeth, sensor, scatter_deg=0.1),
        CamSpec("exhaust", "B", ((30.0, 90.0), (300.0, 420.0)), sensor, scatter_deg=0.1),
    )
    recording = simulate(replace(FRESH, cams=cams), seed=6).recording
    alone = replace(recording, channels=tuple(recording.channel(name) for name in "AB"))
    found = findings(alone)
    assert found["crank-doubtful"].level == "caution"
    assert "'A'" in found["crank-doubtful"].text


def test_a_channel_named_cam_that_rests():
    found = findings(with_values(clean(), exhaust=np.zeros_like))
    assert "'exhaust'" in found["cam-left-out"].text


def test_a_cam_that_the_user_left_out_is_no_matter():
    result = measure(clean(), cams={"intake": "intake"})
    assert "cam-left-out" not in {item.code for item in result.findings}


def test_ignition_without_a_name():
    extra = ExtraSpec("ignition", "D", 12.0, pulse_s=8e-4)
    spec = replace(
        FRESH, engine=replace(FRESH.engine, swing=0.03), speed=SpeedSpec("steady", 760.0),
        extras=(extra,),
    )  # fmt: skip
    recording = simulate(spec, seed=6).recording
    names = dict(zip(("crank", "intake", "exhaust", "D"), "ABCD", strict=True))
    channels = tuple(
        SampledChannel(names[item.name], "V", item.values) for item in recording.channels
    )
    result = measure(replace(recording, channels=channels))
    told = {item.code for item in result.findings}
    assert ("cam-doubtful" in told) == ("D" in {cam.channel for cam in result.cams})


@pytest.mark.parametrize("corner_hz", [15.0, 30.0, 60.0])
def test_ac_coupling(corner_hz):
    # From 15 Hz on edges of slow teeth were found up to 20 degrees off, and nothing was said.
    spec = replace(FRESH, scope=replace(FRESH.scope, coupling="ac", corner_hz=corner_hz))
    found = findings(simulate(spec, seed=6).recording)["levels-wander"]
    assert found.level == "caution"
    assert "DC coupling" in found.text
