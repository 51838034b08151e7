"""Edges of samples that come in and go: the same however they come, and beyond one stretch."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import groupby, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crankwise.edges import EdgeStream, find_all_edges, stretch
from crankwise.edges.crossings import find_crossings
from crankwise.edges.survey import Survey
from crankwise.model.recording import Recording, SampledChannel
from crankwise.pipeline import measure
from crankwise.testing.simulate import preset, simulate

FIELDS = ("times_s", "rising", "standard_uncertainty_s", "height", "steepness")
FACTS = ("sensor", "low", "high", "noise", "clipped_fraction", "rejected", "dead_time_s")
COIL = "t20-vr"


@cache
def recording_of(name: str) -> Recording:
    spec = preset(name)
    scope = replace(spec.scope, duration_s=1.2, interval_s=1e-5)
    return simulate(replace(spec, scope=scope), seed=2).recording


@pytest.fixture
def short_stretches(monkeypatch):
    monkeypatch.setattr(stretch, "STRETCH", 1 << 14)
    monkeypatch.setattr(stretch, "MARGIN", 1 << 12)


def streamed(recording, sizes):
    """Feed a recording in blocks of these sizes, over and over."""
    finder = EdgeStream()
    finder.begin(recording.channel_names, interval_s=recording.interval_s)
    count, first, turn = len(recording.channels[0].values), 0, 0
    while first < count:
        part = slice(first, first + sizes[turn % len(sizes)])
        stamps = None if recording.time_s is None else recording.time_s[part]
        finder.feed([channel.values[part] for channel in recording.channels], stamps)
        first, turn = part.stop, turn + 1
    return finder.finish(start_s=recording.start_s, interval_s=recording.interval_s)


def assert_same(first, second):
    assert first.keys() == second.keys()
    for name, edges in first.items():
        for field in FIELDS:
            np.testing.assert_array_equal(getattr(edges, field), getattr(second[name], field))
        for fact in FACTS:
            assert getattr(edges, fact) == getattr(second[name], fact)


def spoiled(recording):
    """Missing samples, samples beyond range, and a pause."""
    channels = []
    for channel in recording.channels:
        values = channel.values.copy()
        values[5000:5003], values[40_000:40_100] = np.nan, np.inf
        channels.append(replace(channel, values=values))
    count = len(channels[0].values)
    time_s = recording.start_s + np.arange(count) * recording.interval_s
    time_s[70_000:] += 0.02
    return replace(recording, channels=tuple(channels), time_s=time_s)


@pytest.mark.parametrize("name", ["t20-fresh-chain", COIL])
@pytest.mark.parametrize("change", [lambda recording: recording, spoiled], ids=["plain", "spoiled"])
@settings(max_examples=6, deadline=None, derandomize=True)
@given(sizes=st.lists(st.integers(1, 60_000), min_size=1, max_size=4))
def test_edges_do_not_depend_on_how_samples_come(name, change, sizes):
    recording = change(recording_of(name))
    sizes = [size + 500 for size in sizes]  # single samples would take minutes
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stretch, "STRETCH", 1 << 14)
        patch.setattr(stretch, "MARGIN", 1 << 12)
        assert_same(streamed(recording, sizes), find_all_edges(recording))


@pytest.mark.parametrize("count", [1 << 14, (1 << 14) + 1, (1 << 14) + (1 << 12) + 1, 3 << 14])
@pytest.mark.usefixtures("short_stretches")
def test_a_recording_may_end_anywhere_in_a_stretch(count):
    whole = recording_of("t20-fresh-chain")
    channels = tuple(replace(item, values=item.values[:count]) for item in whole.channels)
    recording = replace(whole, channels=channels)
    assert_same(streamed(recording, [9973]), find_all_edges(recording))


@pytest.mark.parametrize(("name", "most"), [("t20-fresh-chain", 0.01), (COIL, 8.0)])
def test_stretches_join_without_a_seam(name, most, monkeypatch):
    recording = recording_of(name)
    whole = find_all_edges(recording)
    monkeypatch.setattr(stretch, "STRETCH", 1 << 15)
    monkeypatch.setattr(stretch, "MARGIN", 1 << 13)
    parts = find_all_edges(recording)
    for channel, edges in whole.items():
        assert len(parts[channel].times_s) == len(edges.times_s)
        # Stretches as short as here (a third of a second) know a coil's zero less well.
        difference = np.abs(parts[channel].times_s - edges.times_s)
        assert np.all(difference < most * edges.standard_uncertainty_s)
        np.testing.assert_array_equal(parts[channel].rising, edges.rising)


@pytest.mark.parametrize(("name", "share"), [("t20-fresh-chain", 0.001), (COIL, 0.1)])
def test_a_measurement_in_stretches_differs_by_far_less_than_its_uncertainty(
    name, share, monkeypatch
):
    recording = recording_of(name)
    whole = measure(recording)
    monkeypatch.setattr(stretch, "STRETCH", 1 << 15)
    monkeypatch.setattr(stretch, "MARGIN", 1 << 13)
    parts = measure(recording)
    for cam, other in zip(whole.cams, parts.cams, strict=True):
        for edge, again in zip(cam.edges, other.edges, strict=True):
            assert abs(edge.angle_deg - again.angle_deg) < share * edge.uncertainty_deg


def engine_that_stops(*, hum_v: float) -> Recording:
    """Two seconds at rest, one turning, two at rest; a mains hum goes through all of it."""
    turning = recording_of("t20-fresh-chain")
    count = len(turning.channels[0].values)
    rest = 2 * count
    time_s = np.arange(rest + count + rest) * turning.interval_s
    hum = hum_v * np.sin(2 * np.pi * 50.0 * time_s)
    channels = []
    for item in turning.channels:
        noise = np.random.default_rng(3).normal(0.0, 0.02, len(time_s))
        level = np.concatenate((np.zeros(rest), item.values, np.zeros(rest))) + hum + noise
        channels.append(SampledChannel(item.name, "V", level.astype(np.float32)))
    duration_s = (len(time_s) - 1) * turning.interval_s
    return replace(turning, channels=tuple(channels), duration_s=duration_s)


@pytest.mark.parametrize("hum_v", [0.0, 0.3])
@pytest.mark.usefixtures("short_stretches")
def test_hum_while_the_engine_rests_makes_no_edges(hum_v):
    recording = engine_that_stops(hum_v=hum_v)
    turning = recording_of("t20-fresh-chain")
    start_s = 2 * len(turning.channels[0].values) * recording.interval_s
    for name, edges in find_all_edges(turning).items():
        found = find_all_edges(recording)[name]
        assert found.sensor == "hall"
        inside = found.times_s[(found.times_s > start_s) & (found.times_s < 1.5 * start_s)]
        assert abs(len(inside) - len(edges.times_s)) <= 1
        # A level that is high when the engine stops falls to rest once at either end.
        assert len(found.times_s) - len(inside) <= 2


def crossings_by_hand(values, levels):
    """The definition, sample by sample."""
    side = values > levels.middle[0]
    segments, first = [], 0
    for is_high, group in groupby(side):
        length = len(list(group))
        part = values[first : first + length]
        is_armed = part.max() > levels.arm_high[0] if is_high else part.min() < levels.arm_low[0]
        if is_armed:
            height = part.max() - levels.middle[0] if is_high else levels.middle[0] - part.min()
            segments.append((first, first + length, is_high, height))
        first += length
    turns = [(a, b) for a, b in pairwise(segments) if a[2] != b[2]]
    return [(before[1] - 1, after[0] - 1, after[2], after[3]) for before, after in turns]


@settings(max_examples=150, deadline=None)
@given(
    values=st.lists(st.integers(-6, 6), min_size=1, max_size=300),
    times=st.integers(1, 9),
    exact=st.booleans(),
)
def test_crossings_are_those_of_the_definition(values, times, exact):
    samples = np.repeat(np.array(values, dtype=np.float32), times)
    level = np.array([0.5]), np.array([3.5]), np.array([-2.5])
    levels = Survey("hall", *level, np.array([0.0]), 0.0, 0.0, 0.0, 0.0, is_flat=False)
    found = find_crossings(samples, levels, exact=exact)
    expected = crossings_by_hand(samples.astype(np.float64), levels)
    assert list(zip(found.first, found.last, found.rising, strict=True)) == [
        row[:3] for row in expected
    ]
    heights = np.array([row[3] for row in expected])
    if exact:
        np.testing.assert_array_equal(found.height, heights)
    assert np.all(found.height <= heights)
