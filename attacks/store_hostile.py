"""The store on a system that is against it: full, read-only, locked, shared, out of time."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

from attacks.children import Tell, asked, run_and_kill, teller
from attacks.outcome import Outcome
from attacks.store_kills import kinds, recorded, simulated, unsound
from crankwise.store import open_store

SIZES_KB: Final = range(300, 1_500, 100)
TOGETHER: Final = (2, 8)
BACKUPS: Final = 8
_ROUNDS: Final = 25
_WRITING, _MIGRATING = (kind for kind, _ in list(kinds())[:2])


def attacked(only: str) -> Iterator[Outcome]:
    """Each whose name holds some text, once; what the system does not allow is left out."""
    for attack, run in (
        ("disk full, at any size", full_disk),
        ("read-only disk", read_only_disk),
        ("several processes write one new store", several_writers),
        ("several starts migrate one store", several_migrations),
        ("backup while another process writes", backup_meanwhile),
        ("database locked by another program", locked),
        ("clock that goes backwards", clock_backwards),
        ("folders missing or in the way", folders_in_the_way),
    ):
        if only not in attack:
            continue
        with tempfile.TemporaryDirectory(prefix="crankwise-hostile-") as folder:
            try:
                tried, bad, seen = run(Path(folder))
            except NotAllowedError as error:
                print(f"{attack}: left out ({error})")
                continue
        for words in bad[:5]:
            print(f"{attack}: {words}")
        yield Outcome(attack, tried, len(bad), bad[0] if bad else seen)


Result = tuple[int, list[str], str]
"""How often it was tried, what got through, and what was seen otherwise."""


class NotAllowedError(Exception):
    """The system does not allow the attack; the text says why."""


@contextlib.contextmanager
def mounted(place: Path, *options: str) -> Iterator[Path]:
    """Mount something on a folder, and take it away again.

    Raises
    ------
    NotAllowedError
        Only the administrator of a Linux system may.
    """
    place.mkdir(exist_ok=True)
    done = _run("mount", *options, str(place))
    if done.returncode:
        raise NotAllowedError(done.stderr.strip() or "mount failed")
    try:
        yield place
    finally:
        _run("umount", str(place))


def refused(*words: object, said: str = "") -> list[str]:
    """Give a command that must fail in one line; what is wrong with how it does."""
    done = command(*words)
    lines = done.stderr.strip().splitlines()
    wrong = []
    if done.returncode not in (2, 3, 4) or len(lines) != 1 or said not in done.stderr:
        wrong.append(f"{words[0]}: {done.returncode}, {done.stderr.strip()[-300:]!r}")
    return wrong


def command(*words: object) -> subprocess.CompletedProcess[str]:
    """Give a command as one does at a terminal."""
    return _run(sys.executable, "-c", "from crankwise.cli import main; main()", *map(str, words))


def _run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(words, capture_output=True, text=True, check=False)


# --- disks --------------------------------------------------------------------------------------


def full_disk(folder: Path) -> Result:
    """Write until the disk is full; what was told is there, and room heals it."""
    bad: list[str] = []
    told = full = 0
    simulated(folder / "van-3.csv", seed=1)
    for size in SIZES_KB:
        with mounted(folder / "disk", "-t", "tmpfs", "-o", f"size={size}k", "tmpfs") as disk:
            gone = run_and_kill(lambda tell: _write_until_full(disk / "shelf", tell), None)
            said = [line for line in gone.said if not line.startswith("full")]
            told += len(said)
            full += len(gone.said) - len(said)
            if not (disk / "shelf" / "crankwise.sqlite").exists():
                continue
            bad += _refused_for_room(folder, disk)
            shutil.copytree(disk / "shelf", folder / f"with-room-{size}")
        bad += asked(lambda: _WRITING.find(folder / f"with-room-{size}", said))  # noqa: B023
        shutil.rmtree(folder / f"with-room-{size}")
    return len(SIZES_KB), bad, f"full {full} times, {told} reports all true; one line each"


def _refused_for_room(folder: Path, disk: Path) -> list[str]:
    """Results do not fit either; what stood in their place stays."""
    with contextlib.suppress(OSError), (disk / "filler").open("wb") as filler:
        while True:
            filler.write(bytes(1024))
    (disk / "filler").open("ab").close()
    return [
        *refused("measure", folder / "van-3.csv", "-o", disk / "result.json", said="written"),
        *refused("backup", "-o", disk / "copy", "--store", disk / "shelf", said="disk is full"),
        *([f"left: {left}" for left in disk.glob(".*")]),
    ]


def _write_until_full(shelf: Path, tell: Tell) -> None:
    from crankwise.errors import CrankwiseError  # noqa: PLC0415

    try:
        for _ in range(20):
            _WRITING.work(shelf, tell)
    except CrankwiseError as error:
        if "the disk is full: free some space" not in str(error):
            raise
        tell("full")


def read_only_disk(folder: Path) -> Result:
    """Nothing can be written, one line says so; a backup there can be read and checked."""
    shelf, copy = folder / "shelf", folder / "copy"
    asked(lambda: _WRITING.work(shelf, lambda _line: None))
    done = command("backup", "-o", copy, "--store", shelf)
    bad = [done.stderr] if done.returncode else []
    simulated(folder / "van-3.csv", seed=1)
    for place in (shelf, copy):
        with mounted(place, "--bind", str(place)):
            _run("mount", "-o", "remount,ro,bind", str(place))
            for words in (
                ("job", "new", "van 99"),
                ("reference", "add", folder / "van-3.csv", "--family", "Tarn T20"),
                ("shop", "set", "--name", "Bramblegate Workshop"),
            ):
                bad += refused(*words, "--store", place, said="can't be written to")
            if place == copy:
                done = command("verify", "--store", place)
                bad += [done.stderr] if done.returncode else []
        bad += asked(lambda: unsound(place))  # noqa: B023
    return 6, bad, "one line each; a backup on it verifies sound"


# --- several at once ----------------------------------------------------------------------------


def together(count: int, work: Callable[[int, Tell], None]) -> list[str]:
    """Let several children work at once; what they told, and what failed."""
    pipes = []
    for number in range(count):
        reading, writing = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(reading)
            code = 0
            try:
                work(number, teller(writing))
            except BaseException as error:  # noqa: BLE001  told to the parent
                os.write(writing, f"!{error!r}\n".encode())
                code = 1
            os._exit(code)
        os.close(writing)
        pipes.append((child, reading))
    said: list[str] = []
    for child, reading in pipes:
        with os.fdopen(reading, encoding="utf-8") as file:
            said += file.read().splitlines()
        os.waitpid(child, 0)
    return said


def several_writers(folder: Path) -> Result:
    """Two, then eight processes create one store and write to it at the same time."""
    bad: list[str] = []
    for count in TOGETHER:
        shelf = folder / str(count)
        said = together(count, lambda number, tell: _write_apart(shelf, number, tell))  # noqa: B023
        bad += [line for line in said if line.startswith("!")]
        told = [line for line in said if not line.startswith("!")]
        bad += asked(lambda: _lost_apart(shelf, told))  # noqa: B023
    return len(TOGETHER), bad, f"{' and '.join(map(str, TOGETHER))} processes, nothing lost"


def _write_apart(shelf: Path, number: int, tell: Tell) -> None:
    with open_store(shelf) as store:
        for index in range(6):
            kept = store.recordings.add(f"{index}".encode() * 50_000, name=f"{index}.csv")
            job = store.jobs.open(store.jobs.add_vehicle(f"van {number}-{index}").id)
            store.jobs.add_recording(
                store.jobs.add_visit(job.id, date="2026-03-01").id, kept.sha256, purpose="check"
            )
            store.shelf.add(recorded(100 * number + index), family="Tarn T20")
            tell(f"{job.id} {kept.sha256}")


def _lost_apart(shelf: Path, told: Sequence[str]) -> list[str]:
    lost = unsound(shelf)
    with open_store(shelf) as store:
        for line in told:
            job, sha256 = line.split(" ")
            [visit] = store.jobs.file(int(job)).visits
            if [one.recording.sha256 for one in visit.recordings] != [sha256]:
                lost.append(f"lost: {line}")
        if len(store.shelf.list()) != len(told):
            lost.append("known-goods are lost")
        if len(store.recordings.list()) != 6:
            lost.append("originals are doubled")
    return lost


def several_migrations(folder: Path) -> Result:
    """Two, then eight programs are started on one older store at the same time."""
    bad: list[str] = []
    tries = 0
    for count in TOGETHER:
        for number in range(4):
            tries += 1
            shelf = folder / f"{count}-{number}"
            shelf.mkdir()
            asked(lambda: _MIGRATING.begin(shelf, number))  # noqa: B023
            said = together(count, lambda _number, tell: _MIGRATING.work(shelf, tell))  # noqa: B023
            bad += [line for line in said if line.startswith("!")]
            bad += asked(lambda: _MIGRATING.find(shelf, ()))  # noqa: B023
    return tries, bad, f"{' and '.join(map(str, TOGETHER))} starts, each found it brought forward"


def backup_meanwhile(folder: Path) -> Result:
    """Copy the store while another process writes; what was told before the copy began is in it."""
    shelf = folder / "shelf"
    asked(lambda: open_store(shelf).close())
    log = folder / "told"
    log.touch()
    child = os.fork()
    if child == 0:
        code = 1
        try:
            for _ in range(_ROUNDS):
                with log.open("ab") as file:
                    _WRITING.work(shelf, teller(file.fileno()))
            code = 0
        finally:
            os._exit(code)
    bad: list[str] = []
    count = 0
    for number in range(BACKUPS):
        told = [
            line for line in log.read_text("utf-8").splitlines(keepends=True) if line[-1] == "\n"
        ]
        copy = folder / f"copy-{number}"
        done = command("backup", "-o", copy, "--store", shelf)
        if done.returncode:
            bad.append(done.stderr.strip()[-300:])
            continue
        said = [line.rstrip("\n") for line in told]
        count += len(said)
        bad += asked(lambda: _WRITING.find(copy, said))[:1]  # noqa: B023
        shutil.rmtree(copy)
    with contextlib.suppress(ProcessLookupError):
        os.kill(child, 9)
    os.waitpid(child, 0)
    return BACKUPS, bad, f"every copy sound; {count:,} reports from before it all true"


# --- locks, clocks, folders ---------------------------------------------------------------------


def locked(folder: Path) -> Result:
    """Another program holds the database for longer than a writer waits; reading goes on."""
    shelf = folder / "shelf"
    asked(lambda: _WRITING.work(shelf, lambda _line: None))
    return 1, asked(lambda: _wait_in_vain(shelf)), "reading goes on; writing says so in one line"


def _wait_in_vain(shelf: Path) -> list[str]:
    from crankwise.errors import UsageError  # noqa: PLC0415
    from crankwise.store import database, failures  # noqa: PLC0415

    vars(database)["BUSY_S"] = vars(failures)["BUSY_S"] = 0.3  # in this child only
    bad = []
    with contextlib.closing(sqlite3.connect(shelf / "crankwise.sqlite", isolation_level=None)) as c:
        c.execute("BEGIN IMMEDIATE")
        with open_store(shelf) as store:
            before = len(store.jobs.list())
            try:
                store.jobs.add_vehicle("van 99")
            except UsageError as error:
                if "another program has been writing" not in str(error):
                    bad.append(str(error))
            else:
                bad.append("it was written while it was locked")
        c.execute("ROLLBACK")
    with open_store(shelf) as store:
        if len(store.jobs.list()) != before or store.jobs.add_vehicle("van 99").id < 1:
            bad.append("work can't go on")
    return bad + unsound(shelf)


def clock_backwards(folder: Path) -> Result:
    """The clock goes back by an hour at every look; the newest is still the one written last."""
    return 1, asked(lambda: _write_back_in_time(folder / "shelf")), "the last written counts"


def _write_back_in_time(shelf: Path) -> list[str]:
    now = datetime.now(UTC)

    class Backwards(datetime):
        """A clock that goes back."""

        @classmethod
        def now(cls, tz: Any = None) -> datetime:  # type: ignore[override]
            """Return an hour less than last time."""
            nonlocal now
            now -= timedelta(hours=1)
            return now.astimezone(tz)

    for name, module in list(sys.modules.items()):
        if name.startswith("crankwise.store.") and getattr(module, "datetime", None) is datetime:
            module.datetime = Backwards  # type: ignore[attr-defined]
    told: list[str] = []
    _WRITING.work(shelf, told.append)
    _WRITING.work(shelf, told.append)
    bad = _WRITING.find(shelf, told)
    with open_store(shelf) as store:
        if store.shop.policy_text() != "# 7\n":
            bad.append(f"the policy is {store.shop.policy_text()!r}")
        first = store.recordings.add_measurement(recorded(0))
        again = store.recordings.add_measurement(replace(recorded(0), method="2"))
        latest = store.recordings.latest(first.recording_sha256)
        if latest is None or latest.id != again.id:
            bad.append("an older measurement counts")
    return bad


def folders_in_the_way(folder: Path) -> Result:
    """Originals gone; a file where a folder is to be; a database where none is expected."""
    shelf, old = folder / "shelf", folder / "old"
    asked(lambda: _WRITING.work(shelf, lambda _line: None))
    simulated(folder / "van-3.csv", seed=1)
    shutil.move(shelf / "originals", folder / "aside")
    bad = refused("verify", "--store", shelf, said="things are wrong in this store")
    (shelf / "originals").write_bytes(b"in the way")
    add = ("reference", "add", folder / "van-3.csv", "--family", "Tarn T20", "--store", shelf)
    bad += refused(*add, said="can't be used")
    (shelf / "originals").unlink()
    shutil.move(folder / "aside", shelf / "originals")
    bad += asked(lambda: unsound(shelf))
    old.mkdir()
    asked(lambda: _MIGRATING.begin(old, 0))
    before = (old / "crankwise.sqlite").read_bytes()
    (old / "backups").write_bytes(b"in the way")
    bad += refused("job", "list", "--store", old, said="backups")
    with contextlib.closing(sqlite3.connect(old / "crankwise.sqlite")) as connection:
        if connection.execute("SELECT version_num FROM alembic_version").fetchone() != ("0001",):
            bad.append("it was brought forward without a backup")
    if len((old / "crankwise.sqlite").read_bytes()) != len(before):
        bad.append("the older store was changed")
    (old / "backups").unlink()
    bad += asked(lambda: _MIGRATING.find(old, ()))
    bad += refused("verify", "--store", folder / "none", said="there is no store")
    return 4, bad, "one line each; nothing was changed"
