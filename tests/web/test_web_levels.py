"""The angle view's data: what was compared as JSON, signals as packed windows of levels."""

from __future__ import annotations

import json
import shutil
import struct
import time

import numpy as np
import pytest

from crankwise.levels import LevelsCache
from crankwise.store import open_store
from crankwise.web.packing import packed
from crankwise.workshop.levelling import key_of_kept, make_levels
from crankwise.workshop.recording import keep_recording

HEALTHY, LATE = 1, 2
MOST_BYTES = 200_000  # of an answer, as the project set itself
KINDS = {"f32": "<f4", "f64": "<f8", "i16": "<i2", "i32": "<i4", "u8": "u1"}


def unpacked(data):
    """Head and arrays, read by the documented layout."""
    assert data[:4] == b"CWL1"
    (length,) = struct.unpack("<I", data[4:8])
    assert (8 + length) % 8 == 0
    head = json.loads(data[8 : 8 + length])
    arrays = {}
    for name, kind, count, offset in head["arrays"]:
        assert offset % 8 == 0
        arrays[name] = np.frombuffer(data, KINDS[kind], count, 8 + length + offset)
    return head, arrays


@pytest.fixture
def view(program):
    return program.get(f"/api/visits/{LATE}/angle-view").json()


@pytest.fixture
def levels(program, view):
    """Ask for levels of the late engine's recording, which are made first."""
    address, measured = view["levels"], {"measurement": view["measurement"]}
    until = time.monotonic() + 30.0
    while (state := program.get(address, params=measured).json())["state"] == "building":
        assert time.monotonic() < until
        time.sleep(0.02)
    assert state["state"] == "ready"

    def ask(part, **query):
        return program.get(f"{address}/{part}", params=measured | query)

    ask.state = state
    return ask


def test_what_is_packed_comes_back_as_it_was():
    arrays = {
        "a": np.array([1.5, np.nan], np.float32),
        "empty": np.empty(0, np.int16),
        "rows": np.arange(6, dtype=np.int16).reshape(2, 3),
        "yes": np.array([True, False, True]),
        "long": np.array([1e300, -np.inf]),
        "count": np.array([2**31 - 1], np.int32),
    }
    head, back = unpacked(packed({"words": "Öl & ±"}, arrays))
    assert head["words"] == "Öl & ±"
    assert list(back) == list(arrays)
    for name, array in arrays.items():
        assert np.array_equal(back[name], array.ravel(), equal_nan=array.dtype.kind == "f")


def test_the_view_says_what_the_comparison_says(view, shop):
    with open_store(shop) as store:
        visit = store.jobs.file(store.jobs.visit(LATE).job_id).visits[-1]
        compared = visit.comparisons[-1].comparison
    assert [lane["channel"] for lane in view["lanes"]] == ["exhaust", "intake"]
    for lane in view["lanes"]:
        cam = next(one for one in compared.cams if one.subject_channel == lane["channel"])
        assert lane["healthy_deg"] == [cam.healthy.low_deg, cam.healthy.high_deg]
        shifts = [edge["shift"]["shift_deg"] for edge in lane["edges"]]
        assert sorted(shifts) == sorted(edge.shift_deg for edge in cam.edges)
        for edge in lane["edges"]:
            shift = edge["shift"]
            moved = (edge["angle_deg"] - shift["known_good_deg"] + 360.0) % 720.0 - 360.0
            assert moved == pytest.approx(shift["shift_deg"], abs=1e-9)
    assert view["code_limit_deg"] == compared.limits.code_limit_deg
    assert view["verdict"]["level"] == compared.verdict.level


def test_teeth_are_counted_outward_from_the_gap(view):
    # 60-2: 58 teeth, 6 degrees apart; counted on either side of the gap that ends at 0 degrees.
    teeth = view["crank"]["teeth"]
    assert view["crank"]["gap_deg"] == pytest.approx(18.0)
    assert len(teeth) == 58
    assert [teeth[0]["number"], teeth[1]["number"], teeth[16]["number"]] == [1, 2, 17]
    assert [teeth[-1]["number"], teeth[-5]["number"]] == [1, 5]
    assert teeth[16]["angle_deg"] == pytest.approx(96.0)
    assert not teeth[-1]["after"]


