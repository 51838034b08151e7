"""Batches, uploads, watches and result files that are killed at any moment."""

from __future__ import annotations

import http.client
import json
import os
import shutil
import signal
import socket
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final

from attacks.children import Tell
from attacks.store_kills import Kind, recorded, simulated, unsound
from crankwise import document
from crankwise.store import open_store

RECORDINGS: Final = 4
_UPLOADED_BYTES: Final = 300_000


# --- batch --------------------------------------------------------------------------------------


class _Here:
    """Workers that measure in this process, so that a kill takes them along."""

    count = 1

    def measure(self, handfuls: Sequence[Sequence[Any]]) -> Iterator[Any]:
        """Measure one recording after the other."""
        from crankwise.batch.cluster import Done  # noqa: PLC0415  loads polars, in a child only
        from crankwise.batch.work import measure_all  # noqa: PLC0415

        plan = _plan()
        for sources in handfuls:
            for source in sources:
                yield Done((source,), measure_all((source,), plan))


@contextmanager
def _here(*_given: object, **_named: object) -> Iterator[_Here]:
    yield _Here()


def _plan() -> Any:
    from crankwise.batch import Plan  # noqa: PLC0415

    return Plan()


def _run_batch(folder: Path) -> Any:
    """The batch itself, each recording kept in a part of its own at once."""
    from crankwise.batch import run  # noqa: PLC0415
    from crankwise.batch.sources import find_sources  # noqa: PLC0415

    vars(run).update(workers=_here, _KEEP_S=0.0)  # in this child only
    found = find_sources([str(folder / "recordings")])
    return run.run_batch(found.sources, _plan(), folder / "out.parquet")


def _make_recordings(folder: Path, _number: int) -> None:
    (folder / "recordings").mkdir()
    for number in range(RECORDINGS):
        simulated(folder / "recordings" / f"{number}.csv", seed=number)


def _batch(folder: Path, tell: Tell) -> None:
    summary = _run_batch(folder)
    tell(f"measured {summary.measured}")


def _lost_of_batch(folder: Path, said: Sequence[str]) -> list[str]:
    """The table is whole or absent, and the same command goes on to the whole one."""
    import polars as pl  # noqa: PLC0415

    lost = []
    table = folder / "out.parquet"
    if said and not table.exists():
        lost.append("the table that was told is gone")
    if table.exists() and pl.read_parquet(table)["path"].n_unique() != RECORDINGS:
        lost.append("the table is there in part")
    parts = list((folder / "out.parquet.parts").glob("*.parquet"))
    summary = _run_batch(folder)
    if summary.measured != RECORDINGS or summary.from_before < (0 if said else len(parts)):
        lost.append(f"{summary.measured} measured, {summary.from_before} of {len(parts)} kept")
    if list(folder.glob("*.parts")):
        lost.append("parts are left")
    for path in folder.glob("*.parquet"):
        path.unlink()
    for path in folder.glob(".*"):
        path.unlink()  # what a kill left beside the table
    return lost


# --- uploads ------------------------------------------------------------------------------------


def _make_shelf(folder: Path, _number: int) -> None:
    with open_store(folder / "shelf") as store:
        (folder / "key").write_text(store.shop.add_key("the attack"), encoding="ascii")


def _serve(folder: Path, tell: Tell) -> None:
    """The server in this process, and a client in one of its own that tells what was answered."""
    import uvicorn  # noqa: PLC0415

    from crankwise.web.app import create_app  # noqa: PLC0415
    from crankwise.web.settings import Settings  # noqa: PLC0415

    bound = socket.create_server(("127.0.0.1", 0))
    port = bound.getsockname()[1]
    server = os.getpid()
    if os.fork() == 0:
        bound.close()
        with suppress(OSError, http.client.HTTPException):  # the server was killed
            _send(port, (folder / "key").read_text(encoding="ascii"), tell)
            os.kill(server, signal.SIGKILL)  # all is sent
        os._exit(0)
    app = create_app(Settings(store=str(folder / "shelf"), port=port))
    config = uvicorn.Config(app, log_level="critical", access_log=False)
    uvicorn.Server(config).run(sockets=[bound])


def _send(port: int, key: str, tell: Tell) -> None:
    headers = {"Authorization": f"Bearer {key}"}
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    for number in range(6):
        connection.request(
            "PUT",
            f"/api/uploads?name={number}.csv",
            body=_upload(number),
            headers=headers | {"Content-Type": "application/octet-stream"},
        )
        answer = connection.getresponse()
        body = json.loads(answer.read())
        if answer.status == 201:
            tell(f"upload {body['id']} {number}")
        connection.request(
            "POST", "/api/jobs", body=json.dumps({"vehicle": f"van {time.monotonic_ns()}"}),
            headers=headers | {"Content-Type": "application/json"},
        )  # fmt: skip
        answer = connection.getresponse()
        body = json.loads(answer.read())
        if answer.status == 201:
            tell(f"job {body['job']['id']}")


