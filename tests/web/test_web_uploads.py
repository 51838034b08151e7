"""Files on their way in: names that lead astray, sizes, wrong types, uploads broken off."""

from __future__ import annotations

import asyncio
import errno
import io
import ntpath
import os
import re
import stat
import sys
import time
import zipfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path, PureWindowsPath
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crankwise.document.names import clean_name
from crankwise.errors import NotFoundError, UsageError
from crankwise.web import uploads as module
from crankwise.web.uploads import TooLargeError, Uploads, open_uploads


def run(coroutine):
    """Run a coroutine in a thread: a browser left open by other tests keeps a loop in this one."""
    with ThreadPoolExecutor(max_workers=1) as pool:
        return pool.submit(asyncio.run, coroutine).result()


@pytest.fixture
def folder(tmp_path) -> Path:
    return tmp_path / "uploads"


@pytest.fixture
def uploads(folder) -> Uploads:
    return Uploads(folder, most_bytes=5_000_000)


async def chunks(*parts: bytes):
    for part in parts:
        yield part


def receive(uploads: Uploads, *parts: bytes, name: str = "van.csv"):
    return run(uploads.receive(name, chunks(*parts)))


def left_in(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


# --- names ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "cleaned"),
    [
        ("van.csv", "van.csv"),
        ("../../../etc/passwd", "passwd"),
        ("..\\..\\windows\\win.ini", "win.ini"),
        ("/etc/shadow", "shadow"),
        ("C:\\scope\\van 3.csv", "van 3.csv"),
        ("van.csv\x00.png", "van.csv.png"),
        ("van\r\n.csv", "van.csv"),
        ("van\u202evsc.exe", "van vsc.exe"),
        (".htaccess", "htaccess"),
        ("..", "recording"),
        ("", "recording"),
        ("   ", "recording"),
        ("CON", "_CON"),
        ("nul.csv", "_nul.csv"),
        ("a:b|c?.csv", "a_b_c_.csv"),
        ("van.csv.gz", "van.csv.gz"),
        ("x" * 500 + ".csv", "x" * 116 + ".csv"),
        ("\u00fc" * 500 + ".csv", "\u00fc" * 58 + ".csv"),
        ("\ud800.csv", "csv"),
    ],
)
def test_a_name_is_only_a_label(name, cleaned):
    assert clean_name(name) == cleaned


def is_reserved_on_windows(name: str) -> bool:
    """Ask Python itself, in the way of this version."""
    if sys.version_info >= (3, 13):
        return ntpath.isreserved(name)
    return PureWindowsPath(name).is_reserved()


@pytest.mark.parametrize("device", ["CON", "nul", "COM1", "LPT\u00b9", "conin$", "aux "])
@pytest.mark.parametrize("ending", ["", ".csv", ".tar.gz"])
def test_no_upload_is_named_like_a_device_of_windows(device, ending):
    assert not is_reserved_on_windows(clean_name(device + ending))


@given(st.text(st.characters()))
def test_a_cleaned_name_is_one_plain_name(name):
    # What counts as a path is told by Python's own pathlib, for both kinds of system.
    cleaned = clean_name(name)
    assert Path(cleaned).name == cleaned == PureWindowsPath(cleaned).name
    assert cleaned not in {"", ".", ".."}
    assert not cleaned.startswith(".")
    assert cleaned.isprintable()
    assert len(cleaned.encode()) <= 120
    assert not is_reserved_on_windows(cleaned)
    assert clean_name(cleaned) == cleaned


@pytest.mark.parametrize("name", ["../../van.csv", "/van.csv", "..\\van.csv", "%2e%2e%2fvan.csv"])
def test_an_upload_stays_in_its_folder(program, shop, name, recordings):
    answer = program.put("/api/uploads", params={"name": name}, content=b"time,a\n")
    assert answer.status_code == 201
    assert ("/" in answer.json()["name"]) is False
    [file] = left_in(shop / "uploads")
    assert file.parent.parent == shop / "uploads"
    assert re.fullmatch(r"[0-9a-f]{32}", file.parent.name)
    assert file.parent.name == answer.json()["id"]


def test_only_the_server_reads_its_uploads(uploads, folder):
    upload = receive(uploads, b"x")
    for place in (folder, folder / upload.id):
        assert stat.S_IMODE(place.stat().st_mode) == 0o700


@pytest.mark.parametrize(
    "identifier",
    ["../shop", "..", "", ".", "0" * 31, "0" * 32 + "/..", "A" * 32, "*" * 32, "0" * 32, "0" * 33],
)
def test_an_id_that_was_not_given_leads_nowhere(uploads, folder, identifier):
    receive(uploads, b"x")
    with pytest.raises(NotFoundError):
        uploads.get(identifier)
    with pytest.raises(NotFoundError):
        uploads.remove(identifier)
    assert len(left_in(folder)) == 1