def test_without_a_comparison_edges_have_no_shift(program):
    view = program.get(f"/api/visits/{HEALTHY}/angle-view").json()
    assert view["verdict"] is None
    assert view["code_limit_deg"] is None
    edges = [edge for lane in view["lanes"] for edge in lane["edges"]]
    assert len(edges) == 16
    assert all(edge["shift"] is None for edge in edges)


def test_a_window_of_the_cycle_holds_a_band_for_each_channel(levels):
    answer = levels("angle", from_deg=-30, to_deg=60, width=900)
    assert answer.headers["content-type"] == "application/octet-stream"
    assert "max-age" in answer.headers["cache-control"]
    head, arrays = unpacked(answer.content)
    assert (head["from_deg"], head["to_deg"], head["columns"]) == (-30.0, 60.0, 900)
    assert [channel["name"] for channel in head["channels"]] == ["crank", "intake", "exhaust"]
    low, high, inner_low, inner_high = arrays["bands"].reshape(3, 4, 900).swapaxes(0, 1)
    assert np.all((low <= inner_low) & (inner_low <= inner_high) & (inner_high <= high))
    assert arrays["cycle"].size == 4 * 721
    for number, cam in enumerate(head["cams"]):
        assert cam["role"] in {"intake", "exhaust"}
        assert len(arrays[f"cam-{number}-angle"]) == len(arrays[f"cam-{number}-edge"]) > 0


def test_a_window_of_time_comes_as_columns_or_as_samples(levels):
    begin, end = levels.state["start_s"], levels.state["end_s"]
    head, arrays = unpacked(levels("time", from_s=begin - 1, to_s=end + 1, width=1000).content)
    assert (head["from_s"], head["to_s"]) == (begin, end)
    assert len(arrays["channel-0-low"]) == len(arrays["channel-0-high"]) == head["columns"] == 1000
    assert len(arrays["sample-time"]) == 0
    head, arrays = unpacked(levels("time", from_s=0.5, to_s=0.51, width=1000).content)
    assert len(arrays["sample-time"]) == len(arrays["channel-2-step"]) == pytest.approx(501, abs=2)
    assert np.diff(arrays["sample-time"]) == pytest.approx(2e-5, rel=1e-2)
    assert np.isfinite(arrays["angle"]).all()
    turned = np.ptp(arrays["angle"])
    assert turned == pytest.approx(6.0 * 760.0 * 0.01, rel=0.2)


@pytest.mark.parametrize(
    ("part", "query"),
    [
        ("angle", {"from_deg": 0, "to_deg": 720, "width": 4000}),
        ("angle", {"from_deg": 100, "to_deg": 220, "width": 4000}),
        ("time", {"from_s": 0, "to_s": 1.2, "width": 4000}),
        ("time", {"from_s": 0.3, "to_s": 0.44, "width": 4000}),
    ],
)
def test_no_answer_is_larger_than_was_agreed(levels, part, query):
    assert 1_000 < len(levels(part, **query).content) <= MOST_BYTES


@pytest.mark.parametrize(
    ("part", "query", "status"),
    [
        ("angle", {"from_deg": "nan", "to_deg": 10, "width": 100}, 422),
        ("angle", {"from_deg": 0, "to_deg": "inf", "width": 100}, 422),
        ("angle", {"from_deg": 10, "to_deg": 10, "width": 100}, 400),
        ("angle", {"from_deg": 20, "to_deg": 10, "width": 100}, 400),
        ("angle", {"from_deg": 0, "to_deg": 721, "width": 100}, 400),
        ("angle", {"from_deg": 0, "to_deg": 10, "width": 0}, 422),
        ("angle", {"from_deg": 0, "to_deg": 10, "width": 4001}, 422),
        ("angle", {"from_deg": 0, "width": 10}, 422),
        ("time", {"from_s": 1, "to_s": 0, "width": 100}, 400),
        ("time", {"from_s": 50, "to_s": 60, "width": 100}, 400),
        ("time", {"from_s": "-inf", "to_s": 60, "width": 100}, 422),
    ],
)
def test_a_window_that_makes_no_sense_is_refused_in_words(levels, part, query, status):
    answer = levels(part, **query)
    assert answer.status_code == status
    assert answer.json()["error"]


@pytest.mark.parametrize(
    "path",
    [
        f"/api/recordings/{'0' * 64}/levels",
        f"/api/recordings/{'0' * 64}/levels/angle?from_deg=0&to_deg=9&width=9",
        "/api/visits/999/angle-view",
        f"/api/visits/{LATE}/angle-view?recording={'0' * 64}",
    ],
)
def test_what_is_not_there_is_not_found(program, path):
    assert program.get(path).status_code == 404


