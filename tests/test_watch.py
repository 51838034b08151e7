"""A watched folder: complete files only, each once, whatever happens to files, folder and store."""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from typer.testing import CliRunner

from crankwise.cli.app import app
from crankwise.errors import UsageError
from crankwise.model.measurement import Provenance
from crankwise.model.shelf import Grade
from crankwise.store import open_store
from crankwise.testing.simulate import simulate_to_file
from crankwise.testing.simulate.visits import van_at
from crankwise.watch import Manner, Watcher, settling, taking
from crankwise.watch.files import is_closed, listing, state_of
from crankwise.watch.settling import HELD_S, Settling
from crankwise.watch.taking import NotYet, Taking
from crankwise.workshop.finding import find_job
from crankwise.workshop.shelving import shelve_file

pytest.importorskip("watchfiles", reason="watching is an extra: install crankwise[watch]")

PATIENCE_S = 60.0


@pytest.fixture(scope="module")
def recordings(tmp_path_factory):
    """A known-good and three others, as lists of state changes, which are small."""
    folder = tmp_path_factory.mktemp("recordings")
    for number, van in enumerate(("van-1", "van-3", "van-5", "van-2")):
        spec = van_at(van, mileage=9_000, chain_fitted_at=0)
        scope = replace(
            spec.scope, kind="events", interval_s=None, resolution_s=1e-7, duration_s=1.2
        )
        simulate_to_file(replace(spec, scope=scope), folder / f"{van}.csv", seed=number + 1)
    return folder


@pytest.fixture(scope="module")
def shelf(recordings, tmp_path_factory):
    """A store with one known-good, to be copied."""
    folder = tmp_path_factory.mktemp("shelf")
    with open_store(folder) as store:
        shelve_file(
            store, recordings / "van-1.csv", family="Tarn T20", provenance=Provenance(),
            grade=Grade(fresh_chain=True),
        )  # fmt: skip
    return folder


@pytest.fixture
def store(shelf, tmp_path):
    shutil.copytree(shelf, tmp_path / "store")
    with open_store(tmp_path / "store") as opened:
        yield opened


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "exports"
    made.mkdir()
    return made


class Watch:
    """A watch of a folder, and what it has told so far."""

    def __init__(self, store, folder, **manner):
        self.seen, self.warned = [], []
        self._watcher = Watcher(
            store, folder, tell=self.seen.append, warn=self.warned.append, manner=Manner(**manner)
        )

    def __enter__(self):
        self._watcher.start()
        return self

    def __exit__(self, *_):
        self._watcher.close()

    def until(self, count: int) -> list:
        return wait_until(lambda: len(self.seen) >= count and self.seen)


def wait_until(found):
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        if value := found():
            return value
        time.sleep(0.02)
    pytest.fail("it did not come in time")


def take_once(store, folder, **manner):
    """Take what is there now; what a watch of its own process would tell."""
    seen = []
    watcher = Watcher(store, folder, tell=seen.append, manner=Manner(**manner))
    watcher.take_all()
    watcher.close()
    return seen


# --- complete or not ----------------------------------------------------------------------------


class Clock:
    def __init__(self):
        self.now = 100.0

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


def waited(folder, clock, **settings):
    made = Settling(folder, settle_s=settings.get("settle_s", 0.5), clock=clock)
    for file in listing(folder).values():
        made.expect(file, is_new=True)
    return made


@pytest.mark.parametrize(
    "case",
    [(True, 0.2, True), (None, 0.5, False), (None, HELD_S, True), (False, HELD_S, True)],
    ids=["closed", "can't be told", "can't be told, long still", "held open, long still"],
)
def test_a_file_is_complete_once_it_was_still_for_long_enough(folder, clock, monkeypatch, case):
    closed, still_s, is_sure = case
    (folder / "a.csv").write_text("0,1\n")
    monkeypatch.setattr(settling, "is_closed", lambda _path: closed)
    waiting = waited(folder, clock)
    clock.now += still_s - 0.01
    before = waiting.next()
    # A file that can't be told to be closed is taken at half a second too, only not for certain.
    assert before is None or (closed is None and still_s == HELD_S and not before.is_sure)
    clock.now += 0.02
    assert waiting.next().is_sure is is_sure