# --- what came ------------------------------------------------------------------------------------


def test_what_comes_is_what_is_kept(program, shop, recordings):
    data = recordings["new"].read_bytes()
    answer = program.put("/api/uploads", params={"name": "van 3.csv"}, content=data)
    assert answer.status_code == 201
    assert answer.json() == {
        "id": answer.json()["id"],
        "name": "van 3.csv",
        "size_bytes": len(data),
    }
    [file] = left_in(shop / "uploads")
    assert file.read_bytes() == data
    assert program.delete(f"/api/uploads/{answer.json()['id']}").status_code == 204
    assert left_in(shop / "uploads") == []


def test_parts_of_any_size_are_put_together(uploads):
    parts = [bytes([number]) * size for number, size in enumerate([1, 70_000, 0, 2_000_000, 3])]
    upload = receive(uploads, *parts)
    with uploads.lend(upload.id) as path:
        assert path.read_bytes() == b"".join(parts)
    assert upload.size_bytes == sum(map(len, parts))


@pytest.mark.parametrize("says_so", [True, False])
def test_a_file_that_is_too_large_is_refused(program, shop, says_so, monkeypatch):
    monkeypatch.setattr(program.app.state.desk.uploads, "most_bytes", 3_000_000)
    data = b"x" * 3_000_001
    answer = program.put(
        "/api/uploads?name=van.csv", content=data if says_so else iter([data[:2_000_000], data])
    )
    assert answer.status_code == 413
    assert "larger" in answer.json()["error"]
    assert left_in(shop / "uploads") == []
    data = data[1:]
    assert program.put("/api/uploads?name=van.csv", content=data).status_code == 201


def test_too_much_is_noticed_while_it_comes(uploads, folder):
    came = []

    async def endless():
        while True:
            came.append(1)
            yield bytes(1_000_000)

    with pytest.raises(TooLargeError):
        run(uploads.receive("van.csv", endless()))
    assert len(came) == 6
    assert left_in(folder) == []


def test_an_empty_file_is_refused(program, shop):
    answer = program.put("/api/uploads?name=van.csv", content=b"")
    assert answer.status_code == 400
    assert answer.json()["error"].startswith("van.csv: the file is empty")
    assert left_in(shop / "uploads") == []


def test_a_length_must_be_said(program):
    # RFC 9110, section 15.5.12; a client that says neither sends no body.
    request = program.build_request("PUT", "/api/uploads?name=van.csv")
    request.headers.pop("content-length", None)
    assert program.send(request).status_code == 411


@pytest.mark.parametrize("broken_by", [ConnectionError, asyncio.CancelledError])
def test_an_upload_broken_off_leaves_nothing(uploads, folder, broken_by):
    async def breaks():
        yield b"x" * 2_000_000
        raise broken_by

    with pytest.raises(broken_by):
        run(uploads.receive("van.csv", breaks()))
    assert left_in(folder) == []
    assert list(folder.iterdir()) == []


def test_a_client_that_goes_away_leaves_nothing(program, key, shop):
    """The ASGI messages of a browser whose tab is closed during the upload."""
    messages = iter(
        [
            {"type": "http.request", "body": b"x" * 2_000_000, "more_body": True},
            {"type": "http.disconnect"},
        ]
    )
    scope = {
        "type": "http", "http_version": "1.1", "method": "PUT", "scheme": "http",
        "path": "/api/uploads", "raw_path": b"/api/uploads", "query_string": b"name=van.csv",
        "root_path": "", "client": ("127.0.0.1", 5), "server": ("127.0.0.1", 8720),
        "headers": [
            (b"host", b"localhost"), (b"authorization", f"Bearer {key}".encode()),
            (b"content-length", b"3000000"),
        ],
    }  # fmt: skip
    sent = []

    async def receive_next():
        return next(messages)

    async def send(message):
        sent.append(message)

    program.portal.call(program.app, scope, receive_next, send)
    assert sent[0]["status"] == 400
    assert list((shop / "uploads").iterdir()) == []


def test_a_full_disk_is_told_and_leaves_nothing(program, shop, monkeypatch):
    class Full(io.BytesIO):
        def write(self, _data):
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(module.Path, "open", lambda *_: Full())
    answer = program.put("/api/uploads?name=van.csv", content=b"x")
    monkeypatch.undo()
    assert answer.status_code == 507
    assert answer.json()["error"].startswith("The disk of this server is full.")
    assert list((shop / "uploads").iterdir()) == []


