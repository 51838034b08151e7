"""Kept recordings measured, and measured again when the method is another."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from crankwise import document
from crankwise.errors import UnreadableError, UsageError
from crankwise.model.finding import Finding
from crankwise.model.kept import MeasureSettings
from crankwise.pipeline import measure
from crankwise.readers import read
from crankwise.store import open_store
from crankwise.testing.simulate import preset, write
from crankwise.testing.simulate import simulate as run

T20 = document.load(Path(__file__).parent / "snapshots" / "inputs" / "t20.json")


@pytest.fixture(scope="module")
def van(tmp_path_factory):
    """A short recording of two cams whose columns have names that say nothing."""
    spec = preset("t20-no-names")
    spec = replace(spec, scope=replace(spec.scope, duration_s=1.2))
    path = tmp_path_factory.mktemp("van") / "van.csv"
    write(run(spec, seed=3), path)
    return path


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "shelf") as opened:
        yield opened


def test_a_kept_recording_is_measured_as_its_file_would_be(store, van):
    kept = store.recordings.add(van)
    measured = store.recordings.measure(kept.sha256[:8])
    assert measured.measurement == measure(read(van))
    assert measured.recording_sha256 == kept.sha256
    assert store.recordings.measure(kept.sha256) == measured


def test_measuring_again_keeps_both_and_says_what_changed(store, van):
    kept = store.recordings.add(van)
    plain = measure(read(van))
    channel = plain.cams[0].channel
    settings = MeasureSettings(crank=plain.crank.channel, cams={"exhaust": channel})
    now = measure(read(van), crank=settings.crank, cams=settings.cams)
    cam = now.cams[0]
    edge = replace(cam.edges[0], angle_deg=(cam.edges[0].angle_deg - 1.5) % 720.0)
    earlier = replace(
        now,
        method="0",
        cams=(replace(cam, edges=(edge, *cam.edges[1:])),),
        findings=(Finding("old-only", "note", "Something seen before."),),
    )
    before = store.recordings.add_measurement(earlier, settings=settings)
    seen = []
    [done] = store.recordings.remeasure(progress=lambda name, share: seen.append((name, share)))
    assert (done.before, done.failed) == (before, None)
    assert done.after.measurement == now  # with the channels that were stated at the time
    assert done.after.settings == settings
    assert store.recordings.measurements(kept.sha256) == (before, done.after)
    moved = [change for change in done.edges if abs(change.change_deg) > 0.01]
    assert [(change.role, change.edge) for change in moved] == [("exhaust", edge.edge)]
    assert moved[0].change_deg == pytest.approx(1.5, abs=1e-9)
    assert any("moved by +1.50°, more than its uncertainty" in words for words in done.words)
    assert "no longer found: Something seen before." in done.words
    assert seen == [("van.csv", 0.0)]
    [again] = store.recordings.remeasure([kept.sha256])
    assert (again.before, again.after, again.words) == (done.after, done.after, ())


def test_other_cams_and_wheels_are_said(store, van):
    kept = store.recordings.add(van)
    now = measure(read(van))
    crank = replace(now.crank, wheel="60-1", timing_edge="rising")
    fewer = replace(now.cams[0], edges=now.cams[0].edges[:-1])
    store.recordings.add_measurement(replace(now, crank=crank, cams=(fewer,), method="0"))
    [done] = store.recordings.remeasure()
    assert f"crank wheel: 60-1 before, {now.crank.wheel} now" in done.words
    count = len(now.cams[0].edges)
    assert f"{fewer.role}: {count - 1} edges a cycle before, {count} now" in done.words
    assert f"{now.cams[1].role}: not measured before" in done.words
    assert kept.is_kept


def test_what_can_not_be_measured_says_why_and_stops_nothing(store, van):
    store.recordings.add(b"this is no recording\n", name="notes.txt")
    store.recordings.add(van)
    failed, done = store.recordings.remeasure()
    assert failed.after is None
    assert "notes.txt" in failed.failed
    assert done.words == ("measured for the first time",)
    with pytest.raises(UnreadableError, match="notes"):
        store.recordings.measure(failed.recording.sha256)


def test_a_recording_known_by_its_measurement_only_can_not_be_measured(store):
    store.recordings.add_measurement(T20)
    kept = store.recordings.get(T20.recording.sha256)
    assert (kept.is_kept, kept.name) == (False, T20.recording.name)
    with pytest.raises(UsageError, match="was never kept here: add the file"):
        store.recordings.measure(kept.sha256)
    assert store.recordings.remeasure() == ()
    assert store.verify().is_sound