def test_a_file_that_grows_is_waited_for_anew(folder, clock, monkeypatch):
    monkeypatch.setattr(settling, "is_closed", lambda _path: None)
    path = folder / "a.csv"
    path.write_text("0,1\n")
    waiting = waited(folder, clock)
    for _ in range(5):
        clock.now += 0.4
        path.write_text(path.read_text() + "1,1\n")
        assert waiting.next() is None
    clock.now += 0.6
    assert waiting.next().file == state_of(folder, "a.csv")


def test_a_locked_file_is_waited_for(folder, clock, monkeypatch):
    """As Windows has it: a file that is being written can't be opened."""

    def locked(_path):
        raise PermissionError

    (folder / "a.csv").write_text("0,1\n")
    waiting = waited(folder, clock)
    monkeypatch.setattr(settling, "is_closed", locked)
    clock.now += 5.0
    assert waiting.next() is None
    monkeypatch.setattr(settling, "is_closed", lambda _path: None)
    assert waiting.next() is not None


def test_what_comes_while_watching_goes_before_what_lay_there(folder, clock, monkeypatch):
    monkeypatch.setattr(settling, "is_closed", lambda _path: True)
    waiting = Settling(folder, settle_s=0.5, clock=clock)
    for number, name in enumerate(("old-1.csv", "old-2.csv", "new.csv")):
        (folder / name).write_text("0,1\n")
        os.utime(folder / name, (1e9 + number, 1e9 + number))
        waiting.expect(state_of(folder, name), is_new=name == "new.csv")
    clock.now += 1.0
    order = []
    while (settled := waiting.next()) is not None:
        order.append(settled.file.path)
        waiting.forget(settled.file.path)
    assert order == ["new.csv", "old-1.csv", "old-2.csv"]


def test_a_file_that_goes_is_forgotten(folder, clock):
    (folder / "a.csv").write_text("0,1\n")
    waiting = waited(folder, clock)
    (folder / "a.csv").unlink()
    clock.now += 1.0
    assert waiting.next() is None
    assert len(waiting) == 0


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux can tell")
def test_linux_tells_a_file_that_is_open_for_writing(folder):
    path = folder / "a.csv"
    path.write_text("0,1\n")
    assert is_closed(path) in (True, None)
    if is_closed(path) is None:
        pytest.skip("this file system grants no leases")
    with path.open("a"):
        assert is_closed(path) is False
    with path.open():
        assert is_closed(path) is True  # reading disturbs nobody


def test_hidden_and_temporary_files_are_passed_over(folder):
    for name in (".hidden.csv", "~lock.csv", "a.csv.part", "b.TMP", "seen.csv"):
        (folder / name).touch()
    (folder / ".git").mkdir()
    (folder / ".git" / "c.csv").touch()
    assert list(listing(folder)) == ["seen.csv"]
    assert listing(folder / "nowhere") is None


# --- what is taken ------------------------------------------------------------------------------


def test_a_recording_is_measured_compared_and_kept_as_it_is(store, folder, recordings):
    file = folder / "CH001.csv"
    shutil.copy2(recordings / "van-3.csv", file)
    before = file.read_bytes(), file.stat().st_mtime_ns
    with Watch(store, folder) as watch:
        [seen] = watch.until(1)
    assert (seen.file.path, seen.outcome) == ("CH001.csv", "compared")
    assert seen.comparison.verdict.level == "in-time"
    assert seen.text == "against 1 known-good of Tarn T20"
    assert (file.read_bytes(), file.stat().st_mtime_ns) == before
    with store.recordings.original(seen.sha256) as kept:
        assert kept.read_bytes() == before[0]
    assert store.watched.newest(5) == (seen,)


def test_without_a_known_good_it_is_measured(folder, recordings, tmp_path):
    shutil.copy(recordings / "van-3.csv", folder / "a.csv")
    with open_store(tmp_path / "empty") as empty:
        [seen] = take_once(empty, folder)
    assert (seen.outcome, seen.comparison) == ("measured", None)
    assert len(seen.measurement.cams) == 2
    assert "no known-good on the shelf has the pattern of this recording" in seen.text


def test_the_family_named_is_compared_with(store, folder, recordings):
    shutil.copy(recordings / "van-3.csv", folder / "a.csv")
    [seen] = take_once(store, folder, family="Fell V6")
    assert seen.outcome == "measured"
    assert "there is no engine family 'Fell V6' on the shelf" in seen.text