# --- lent and gone --------------------------------------------------------------------------------


def test_a_file_goes_once_it_is_used(uploads, folder):
    upload = receive(uploads, b"x", name="../van.csv")
    with uploads.take(upload.id) as path:
        assert path.name == "van.csv"
    assert left_in(folder) == []
    with pytest.raises(NotFoundError, match="send the file again"):
        uploads.get(upload.id)


def test_a_file_stays_for_another_try(uploads):
    upload = receive(uploads, b"x")
    with pytest.raises(ValueError, match="no good"), uploads.take(upload.id):
        raise ValueError("no good")
    assert uploads.get(upload.id) == upload


def test_a_file_is_lent_to_one_at_a_time(uploads):
    upload = receive(uploads, b"x")
    with (
        uploads.lend(upload.id),
        pytest.raises(UsageError, match="already"),
        uploads.take(upload.id),
    ):
        pass
    with uploads.lend(upload.id):
        pass


def test_what_lies_about_for_a_day_is_deleted(tmp_path):
    store = SimpleNamespace(folder=tmp_path)
    with open_uploads(store, most_bytes=10) as uploads:
        old, young = receive(uploads, b"old"), receive(uploads, b"young")
    (tmp_path / "uploads" / "something-else").mkdir()
    for name, age_s in ((old.id, 86_500), (young.id, 86_300), ("something-else", 90_000)):
        when = time.time() - age_s
        os.utime(tmp_path / "uploads" / name, (when, when))
    with open_uploads(store, most_bytes=10) as uploads:
        names = {path.name for path in (tmp_path / "uploads").iterdir()}
        assert names == {young.id, "something-else"}
        assert uploads.get(young.id) == young


def test_beside_a_database_elsewhere_there_is_a_folder_for_now():
    with open_uploads(SimpleNamespace(folder=None), most_bytes=10) as uploads:
        upload = receive(uploads, b"x")
        with uploads.lend(upload.id) as path:
            there = path.parents[1]
            assert there.is_dir()
    assert not there.exists()


# --- wrong types ----------------------------------------------------------------------------------

PNG = b"\x89PNG\r\n\x1a\n" + bytes(200)


def packed(**files: bytes) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as bundle:
        for name, data in files.items():
            bundle.writestr(name, data)
    return held.getvalue()


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("van.csv", PNG, "this is a PNG picture, not a recording"),
        ("van.png", PNG, "this is a PNG picture"),
        ("van.csv", b"%PDF-1.7 \x00\x01", "this is a PDF document"),
        ("van.csv", bytes(range(256)) * 40, "no reader knows this content"),
    ],
)
def test_what_is_no_recording_is_refused_at_once(program, shop, name, data, words):
    upload = program.put(f"/api/uploads?name={name}", content=data).json()
    before = program.get("/api/visits/2").json()
    answer = program.post("/api/visits/2/recordings", json={"uploads": [upload["id"]]})
    assert answer.status_code == 415
    assert words in answer.json()["error"]
    assert name in answer.json()["error"]
    assert str(shop) not in answer.json()["error"]
    assert left_in(shop / "uploads") == []
    assert program.get("/api/visits/2").json() == before


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"dear all,\nthe van is ready\n" * 40, "van.csv"),
        (packed(a=PNG), "no recording inside"),
        (
            b"Time [s],a\n" + b"".join(b"%g,0\n" % (i * 1e-4) for i in range(5000)),
            "nothing changes in any channel",
        ),
    ],
)
def test_what_turns_out_to_be_none_is_not_kept(program, shop, finished, data, words):
    upload = program.put("/api/uploads?name=van.csv", content=data).json()
    before = program.get("/api/visits/2").json()
    answer = program.post("/api/visits/2/recordings", json={"uploads": [upload["id"]]})
    assert answer.status_code == 202
    work = finished(answer.json())
    assert work["state"] == "failed"
    assert words in work["error"]
    assert "\n" not in work["error"]
    assert str(shop) not in work["error"]
    assert program.get("/api/visits/2").json() == before


@pytest.mark.parametrize("data", [PNG, b"{}", packed(a=b"{}"), packed(**{"a.json": b"{}"})])
def test_what_is_no_known_good_is_refused(program, shop, data):
    upload = program.put("/api/uploads?name=shelf.zip", content=data).json()
    answer = program.post("/api/imports/known-goods", json={"upload": upload["id"]})
    assert answer.status_code in {200, 415}
    told = answer.json().get("error") or answer.json()["conflicts"][0]["why"]
    assert str(shop) not in told
    assert left_in(shop / "uploads") == []
    assert len(program.get("/api/known-goods").json()) == 1
