"""The page of the watched folder: what came in, with or without a watch of its own."""

from __future__ import annotations

import shutil
import time

import pytest
from fastapi.testclient import TestClient

from crankwise.store import open_store
from crankwise.watch import Watcher
from crankwise.web.app import create_app
from crankwise.web.settings import Settings

HERE = "http://localhost:8720"
pytest.importorskip("watchfiles", reason="watching is an extra: install crankwise[watch]")


@pytest.fixture
def exports(tmp_path):
    folder = tmp_path / "exports"
    folder.mkdir()
    return folder


def taken(shop, exports):
    """What a watch of another process leaves in the store."""
    with open_store(shop) as store:
        seen = []
        watcher = Watcher(store, exports, tell=seen.append)
        watcher.take_all()
        watcher.close()
    return {one.file.path: one for one in seen}


def test_without_a_watch_it_says_how_to_begin_one(local):
    text = local.get("/watching").text
    assert "crankwise serve --watch FOLDER" in text
    assert "Nothing yet" in text
    assert "events?after=0" in text


def test_what_another_watch_saw_is_shown_and_leads_to_its_result(local, shop, exports, recordings):
    shutil.copy(recordings["new"], exports / "CH001.csv")
    shutil.copy(recordings["worn"], exports / "van-5 2026-02-04 121900 miles.csv")
    (exports / "notes.txt").write_text("call the owner\n")
    seen = taken(shop, exports)
    text = local.get("/watching").text
    assert f"events?after={max(one.id for one in seen.values())}" in text
    for name, one in seen.items():
        assert f'id="seen-{one.id}"' in text
        assert name in text
    alone, with_visit = seen["CH001.csv"], seen["van-5 2026-02-04 121900 miles.csv"]
    assert f'<a href="/watching/{alone.id}">CH001.csv</a>' in text
    assert f'<a href="/visits/{with_visit.visit_id}">' in text
    assert local.get(f"/visits/{with_visit.visit_id}").status_code == 200
    assert '<th scope="row">notes.txt</th>' in text
    page = local.get(f"/watching/{alone.id}").text
    assert alone.comparison.verdict.summary in page
    drawn = local.get(f"/watching/{alone.id}/picture.svg")
    assert drawn.headers["content-type"] == "image/svg+xml"
    assert "</svg>" in drawn.text


def test_a_measurement_without_comparison_has_a_page_too(shop, exports, recordings, tmp_path):
    shutil.copy(recordings["new"], exports / "CH001.csv")
    [seen] = taken(tmp_path / "empty", exports).values()
    settings = Settings(store=str(tmp_path / "empty"))
    with TestClient(create_app(settings), base_url=HERE) as client:
        text = client.get(f"/watching/{seen.id}").text
        assert "no known-good on the shelf has the pattern of this recording" in text
        assert "± " in text
        assert "</svg>" in client.get(f"/watching/{seen.id}/picture.svg").text


def test_what_there_is_not_is_not_found(local, shop, exports):
    (exports / "notes.txt").write_text("call the owner\n")
    [seen] = taken(shop, exports).values()
    assert local.get("/watching/999").status_code == 404
    assert local.get("/watching/0").status_code == 422
    assert local.get(f"/watching/{seen.id}/picture.svg").status_code == 404
    assert "call" in local.get(f"/watching/{seen.id}").text  # its remark quotes the file


def test_the_server_watches_a_folder_itself(shop, exports, recordings):
    settings = Settings(store=str(shop), watch=str(exports))
    with TestClient(create_app(settings), base_url=HERE) as client:
        assert str(exports) in client.get("/watching").text
        shutil.copy(recordings["new"], exports / "CH001.csv")
        until = time.monotonic() + 20.0
        while "CH001.csv" not in client.get("/watching").text:
            assert time.monotonic() < until, "it was not taken"
            time.sleep(0.05)
        desk = client.app.state.desk
        desk.watching.warn("the disk is full: free some space")
        assert "The disk is full: free some space." in client.get("/watching").text