def _upload(number: int) -> bytes:
    return f"{number},".encode() * (_UPLOADED_BYTES // 2)


def _lost_of_uploads(folder: Path, said: Sequence[str]) -> list[str]:
    """What was answered is there for the next server, and nothing half is offered as whole."""
    from crankwise.web.uploads import open_uploads  # noqa: PLC0415

    lost = unsound(folder / "shelf")
    with (
        open_store(folder / "shelf") as store,
        open_uploads(store, most_bytes=_UPLOADED_BYTES) as uploads,
    ):
        jobs = {file.job.id for file in store.jobs.list()}
        for line in said:
            kind, identifier, *rest = line.split(" ")
            if kind == "job":
                is_there = int(identifier) in jobs
            else:
                with uploads.lend(identifier) as path:
                    is_there = path.read_bytes() == _upload(int(rest[0]))
            if not is_there:
                lost.append(f"lost: {line}")
        for path in (folder / "shelf" / "uploads").glob("*/[!.]*"):
            if path.stat().st_size != _UPLOADED_BYTES:
                lost.append(f"half an upload is offered: {path.name}")
    return lost


# --- result files -------------------------------------------------------------------------------


def _make_results(folder: Path, _number: int) -> None:
    document.save(recorded(0), folder / "measurement.json")
    with open_store(folder / "shelf") as store:
        for number in range(3):
            store.shelf.add(recorded(number), family="Tarn T20")
        store.shelf.export(folder / "bundle.zip")
    (folder / "report.html").write_bytes(_report(0))


def _report(number: int) -> bytes:
    return f"report {number}".encode() * 40_000


def _write_results(folder: Path, tell: Tell) -> None:
    with open_store(folder / "shelf") as store:
        for number in range(1, 4):
            document.save(recorded(number), folder / "measurement.json")
            tell(f"measurement.json {number}")
            store.shelf.export(folder / "bundle.zip")
            tell(f"bundle.zip {number}")
            document.write_whole(folder / "report.html", _report(number), keep_sha256=())
            tell(f"report.html {number}")
    store.back_up(folder / "copy")
    tell("copy 1")


def _lost_results(folder: Path, said: Sequence[str]) -> list[str]:
    """Each result is the one told last or the one after it, whole; so is the backup."""
    lost = []
    least = {name: int(number) for name, number in (line.split(" ") for line in said)}
    whole = {recorded(number).recording.sha256: number for number in range(4)}
    number = whole[document.load(folder / "measurement.json").recording.sha256]
    if number not in (least.get("measurement.json", 0), least.get("measurement.json", 0) + 1):
        lost.append(f"measurement.json is of {number}")
    data = (folder / "report.html").read_bytes()
    if data not in [_report(least.get("report.html", 0) + more) for more in (0, 1)]:
        lost.append("report.html is torn")
    with open_store(folder / "again") as store:
        if len(store.shelf.import_file(folder / "bundle.zip").added) != 3:
            lost.append("bundle.zip is torn")
    copy = folder / "copy"
    if copy.exists():
        lost += unsound(copy)
    elif "copy" in least:
        lost.append("the backup is gone")
    for path in (copy, folder / "again"):
        shutil.rmtree(path, ignore_errors=True)
    return lost


# --- watching -----------------------------------------------------------------------------------


def _make_exports(folder: Path, number: int) -> None:
    (folder / "exports").mkdir()
    for index in range(RECORDINGS):
        simulated(
            folder / "exports" / f"van-{index} 2026-03-0{index + 1} 46,200 miles.csv",
            seed=RECORDINGS * number + index,
        )


def _watch(folder: Path, tell: Tell) -> None:
    from crankwise.watch.watcher import Manner, Watcher  # noqa: PLC0415

    with open_store(folder / "shelf") as store:
        watcher = Watcher(
            store,
            folder / "exports",
            tell=lambda seen: tell(f"seen {seen.sha256} {seen.visit_id}"),
            manner=Manner(polls=True, settle_s=0.05),
        )
        watcher.take_all()
        watcher.close()


def _lost_of_watch(folder: Path, said: Sequence[str]) -> list[str]:
    """What was told is kept with its visit; the next watch takes the rest, and nothing twice."""
    lost = unsound(folder / "shelf")
    with open_store(folder / "shelf") as store:
        for line in said:
            _, sha256, visit = line.split(" ")
            recordings = store.jobs.file_of_visit(int(visit)).visits[0].recordings
            if sha256 not in {one.recording.sha256 for one in recordings}:
                lost.append(f"lost: {line}")
    _watch(folder, lambda _line: None)
    with open_store(folder / "shelf") as store:
        visits = [visit for file in store.jobs.list() for visit in file.visits]
        if [len(visit.recordings) for visit in visits] != [1] * RECORDINGS:
            lost.append(f"{len(visits)} visits of {RECORDINGS} recordings")
    lost += unsound(folder / "shelf")
    shutil.rmtree(folder / "shelf")
    return lost


def kinds() -> Iterator[tuple[Kind, int]]:
    """Each kind of work on files, and its share of a thousand kills."""
    yield Kind(
        f"a batch of {RECORDINGS} recordings", _make_recordings, _batch, _lost_of_batch,
        together=150,
    ), 150  # fmt: skip
    yield Kind(
        "the server, while uploads and jobs come in", _make_shelf, _serve, _lost_of_uploads,
        together=20,
    ), 100  # fmt: skip
    yield Kind(
        "writing results: document, bundle, report, backup", _make_results, _write_results,
        _lost_results,
    ), 100  # fmt: skip
    yield Kind(
        f"watching a folder of {RECORDINGS} recordings", _make_exports, _watch, _lost_of_watch,
        together=50,
    ), 50  # fmt: skip
