"""Folders of levels: whole or not there, within their size, made again when lost."""

import os
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from crankwise.errors import UsageError
from crankwise.levels import LevelsCache, building, key_of, time_window
from crankwise.levels import cache as cache_module
from crankwise.model.kept import MeasureSettings
from crankwise.pipeline import measure_traced
from crankwise.testing.simulate import preset, simulate


@cache
def simulated():
    spec = preset("t20-fresh-chain")
    scope = replace(spec.scope, duration_s=0.8, interval_s=5e-5)
    recording = simulate(replace(spec, scope=scope), seed=2).recording
    return recording, measure_traced(recording).trace


def size_of(folder):
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def test_levels_are_found_again(tmp_path):
    kept = LevelsCache(tmp_path).build("one", *simulated())
    found = LevelsCache(tmp_path).find("one")
    assert found is not None
    assert found.info == kept.info
    recording, trace = simulated()
    asked = np.linspace(recording.start_s, recording.start_s + recording.duration_s, 99)
    assert np.array_equal(found.trace.angle_at(asked), trace.angle_at(asked), equal_nan=True)
    assert np.array_equal(found.trace.cams[0].edge, trace.cams[0].edge)
    assert LevelsCache(tmp_path).find("two") is None


def test_a_build_that_fails_leaves_nothing_behind(tmp_path, monkeypatch):
    def fails(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(building, "write_trace", fails)
    with pytest.raises(UsageError, match=r"No space left on device.*free some space"):
        LevelsCache(tmp_path).build("one", *simulated())
    assert list(tmp_path.iterdir()) == []
    assert LevelsCache(tmp_path).find("one") is None


def test_what_was_used_longest_ago_goes_first(tmp_path):
    LevelsCache(tmp_path).build("a", *simulated())
    one = size_of(tmp_path / "a")
    small = LevelsCache(tmp_path, most_bytes=int(2.5 * one))
    for age, name in ((300, "b"), (200, "c")):
        small.build(name, *simulated())
        os.utime(tmp_path / name / "levels.json", (1e9 - age, 1e9 - age))
        os.utime(tmp_path / "a" / "levels.json", (1e9 - 400, 1e9 - 400))
        assert small.find("a") is not None  # used now
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "c"]
    assert small.find("b") is None


def test_the_newest_stays_even_if_it_is_too_large(tmp_path):
    tiny = LevelsCache(tmp_path, most_bytes=10)
    tiny.build("a", *simulated())
    tiny.build("b", *simulated())
    assert [path.name for path in tmp_path.iterdir()] == ["b"]


@pytest.mark.parametrize("name", ["levels.json", "channel-1-band.npy", "run-0-teeth.npy"])
def test_damaged_levels_are_thrown_away_and_made_again(tmp_path, name):
    LevelsCache(tmp_path).build("a", *simulated())
    (tmp_path / "a" / name).write_bytes(b"{}")
    again = LevelsCache(tmp_path)
    assert again.find("a") is None
    assert again.build("a", *simulated()).info.cycles > 0


def test_levels_deleted_while_in_use_are_not_found_any_more(tmp_path):
    kept = LevelsCache(tmp_path)
    kept.build("a", *simulated())
    assert kept.find("a") is not None
    for path in (tmp_path / "a").iterdir():
        path.unlink()
    assert kept.find("a") is None


def test_what_a_crash_left_is_swept_away_after_a_day(tmp_path):
    old, new = tmp_path / "begun-old", tmp_path / "begun-new"
    for folder in (old, new):
        folder.mkdir()
    os.utime(old, (1e9, 1e9))
    LevelsCache(tmp_path).build("a", *simulated())
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "begun-new"]


def test_the_one_who_comes_second_takes_what_the_first_has_built(tmp_path):
    first = LevelsCache(tmp_path).build("a", *simulated())
    second = LevelsCache(tmp_path).build("a", *simulated())
    assert first.info == second.info
    assert [path.name for path in tmp_path.iterdir()] == ["a"]


def test_keys_tell_apart_what_makes_other_levels():
    digest = "ab" * 32
    alike = [MeasureSettings(), MeasureSettings(cams={})]
    others = [
        MeasureSettings(crank="A"), MeasureSettings(cams={"intake": "B"}),
        MeasureSettings(cams={"exhaust": "B"}), MeasureSettings(interval_s=1e-5),
    ]  # fmt: skip
    keys = {key_of(digest, item, method="1") for item in (*alike, *others)}
    assert len(keys) == 1 + len(others)
    assert key_of(digest, alike[0], method="2") not in keys
    assert key_of("cd" * 32, alike[0], method="1") not in keys
    assert all(key.startswith(digest) for key in keys)


def test_only_a_few_levels_stay_open(tmp_path):
    kept = LevelsCache(tmp_path)
    for number in range(cache_module._MOST_OPEN + 2):
        kept.build(f"k{number}", *simulated())
    assert len(kept._open) == cache_module._MOST_OPEN
    levels = kept.find("k0")
    assert time_window(levels, 0.0, 0.5, 100).signals
