"""Bands over the cycle, the mean cycle and windows of it, against plain ways to work them out."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from crankwise.levels import Levels, angle_window, build_levels, time_window
from crankwise.levels.cycles import BINS, BINS_PER_DEG, spans
from crankwise.levels.scale import FULL, MISSING, scale_of
from crankwise.pipeline import measure_traced
from crankwise.testing.simulate import ScopeSpec, preset, simulate

DENSE = "100 samples a degree"
SPARSE = "a sample in ten bins"


@cache
def simulated(name):
    spec = preset("t20-fresh-chain")
    scopes = {
        DENSE: replace(spec.scope, duration_s=0.9, interval_s=2e-6),
        SPARSE: replace(spec.scope, duration_s=1.2, interval_s=7e-5),
        "events": ScopeSpec(1.2, "events", resolution_s=1e-6),
    }
    recording = simulate(replace(spec, scope=scopes[name]), seed=5).recording
    return recording, measure_traced(recording)


@pytest.fixture(params=[DENSE, SPARSE, "events"])
def made(request, tmp_path):
    recording, traced = simulated(request.param)
    build_levels(recording, traced.trace, tmp_path)
    return recording, traced, Levels(tmp_path)


def value_at(recording, channel, times):
    """Signal at each time in steps, by straight lines between samples."""
    signal = recording.channels[channel]
    if recording.is_event_list:
        states = np.concatenate(([signal.initial_state], signal.states))
        held = states[np.searchsorted(signal.times_s, times, side="right")]
        return np.where(held, FULL, -FULL)
    own = recording.start_s + recording.interval_s * np.arange(len(signal.values))
    return np.interp(times, own, scale_of(signal.values).steps(signal.values))


def test_the_band_holds_every_cycle_and_no_more(made):
    recording, traced, levels = made
    (run,) = traced.trace.runs
    fine = 32  # places looked at in each bin
    grid = np.arange(BINS * fine) / (BINS_PER_DEG * fine)
    for channel in range(len(recording.channels)):
        least, greatest = np.full(len(grid), np.inf), np.full(len(grid), -np.inf)
        for number in range(int(run.start_deg // 720), int(run.end_deg // 720) + 1):
            time = run.time_at(grid + 720.0 * number)
            known = np.isfinite(time)
            value = value_at(recording, channel, time[known])
            least[known] = np.minimum(least[known], value)
            greatest[known] = np.maximum(greatest[known], value)
        least, greatest = (
            least.reshape(-1, fine).min(axis=1),
            greatest.reshape(-1, fine).max(axis=1),
        )
        low, high = levels.bands[channel][:2].astype(float)
        # The border of a bin may lie a rounding aside: then the neighbour has what is at it.
        tolerance = 0.003 * 2 * FULL
        assert np.all(around(low, np.minimum) <= least + tolerance)
        assert np.all(around(high, np.maximum) >= greatest - tolerance)
        assert np.all(low >= around(least, np.minimum) - tolerance)
        assert np.all(high <= around(greatest, np.maximum) + tolerance)


def around(values, pick):
    """Pick from each bin and its two neighbours."""
    return pick.reduce([np.roll(values, step) for step in (-1, 0, 1)])


def test_the_inner_band_lies_inside_and_holds_the_middle(made):
    _, _, levels = made
    for band in levels.bands:
        low, high, inner_low, inner_high = band
        assert np.all(low <= inner_low)
        assert np.all(inner_low <= inner_high)
        assert np.all(inner_high <= high)


def test_edges_stand_in_the_band_where_they_were_measured(made):
    recording, traced, levels = made
    if recording.is_event_list:
        return
    for cam in traced.measurement.cams:
        channel = recording.channel_names.index(cam.channel)
        low, high = levels.bands[channel][:2].astype(int)
        for edge in cam.edges:
            place = int(edge.angle_deg * BINS_PER_DEG)
            reach = int((4 * edge.scatter_deg + 0.3) * BINS_PER_DEG) + 4
            near = np.arange(place - reach, place + reach) % BINS
            before, after = (low[near[0]] + high[near[0]]) / 2, (low[near[-1]] + high[near[-1]]) / 2
            rises = after - before > FULL
            falls = before - after > FULL
            assert rises if edge.edge == "rising" else falls
            # All cycles cross the middle between the two, so the band is open there.
            middle = np.flatnonzero((low[near] < 0) & (high[near] > 0))
            width_deg = (middle[-1] - middle[0] + 1) / BINS_PER_DEG
            assert width_deg < 8 * edge.scatter_deg + 0.5


def test_the_mean_cycle_takes_as_long_as_the_cycles_do(made):
    _, traced, levels = made
    time, mean, low, high = levels.cycle
    whole = [span for span in spans(traced.trace) if span.end_bin - span.first_bin == BINS]
    took = np.mean([np.ptp(span.times_s()[[0, -1]]) for span in whole])
    assert time[-1] == pytest.approx(took, rel=0.01)
    assert time[0] == 0.0
    assert np.all(np.diff(time) > 0)
    assert np.all((low <= mean + 1e-3) & (mean <= high + 1e-3))


@pytest.mark.parametrize(("begin", "end"), [(0.0, 720.0), (-40.0, 55.5), (700.0, 760.0)])
@pytest.mark.parametrize("width", [3, 900, 4000])
def test_a_window_of_the_cycle_has_every_extreme_in_its_column(made, begin, end, width):
    _, _, levels = made
    window = angle_window(levels, begin, end, width)
    bins = np.arange(int(window.from_deg * BINS_PER_DEG), int(window.to_deg * BINS_PER_DEG))
    columns = window.bands.shape[2]
    assert window.from_deg <= begin
    assert window.to_deg >= end
    assert columns == min(width, len(bins))
    column = np.minimum((np.arange(len(bins)) * columns) // len(bins), columns - 1)
    for band, whole in zip(window.bands, levels.bands, strict=True):
        least, greatest = np.full(columns, FULL), np.full(columns, MISSING)
        np.minimum.at(least, column, whole[0][bins % BINS])
        np.maximum.at(greatest, column, whole[1][bins % BINS])
        assert np.all(band[0] <= least)
        assert np.all(band[1] >= greatest)
        assert band[0].min() == least.min()
        assert band[1].max() == greatest.max()


def test_a_close_window_tells_the_edges_of_single_cycles(made):
    _, traced, levels = made
    edge = traced.measurement.cams[0].edges[0]
    near = angle_window(levels, edge.angle_deg - 5.0, edge.angle_deg + 5.0, 800).cams[0]
    own = near.edge == 0
    assert own.sum() == edge.count
    assert near.angle_deg[own].mean() == pytest.approx(edge.angle_deg, abs=1e-3)
    assert len(set(near.cycle[own])) == edge.count
    assert near.cycle.min() >= 0
    whole = angle_window(levels, 0.0, 720.0, 800)
    assert all(len(cam.angle_deg) == 0 for cam in whole.cams)


def test_a_window_of_time_tells_angle_speed_teeth_and_edges(made):
    recording, traced, levels = made
    begin = recording.start_s + 0.4
    window = time_window(levels, begin, begin + 0.05, 700)
    even = np.linspace(begin, begin + 0.05, len(window.angle_deg))
    assert window.angle_deg == pytest.approx(traced.trace.angle_at(even), abs=1e-6)
    truth = traced.trace.speed_rpm_at(window.speed.times_s[1:-1])
    assert window.speed.low_rpm[1:-1] == pytest.approx(truth, rel=1e-4)
    run = traced.trace.runs[0]
    inside = (run.times_s >= begin) & (run.times_s < begin + 0.05)
    assert window.teeth.times_s == pytest.approx(run.times_s[inside])
    assert window.teeth.turned_deg == pytest.approx(run.tooth_deg[inside] % 360.0, abs=1e-3)
    for cam, known in zip(window.cams, traced.trace.cams, strict=True):
        part = (known.times_s >= begin) & (known.times_s < begin + 0.05)
        assert cam.times_s == pytest.approx(known.times_s[part])
        assert cam.edge.tolist() == known.edge[part].tolist()


@pytest.mark.parametrize(
    "name", ["t20-start-up", "t20-vr", "t20-revving", "t20-phaser-moving", "t20-logic", "fell-v6"]
)
def test_whatever_can_be_measured_can_be_drawn(name, tmp_path):
    recording = simulate(preset(name), seed=3).recording
    traced = measure_traced(recording)
    build_levels(recording, traced.trace, tmp_path)
    levels = Levels(tmp_path)
    assert levels.info.cycles > 0
    begin, middle = recording.start_s, recording.start_s + recording.duration_s / 2
    for stretch in ((begin - 1.0, begin + 1e3), (middle, middle + 0.03), (middle, middle + 1e-4)):
        window = time_window(levels, *stretch, 800)
        assert len(window.signals) == len(recording.channels)
        assert all(len(s.low) or len(s.steps) for s in window.signals)
    for place in range(-360, 720, 97):
        window = angle_window(levels, place, place + 13.0, 500)
        assert window.bands.shape == (len(recording.channels), 4, 13 * BINS_PER_DEG)
        assert np.all(window.bands[:, 0] <= window.bands[:, 1])


def test_a_crank_without_cams_in_any_cycle_has_no_band(tmp_path):
    recording, traced = simulated(SPARSE)
    nowhere = tuple(replace(run, is_placed=False, offset_deg=0.0) for run in traced.trace.runs)
    build_levels(recording, replace(traced.trace, runs=nowhere, cams=()), tmp_path)
    levels = Levels(tmp_path)
    assert levels.info.cycles == 0
    window = angle_window(levels, 0.0, 720.0, 100)
    assert np.all(window.bands[:, 0] > window.bands[:, 1])
    assert np.isnan(window.cycle[1:]).all()
    # Teeth and speed are there all the same.
    close = time_window(levels, 0.5, 0.55, 300)
    assert len(close.teeth.times_s) > 10
    assert np.isfinite(close.angle_deg).all()
