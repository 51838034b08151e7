"""Writers, migrations and imports that are killed at any moment; what is looked for afterwards.

Each kind has ``begin`` (the place before the work), ``work`` (killed in the middle) and ``find``
(what of all that was told is lost or torn, in words). All run in children, see
:mod:`attacks.children`.
"""

from __future__ import annotations

import contextlib
import hashlib
import itertools
import shutil
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Final

from attacks.children import Tell
from crankwise import document
from crankwise.model.job import Note
from crankwise.model.measurement import Measurement
from crankwise.store import Store, open_store
from crankwise.store.tables import SCHEMA
from crankwise.testing.simulate import ScopeSpec, simulate_to_file
from crankwise.testing.simulate.visits import van_at
from crankwise.workshop.folder import import_recordings

ROOT: Final = Path(__file__).resolve().parents[1]
SNAPSHOTS: Final = ROOT / "tests" / "snapshots"
T20: Final = document.load(SNAPSHOTS / "inputs" / "t20.json")
OLD_SCHEMAS: Final = ("0001", "0002")
ENGINE: Final = (
    resources.files("crankwise.drive").joinpath("engines", "tarn-t20.toml").read_text("utf-8")
)
BUNDLED: Final = 40


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of work that is killed.

    Attributes
    ----------
    name : str
    begin : callable
        Makes what the work needs, given an empty folder and the number of the try.
    work : callable
        Given the folder and a way to tell what is done.
    find : callable
        Given the folder and all that was told: what is lost or torn, in words.
    together : int
        So many tries go on in one folder before a new one is begun.
    """

    name: str
    begin: Callable[[Path, int], None]
    work: Callable[[Path, Tell], None]
    find: Callable[[Path, Sequence[str]], list[str]]
    together: int = 1


def recorded(number: int, name: str = "van-3.csv") -> Measurement:
    """A measurement as if of another recording; the edges are a little elsewhere."""
    sha256 = hashlib.sha256(f"{name} {number}".encode()).hexdigest()
    cams = tuple(
        replace(
            cam,
            edges=tuple(
                replace(edge, angle_deg=edge.angle_deg + 0.01 * (number % 7)) for edge in cam.edges
            ),
        )
        for cam in T20.cams
    )
    return replace(T20, cams=cams, recording=replace(T20.recording, sha256=sha256, name=name))


def simulated(path: Path, seed: int) -> None:
    """Write a short recording of a van."""
    scope = ScopeSpec(duration_s=0.8, kind="events", resolution_s=1e-6)
    simulate_to_file(replace(van_at("van-3", mileage=46_200), scope=scope), path, seed=seed)


def unsound(folder: Path) -> list[str]:
    """What verifying finds wrong."""
    with open_store(folder) as store:
        return [problem.text for problem in store.verify().problems]


# --- writing ------------------------------------------------------------------------------------


def _original(number: int) -> bytes:
    return f"{number},".encode() * 60_000


def _nothing(_folder: Path, _number: int) -> None:
    pass


def _write(folder: Path, tell: Tell) -> None:
    """Everything that a day at the workshop writes, again and again."""
    with open_store(folder) as store:
        first = len(store.jobs.vehicles())
        for number in range(first, first + 4):
            _write_one(store, number, tell)


def _write_one(store: Store, number: int, tell: Tell) -> None:
    kept = store.recordings.add(_original(number), name=f"{number}.csv")
    tell(f"original {kept.sha256} {number}")
    job = store.jobs.open(store.jobs.add_vehicle(f"van {number}").id)
    visit = store.jobs.add_visit(job.id, date="2026-03-01")
    tell(f"visit {visit.id} {job.id}")
    store.jobs.add_recording(visit.id, kept.sha256, purpose="check")
    tell(f"recording {visit.id} {kept.sha256}")
    fact = store.jobs.add_fact(Note(f"note {number}" * 50), job_id=job.id, visit_id=visit.id)
    tell(f"fact {fact.id} {job.id} {number}")
    measured = store.recordings.add_measurement(recorded(number))
    tell(f"measurement {measured.id} {measured.recording_sha256}")
    known_good = store.shelf.add(recorded(number), family="Tarn T20")
    tell(f"known-good {known_good.id}")
    store.shop.keep_engine_file(f"engine {number}", ENGINE)
    tell(f"engine {number}")
    store.shop.keep_policy(f"# {number}\n")
    tell(f"policy {number}")


def _lost_writes(folder: Path, said: Sequence[str]) -> list[str]:
    lost = unsound(folder)
    with open_store(folder) as store:
        for line in said:
            kind, *rest = line.split(" ")
            is_there = False
            with contextlib.suppress(Exception):  # whatever it is, it is lost
                is_there = _IS_THERE[kind](store, *rest)
            if not is_there:
                lost.append(f"lost: {line}")
    return lost


def _has_original(store: Store, sha256: str, number: str) -> bool:
    with store.recordings.original(sha256) as path:
        return path.read_bytes() == _original(int(number))


def _has_recording(store: Store, visit: str, sha256: str) -> bool:
    file = store.jobs.file_of_visit(int(visit))
    return sha256 in {one.recording.sha256 for one in file.visits[0].recordings}


def _has_fact(store: Store, fact: str, job: str, number: str) -> bool:
    [visit] = store.jobs.file(int(job)).visits
    return {one.id: one.fact for one in visit.facts}[int(fact)] == Note(f"note {number}" * 50)


_IS_THERE: Final[dict[str, Callable[..., bool]]] = {
    "original": _has_original,
    "visit": lambda store, visit, job: store.jobs.file_of_visit(int(visit)).job.id == int(job),
    "recording": _has_recording,
    "fact": _has_fact,
    "measurement": lambda store, number, sha256: (
        store.recordings.measurement(int(number)).recording_sha256 == sha256
    ),
    "known-good": lambda store, identifier: store.shelf.get(identifier).id == identifier,
    "engine": lambda store, number: (
        f"engine {number}" in {kept.name for kept in store.shop.engine_files()}
    ),
    # The newest counts, so that a later one may stand there.
    "policy": lambda store, number: int(store.shop.policy_text()[2:]) >= int(number),
}


# --- migrating ----------------------------------------------------------------------------------


def _build_old(folder: Path, number: int) -> None:
    schema = OLD_SCHEMAS[number % len(OLD_SCHEMAS)]
    dump = SNAPSHOTS / "store" / f"schema-{schema}.sql"
    with contextlib.closing(sqlite3.connect(folder / "crankwise.sqlite")) as connection:
        connection.executescript(dump.read_text(encoding="utf-8"))


def _open(folder: Path, tell: Tell) -> None:
    open_store(folder).close()
    tell("brought forward")


def _lost_in_migration(folder: Path, _said: Sequence[str]) -> list[str]:
    """The store must open with everything in it, and every backup must be a whole older store."""
    backups = list((folder / "backups").glob("[!.]*"))
    lost = [f"{path.name} is torn" for path in backups if not _is_whole_backup(path)]
    with open_store(folder) as store:
        [known_good] = store.shelf.list()
        [file] = store.jobs.list()
        if known_good.provenance.mileage != 1200.0 or len(file.visits[0].measurements) != 2:
            lost.append("the content is another")
        # The original itself is no part of a dump.
        lost += [one.text for one in store.verify().problems if one.what != "original"]
    return lost


def _is_whole_backup(path: Path) -> bool:
    with contextlib.closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
        [(said,)] = connection.execute("PRAGMA integrity_check(1)").fetchall()
        [(schema,)] = connection.execute("SELECT version_num FROM alembic_version").fetchall()
        [(jobs,)] = connection.execute("SELECT count(*) FROM job").fetchall()
    return (said, jobs) == ("ok", 1) and schema in OLD_SCHEMAS and schema < SCHEMA


# --- importing ----------------------------------------------------------------------------------


def _make_bundle(folder: Path, _number: int) -> None:
    with open_store(folder / "other") as other:
        for number in range(BUNDLED):
            other.shelf.add(recorded(number), family="Tarn T20")
        other.shelf.export(folder / "bundle.zip")


def _import_bundle(folder: Path, tell: Tell) -> None:
    with open_store(folder / "shelf") as store:
        report = store.shelf.import_file(folder / "bundle.zip")
        tell(f"added {len(report.added)}")


def _lost_of_bundle(folder: Path, said: Sequence[str]) -> list[str]:
    """All of the bundle or nothing of it; the same import again gives the rest."""
    with open_store(folder / "shelf") as store:
        count = len(store.shelf.list())
        allowed = {BUNDLED} if said else {0, BUNDLED}
        lost = [] if count in allowed else [f"{count} of {BUNDLED} known-goods"]
        store.shelf.import_file(folder / "bundle.zip")
        if len(store.shelf.list()) != BUNDLED:
            lost.append("importing again does not give the rest")
    lost += unsound(folder / "shelf")
    shutil.rmtree(folder / "shelf")
    return lost


def _make_old_folder(folder: Path, number: int) -> None:
    places = itertools.product(("van-3", "van-4"), ("2026-01-02", "2026-02-03"))
    for index, (van, day) in enumerate(places):
        path = folder / "old" / van / f"{day} 46,200 miles.csv"
        path.parent.mkdir(parents=True, exist_ok=True)
        simulated(path, seed=4 * number + index)


def _import_folder(folder: Path, tell: Tell) -> None:
    with open_store(folder / "shelf") as store:
        for taken in import_recordings(store, folder / "old"):
            if taken.sha256 is not None:  # beside each recording lies a document of its truth
                tell(f"{taken.outcome} {taken.sha256}")


def _lost_of_folder(folder: Path, said: Sequence[str]) -> list[str]:
    """What was told is there; taking the folder in again gives each recording once."""
    lost = unsound(folder / "shelf")
    with open_store(folder / "shelf") as store:
        kept = {one.sha256 for one in store.recordings.list() if one.is_kept}
        lost += [f"lost: {line}" for line in said if line.split(" ")[1] not in kept]
        import_recordings(store, folder / "old")
        files = store.jobs.list()
        shas = [
            recording.recording.sha256
            for file in files
            for visit in file.visits
            for recording in visit.recordings
        ]
        if (len(files), len(shas), len(set(shas))) != (2, 4, 4):
            lost.append(f"{len(files)} vehicles with {len(shas)} recordings, not 2 with 4")
    lost += unsound(folder / "shelf")
    shutil.rmtree(folder / "shelf")
    return lost


def kinds() -> Iterator[tuple[Kind, int]]:
    """Each kind of work on the store itself, and its share of a thousand kills."""
    yield Kind("writing: all that a day writes", _nothing, _write, _lost_writes, together=10), 250
    yield Kind("migrating an older store", _build_old, _open, _lost_in_migration), 200
    yield Kind(
        f"importing a bundle of {BUNDLED} known-goods", _make_bundle, _import_bundle,
        _lost_of_bundle, together=50,
    ), 100  # fmt: skip
    yield Kind(
        "importing a folder of old recordings", _make_old_folder, _import_folder, _lost_of_folder,
        together=50,
    ), 100  # fmt: skip