def test_a_measurement_of_another_recording_is_not_found(program, view):
    other = program.get(f"/api/visits/{HEALTHY}/angle-view").json()["measurement"]
    answer = program.get(view["levels"], params={"measurement": other})
    assert answer.status_code == 404


def test_levels_are_made_once_while_several_ask(program, view, shop):
    query = {"measurement": view["measurement"], "from_deg": 0, "to_deg": 720, "width": 100}
    answers = [program.get(f"{view['levels']}/angle", params=query) for _ in range(5)]
    assert answers[0].status_code == 202
    assert answers[0].json()["state"] == "building"
    until = time.monotonic() + 30.0
    while program.get(f"{view['levels']}/angle", params=query).status_code == 202:
        assert time.monotonic() < until
        time.sleep(0.02)
    assert len(list((shop / "levels").iterdir())) == 1


def test_levels_that_were_lost_are_made_again(program, levels, view, shop):
    shutil.rmtree(shop / "levels")
    query = {"from_deg": 0, "to_deg": 720, "width": 100}
    assert levels("angle", **query).status_code == 202
    until = time.monotonic() + 30.0
    while levels("angle", **query).status_code == 202:
        assert time.monotonic() < until
        time.sleep(0.02)
    assert levels("angle", **query).status_code == 200


def test_what_is_deleted_is_gone_from_the_picture_too(program, levels, view, shop):
    assert len(list((shop / "levels").iterdir())) == 1
    with open_store(shop) as store:
        digest = view["levels"].split("/")[3]
        store.recordings.delete(digest, why="asked for by the owner")
    assert list((shop / "levels").iterdir()) == []
    state = program.get(view["levels"]).json()
    assert state["state"] == "failed"
    assert "asked for by the owner" in state["error"]
    answer = levels("angle", from_deg=0, to_deg=720, width=100)
    assert answer.status_code == 400
    assert "asked for by the owner" in answer.json()["error"]


def test_levels_elsewhere_go_when_they_are_asked_for_after_a_deletion(
    program, levels, view, shop, tmp_path
):
    # Another computer of the group deletes the original, and can't reach the levels here.
    digest = view["levels"].split("/")[3]
    saved = shutil.copytree(shop / "levels", tmp_path / "levels")
    with open_store(shop) as store:
        store.recordings.delete(digest, why="asked for by the owner")
    shutil.copytree(saved, shop / "levels", dirs_exist_ok=True)
    assert levels("angle", from_deg=0, to_deg=720, width=100).status_code == 400
    assert list((shop / "levels").iterdir()) == []


def test_a_recording_that_is_kept_has_its_levels_at_once(shop, recordings):
    with open_store(shop) as store:
        cache = LevelsCache(shop / "levels")
        steps = []
        kept = keep_recording(
            store, recordings["new"], levels=cache, progress=lambda *step: steps.append(step)
        )
        at_once = cache.find(key_of_kept(kept))
        assert at_once is not None
        assert [share for _, share in steps] == sorted(share for _, share in steps)
        again = make_levels(store, LevelsCache(shop / "others"), kept)
        assert again.info == at_once.info
        assert np.array_equal(again.bands[1], at_once.bands[1])


def test_other_roles_make_other_levels(shop, recordings):
    with open_store(shop) as store:
        cache = LevelsCache(shop / "levels")
        found = keep_recording(store, recordings["new"], levels=cache)
        cams = {"intake": "exhaust", "exhaust": "intake"}
        stated = keep_recording(store, recordings["new"], crank="crank", cams=cams, levels=cache)
        assert key_of_kept(found) != key_of_kept(stated)
        named = cache.find(key_of_kept(stated)).info.cams
        assert {cam.role: cam.channel for cam in named} == cams


def test_a_full_disk_keeps_the_measurement(shop, recordings, monkeypatch):
    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("crankwise.levels.cache.build_levels", full)
    with open_store(shop) as store:
        cache = LevelsCache(shop / "levels")
        kept = keep_recording(store, recordings["new"], levels=cache)
        assert store.recordings.latest(kept.recording_sha256).id == kept.id
        assert cache.find(key_of_kept(kept)) is None
