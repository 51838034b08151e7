"""Real engines' recordings, measured as their notes say. They lie outside the project."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from crankwise.edges import find_edges
from crankwise.pipeline import measure
from crankwise.readers import read
from crankwise.wheel import catalogue
from crankwise.wheel.decode import decode

FOLDER = Path(__file__).parents[3] / "shared" / "recordings"
WHEELS = list(catalogue.load().values())

pytestmark = pytest.mark.skipif(
    not FOLDER.is_dir(), reason="the folder of real recordings is not beside the project"
)


@cache
def recording(name):
    path = FOLDER / name
    if not path.exists():
        pytest.skip(f"{name} is not in the folder of real recordings")
    return read(path)


@cache
def teeth_of(name, crank, *cams):
    source = recording(name)
    return decode(find_edges(source, crank), WHEELS, [find_edges(source, cam) for cam in cams])


def gap_spacing(teeth, source, crank):
    """How many timing edges lie between one gap and the next, in each turn."""
    edges = find_edges(source, crank).of(teeth.timing_edge)
    counts = []
    for run in teeth.runs:
        zero = run.times_s[run.number % teeth.wheel.teeth_per_rev == 0]
        place = np.searchsorted(edges, zero - 1e-9)
        whole = np.diff(run.number[run.number % teeth.wheel.teeth_per_rev == 0])
        counts += list(np.diff(place)[whole == teeth.wheel.teeth_per_rev])
    return np.asarray(counts)


def test_start_up_to_running_60_2():
    # Notes: crank 60-2 on 'Channel 0', gap every 58 falling edges, rising edges split the gap in
    # two; its owners' test reads 1695 rpm at the end.
    teeth = teeth_of("nick_1.csv", "Channel 0", "Channel 1")
    assert teeth.wheel.name == "60-2"
    assert teeth.timing_edge == "falling"
    assert teeth.choice.confidence > 0.95
    # One turn of the run-up holds a false pulse, which the alignment takes out.
    spacing = gap_spacing(teeth, recording("nick_1.csv"), "Channel 0")
    assert len(spacing) > 40
    assert np.mean(spacing == 58) > 0.95
    last = teeth.runs[-1]
    turns = np.interp(last.times_s[-1] - np.array([0.15, 0.0]), last.times_s, last.number / 58)
    assert np.diff(turns)[0] / 0.15 * 60.0 == pytest.approx(1695.0, rel=0.05)


def test_running_36_2_with_a_three_tooth_cam():
    # Notes: crank 36-2, gap every 34 edges, about 1564 rpm by the tooth count; the cam has three
    # teeth a cam turn.
    name = "toyota_3_tooth_cam.csv"
    result = measure(recording(name))
    assert result.crank.channel == "Channel 0"
    assert (result.crank.wheel, result.crank.teeth_per_rev) == ("36-2", 34)
    assert result.crank.choice.confidence > 0.95
    assert result.crank.speed_rpm.mean == pytest.approx(1564.0, rel=0.01)
    teeth = teeth_of(name, "Channel 0", "Channel 1")
    assert set(gap_spacing(teeth, recording(name), "Channel 0")) == {34}
    (cam,) = result.cams
    assert cam.channel == "Channel 1"
    assert len(cam.edges) == 6
    assert sum(edge.edge == "falling" for edge in cam.edges) == 3


def test_start_up_to_running_measures_its_cam():
    result = measure(recording("nick_1.csv"))
    assert result.crank.channel == "Channel 0"
    (cam,) = result.cams
    assert cam.channel == "Channel 1"
    assert cam.cycles > 15
    assert {edge.edge for edge in cam.edges} == {"rising", "falling"}
    assert {item.code for item in result.findings} >= {"just-started", "speed-unsteady"}
    unused = [
        name
        for name in recording("nick_1.csv").channel_names
        if name not in {"Channel 0", "Channel 1"}
    ]
    assert all(result.roles[name].startswith("other") for name in unused)


def test_cranking_with_four_irregular_teeth():
    # Notes: four teeth a turn at irregular spacing; no missing-tooth gap, the pattern is in the
    # spacing and the cam.
    result = measure(recording("nb2-cranking-good.csv"))
    assert result.crank.channel == "crank"
    assert result.crank.teeth_per_rev == 4
    assert not result.crank.has_gap
    assert [cam.channel for cam in result.cams] == ["cam"]
    # It cranks at about 180 rpm before it fires.
    assert 100.0 < np.median(result.crank.speed_trace.speed_rpm[:10]) < 250.0
    assert "few-crank-teeth" in {item.code for item in result.findings}
    assert all(edge.uncertainty_deg > 0.2 for edge in result.cams[0].edges)


def test_cranking_with_few_teeth_and_a_large_swing():
    # Notes: few teeth, strong speed ripple.
    result = measure(recording("4g93-cranking.csv"))
    assert result.crank.channel == "crank"
    assert result.crank.teeth_per_rev < 12
    assert 60.0 < result.crank.speed_rpm.mean < 500.0
    assert [cam.channel for cam in result.cams] == ["cam"]


def test_sampled_coil_at_starter_speed():
    # Notes: 10 kS/s, variable reluctance, 60-2 at about 160 rpm, runout and uneven noise; gap
    # every 58 falling crossings.
    source = recording("trigger_adc_real1.csv")
    (name,) = source.channel_names
    edges = find_edges(source, name)
    assert source.interval_s == pytest.approx(1e-4, rel=0.01)
    assert edges.sensor == "variable-reluctance"
    teeth = teeth_of("trigger_adc_real1.csv", name)
    assert (teeth.wheel.name, teeth.timing_edge) == ("60-2", "falling")
    assert teeth.choice.confidence > 0.95
    counts = gap_spacing(teeth, source, name)
    assert len(counts) > 2
    assert np.mean(counts == 58) > 0.9
    result = measure(source)
    assert result.crank.speed_rpm.mean == pytest.approx(160.0, rel=0.1)
    assert result.cams == ()
    assert "no-cam" in {item.code for item in result.findings}