def test_a_name_that_tells_the_vehicle_puts_it_into_its_file(store, folder, recordings):
    (folder / "van-3").mkdir()
    shutil.copy(recordings / "van-3.csv", folder / "van-3" / "2026-03-01 9,000 miles.csv")
    # Without a date the day on which it was saved counts.
    shutil.copy(recordings / "van-5.csv", folder / "van-5 9100 miles.csv")
    os.utime(folder / "van-5 9100 miles.csv", (1_770_000_000, 1_770_000_000))
    for seen in take_once(store, folder):
        assert seen.outcome == "compared"
        file = store.jobs.file_of_visit(seen.visit_id)
        assert seen.text.startswith(f"{file.vehicle.label}, {file.visits[0].visit.date}, 9,")
    for van, day, miles in (
        ("van-3", "2026-03-01", 9000.0),
        ("van-5", datetime.fromtimestamp(1_770_000_000, UTC).astimezone().date().isoformat(), 9100),
    ):
        [visit] = find_job(store, van).visits
        assert (visit.visit.date, visit.visit.mileage) == (day, miles)
        assert [len(visit.measurements), len(visit.comparisons)] == [1, 1]


def test_bad_files_get_a_line_each_and_stop_nothing(store, folder, recordings):
    (folder / "notes.txt").write_text("call the owner\n")
    (folder / "empty.csv").touch()
    (folder / "shot.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(200))
    (folder / "noise.bin").write_bytes(os.urandom(5000))
    (folder / "flat.csv").write_text("t,a\n" + "".join(f"{i * 1e-5},0\n" for i in range(2000)))
    (folder / "saved.json").write_text('{"format": "crankwise.measurement/1"}')
    shutil.copy(recordings / "van-3.csv", folder / "good.csv")
    seen = {one.file.path: one for one in take_once(store, folder)}
    bad = {"notes.txt", "empty.csv", "shot.png", "noise.bin", "flat.csv"}
    assert set(seen) == bad | {"good.csv"}  # a saved document is no recording, and no failure
    assert {seen[name].outcome for name in bad} == {"refused"}
    assert all("\n" not in seen[name].text and name in seen[name].text for name in bad)
    assert seen["good.csv"].outcome == "compared"


def test_a_defect_of_ours_is_one_line_too(store, folder, recordings, monkeypatch):
    def broken(_recording):
        raise ZeroDivisionError("by nought")

    monkeypatch.setattr(taking.pipeline, "measure", broken)
    shutil.copy(recordings / "van-3.csv", folder / "a.csv")
    [seen] = take_once(store, folder)
    assert seen.outcome == "refused"
    assert "something went wrong inside Crankwise (ZeroDivisionError: by nought)" in seen.text


def test_a_truncated_file_is_told_and_taken_again_once_it_is_whole(store, folder, recordings):
    whole = (recordings / "van-3.csv").read_bytes()
    (folder / "a.csv").write_bytes(whole[:300])
    with Watch(store, folder) as watch:
        [cut] = watch.until(1)
        (folder / "a.csv").write_bytes(whole)
        second = watch.until(2)[1]
    assert cut.outcome in {"refused", "measured"}
    assert cut.comparison is None
    assert (second.outcome, second.sha256) == ("compared", hashlib.sha256(whole).hexdigest())


def test_a_file_growing_while_it_is_read_is_not_yet_taken(store, folder, recordings, monkeypatch):
    path = folder / "a.csv"
    shutil.copy(recordings / "van-3.csv", path)
    measure = taking.pipeline.measure

    def measure_while_it_grows(recording):
        path.write_bytes(path.read_bytes() + b"\n")
        return measure(recording)

    monkeypatch.setattr(taking.pipeline, "measure", measure_while_it_grows)
    with pytest.raises(NotYet):
        Taking(store, folder, family=None).take(state_of(folder, "a.csv"), is_sure=True)
    assert store.watched.newest(5) == ()


def test_a_file_whose_last_row_is_unfinished_may_go_on(store, folder, recordings, monkeypatch):
    """On a share nothing tells that it is still written but its own end."""
    whole = (recordings / "van-3.csv").read_bytes()
    (folder / "a.csv").write_bytes(whole[: whole.rindex(b",")])
    take = Taking(store, folder, family=None).take
    with pytest.raises(NotYet):
        take(state_of(folder, "a.csv"), is_sure=False)
    assert take(state_of(folder, "a.csv"), is_sure=True).outcome == "compared"


@pytest.mark.parametrize("told", [True, False], ids=["held open", "on a share"])
def test_a_file_written_slowly_is_taken_once_and_whole(
    store, folder, recordings, monkeypatch, told
):
    if not told:
        monkeypatch.setattr(settling, "is_closed", lambda _path: None)
    elif sys.platform != "linux":
        pytest.skip("only Linux can tell")
    whole = (recordings / "van-3.csv").read_bytes()
    pieces = [whole[start : start + 2500] for start in range(0, len(whole), 2500)]

    def write():
        with (folder / "a.csv").open("wb") as file:
            for piece in pieces:
                file.write(piece)
                file.flush()
                time.sleep(0.15)

    with Watch(store, folder, settle_s=0.6) as watch:
        writer = threading.Thread(target=write)
        writer.start()
        writer.join()
        [seen] = watch.until(1)
        time.sleep(0.5)
        assert watch.seen == [seen]
    assert seen.sha256 == hashlib.sha256(whole).hexdigest()


# --- each once ----------------------------------------------------------------------------------


def test_what_was_done_is_remembered_and_what_came_meanwhile_is_taken(store, folder, recordings):
    shutil.copy(recordings / "van-3.csv", folder / "a.csv")
    (folder / "notes.txt").write_text("call the owner\n")
    assert len(take_once(store, folder)) == 2
    assert take_once(store, folder) == []
    shutil.copy(recordings / "van-5.csv", folder / "b.csv")
    with Watch(store, folder) as watch:
        [seen] = watch.until(1)
    assert (seen.file.path, seen.outcome) == ("b.csv", "compared")


def test_the_same_bytes_again_are_told_and_not_measured(store, folder, recordings, monkeypatch):
    shutil.copy(recordings / "van-3.csv", folder / "a.csv")
    take_once(store, folder)
    monkeypatch.setattr(taking, "_measurement", lambda *_args, **_kw: pytest.fail("measured"))
    shutil.copy(folder / "a.csv", folder / "b.csv")
    (folder / "a.csv").rename(folder / "c.csv")
    seen = sorted((one.file.path, one.outcome, one.text) for one in take_once(store, folder))
    assert seen == [
        (name, "repeated", "the same recording as a.csv") for name in ("b.csv", "c.csv")
    ]
    assert len(store.recordings.list()) == 2  # with the known-good


def test_a_name_that_now_tells_the_vehicle_puts_it_into_its_file(store, folder, recordings):
    shutil.copy(recordings / "van-3.csv", folder / "CH001.csv")
    take_once(store, folder)
    (folder / "CH001.csv").rename(folder / "van-3 2026-03-01 9000 miles.csv")
    [seen] = take_once(store, folder)
    assert seen.outcome == "compared"
    assert seen.text.endswith("the same recording as CH001.csv")
    [visit] = find_job(store, "van-3").visits
    assert visit.visit.id == seen.visit_id
    # And back: nothing new is told of it.
    (folder / "van-3 2026-03-01 9000 miles.csv").rename(folder / "van-3 2026-03-01 9,000 miles.csv")
    [again] = take_once(store, folder)
    assert again.outcome == "repeated"
    assert len(find_job(store, "van-3").visits) == 1


def test_a_recording_the_store_knows_is_measured_as_it_was_told_to_be(
    store, folder, recordings, monkeypatch
):
    """What a person said of its channels goes before what the watch would guess."""
    from crankwise.workshop.recording import keep_recording  # noqa: PLC0415

    keep_recording(store, recordings / "van-3.csv", crank="crank", cams={"cam-1": "intake"})
    monkeypatch.setattr(taking, "_measurement", lambda *_args, **_kw: pytest.fail("measured"))
    shutil.copy(recordings / "van-3.csv", folder / "a.csv")
    [seen] = take_once(store, folder)
    assert [cam.role for cam in seen.measurement.cams] == ["cam-1"]


# --- folder and store come and go ---------------------------------------------------------------


@pytest.mark.parametrize("polls", [False, True], ids=["by notices", "by looking"])
def test_a_folder_may_go_and_come_back(store, folder, recordings, polls):
    with Watch(store, folder, polls=polls, settle_s=0.3) as watch:
        shutil.copy(recordings / "van-3.csv", folder / "a.csv")
        watch.until(1)
        shutil.rmtree(folder)
        time.sleep(0.3)
        (folder / "day-2").mkdir(parents=True)
        shutil.copy(recordings / "van-5.csv", folder / "day-2" / "b.csv")
        second = watch.until(2)[1]
        assert (second.file.path, second.outcome) == ("day-2/b.csv", "compared")
        (folder / "day-2").rename(folder / "day-3")
        third = watch.until(3)[2]
    assert (third.file.path, third.outcome) == ("day-3/b.csv", "repeated")
    assert watch.warned == []


def test_while_the_store_fails_nothing_is_lost(store, folder, recordings, monkeypatch):
    from crankwise.watch import watcher  # noqa: PLC0415

    monkeypatch.setattr(watcher, "_PAUSE_S", 0.05)
    add, failures = store.recordings.add, [UsageError("the disk is full: free some space")] * 2

    def add_or_fail(source):
        if failures:
            raise failures.pop()
        return add(source)

    monkeypatch.setattr(store.recordings, "add", add_or_fail)
    with Watch(store, folder) as watch:
        shutil.copy(recordings / "van-3.csv", folder / "a.csv")
        [seen] = watch.until(1)
    assert seen.outcome == "compared"
    assert len(watch.warned) == 2
    assert "the disk is full: free some space; it is tried again" in watch.warned[0]


# --- the command --------------------------------------------------------------------------------


@pytest.fixture
def start():
    """Start the command; what still runs in the end is killed."""
    running = []

    def started(folder, store, *options):
        code = "from crankwise.cli import main; main()"
        path = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path), "PYTHONIOENCODING": "utf-8"}
        process = subprocess.Popen(
            [sys.executable, "-c", code, "watch", folder, "--store", store, *options],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8", env=path,
        )  # fmt: skip
        running.append(process)
        return process

    yield started
    for process in running:
        process.kill()
        process.communicate()


def test_the_command_prints_a_line_and_ctrl_c_ends_it(start, shelf, folder, recordings, tmp_path):
    shutil.copytree(shelf, tmp_path / "store")
    running = start(folder, tmp_path / "store")
    shutil.copy(recordings / "van-3.csv", folder / "CH001.csv")
    line = running.stdout.readline()
    assert "● in-time      CH001.csv  76" in line
    assert re.search(
        r"rpm  exhaust: 5\.\d after the gap \(.\d\.\d\d° ± \d\.\d\d°\)  intake: ", line
    )
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=PATIENCE_S)
    assert (running.returncode, out) == (0, "")
    assert err.startswith("watching ")
    assert len(err.splitlines()) == 1


def test_the_command_prints_json_a_line_a_file(start, shelf, folder, recordings, tmp_path):
    shutil.copytree(shelf, tmp_path / "store")
    shutil.copy(recordings / "van-3.csv", folder / "a.csv")
    (folder / "notes.txt").write_text("call the owner\n")
    running = start(folder, tmp_path / "store", "--once", "--json")
    out, err = running.communicate(timeout=PATIENCE_S)
    assert (running.returncode, err) == (0, "")
    seen = {one["file"]["path"]: one for one in map(json.loads, out.splitlines())}
    assert {one["format"] for one in seen.values()} == {"crankwise.seen/1"}
    assert seen["a.csv"]["comparison"]["verdict"]["level"] == "in-time"
    assert seen["notes.txt"]["outcome"] == "refused"


def test_a_folder_that_is_none_is_refused(start, tmp_path):
    running = start(tmp_path / "nowhere", tmp_path / "store")
    out, err = running.communicate(timeout=PATIENCE_S)
    assert (running.returncode, out) == (2, "")
    assert "nowhere is no folder: name the folder that recordings are saved into" in err
    assert not (tmp_path / "store").exists()


def test_a_family_that_is_not_on_the_shelf_is_refused_at_once(start, shelf, folder, tmp_path):
    shutil.copytree(shelf, tmp_path / "store")
    running = start(folder, tmp_path / "store", "--family", "Fell V6")
    _out, err = running.communicate(timeout=PATIENCE_S)
    assert running.returncode == 2
    assert "there is no engine family 'Fell V6' on the shelf; there is: Tarn T20" in err


def test_without_the_package_it_says_what_to_install(folder, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "watchfiles", None)
    done = CliRunner().invoke(app, ["watch", str(folder), "--store", str(tmp_path / "store")])
    assert done.exit_code == 3
    assert "needs the package watchfiles: install crankwise[watch]" in done.output
    done = CliRunner().invoke(app, ["serve", "--watch", str(folder), "--no-browser"])
    assert done.exit_code == 3
    assert "needs the package watchfiles" in done.output
