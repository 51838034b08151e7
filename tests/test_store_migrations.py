"""Schemas: the migrations make what the models say, and every released one is still read."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from crankwise import document
from crankwise.errors import UnreadableError
from crankwise.model.job import Complaint, PriceItem, VehicleDetails
from crankwise.store import job_state, migrate, open_store, tables

HERE = Path(__file__).parent
RELEASED = sorted((HERE / "snapshots" / "store").glob("schema-*.sql"))
MIGRATIONS = Path(migrate.__file__).parent / "migrations"
T20 = document.load(HERE / "snapshots" / "inputs" / "t20.json")


def build(folder: Path, dump: Path) -> Path:
    """Build a store as an earlier version left it, from the dump of its database."""
    folder.mkdir(parents=True)
    path = folder / "crankwise.sqlite"
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.executescript(dump.read_text(encoding="utf-8"))
    return path


def test_the_newest_schema_is_the_one_the_store_asks_for():
    assert ScriptDirectory(str(MIGRATIONS)).get_heads() == [tables.SCHEMA]


def test_there_is_a_store_of_every_schema():
    schemas = {revision.revision for revision in ScriptDirectory(str(MIGRATIONS)).walk_revisions()}
    assert {dump.stem.removeprefix("schema-") for dump in RELEASED} == schemas


def test_migrations_make_what_the_models_say(tmp_path):
    open_store(tmp_path).close()
    engine = sa.create_engine(f"sqlite:///{tmp_path / 'crankwise.sqlite'}")
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, tables.Base.metadata) == []
    engine.dispose()


@pytest.mark.parametrize("dump", RELEASED, ids=lambda dump: dump.stem)
def test_a_store_of_every_released_schema_is_read(tmp_path, dump):
    build(tmp_path / "shelf", dump)
    with open_store(tmp_path / "shelf") as store:
        [known_good] = store.shelf.list()
        assert known_good.provenance.mileage == 1200.0
        assert store.shelf.get(known_good.id).measurement.cams == T20.cams
        [file] = store.jobs.list(search="BR12ABC")
        assert file.vehicle.details == VehicleDetails(None, "BR12ABC", "Petal")
        kinds = [type(kept.fact) for kept in file.visits[0].facts]
        assert (kinds[0], kinds[-1]) == (Complaint, PriceItem)
        assert job_state(file).state == "verified"
        assert file.visits[0].comparisons[0].comparison.verdict.level == "in-time"
        assert [kept.method for kept in file.visits[0].measurements] == ["1", "2"]
        problems = [problem for problem in store.verify().problems if problem.what != "original"]
        assert problems == []  # the original itself is no part of a dump


def test_an_older_store_is_copied_first_then_brought_forward(tmp_path, monkeypatch):
    """With a migration that is to come: it rebuilds a table, the hardest thing for SQLite."""
    old = build(tmp_path / "shelf", RELEASED[-1])
    before = old.read_bytes()
    _add_migration(tmp_path, monkeypatch, body="")
    with open_store(tmp_path / "shelf") as store:
        assert len(store.shelf.list()) == 1
        assert len(store.jobs.list()[0].visits) == 1
        with store._database.read() as session:
            assert session.execute(sa.text("SELECT colour FROM vehicle")).scalars().all() == [""]
            assert session.execute(sa.text("PRAGMA foreign_key_check")).all() == []
    [backup] = (tmp_path / "shelf" / "backups").iterdir()
    assert backup.name.startswith(f"crankwise-schema-{RELEASED[-1].stem[-4:]}-")
    monkeypatch.undo()
    shutil.copytree(tmp_path / "shelf" / "backups", tmp_path / "back")
    backup = (tmp_path / "back" / backup.name).rename(tmp_path / "back" / "crankwise.sqlite")
    with open_store(tmp_path / "back") as store:
        assert len(store.jobs.list()) == 1
    assert len(before) <= backup.stat().st_size


def test_every_copy_of_an_older_store_is_of_that_schema_whoever_starts_at_once(tmp_path):
    old = build(tmp_path / "shelf", RELEASED[0])
    barrier = Barrier(3)

    def start(_number):
        barrier.wait()
        open_store(old.parent).close()

    with ThreadPoolExecutor(3) as pool:
        list(pool.map(start, range(3)))
    for copy in (old.parent / "backups").iterdir():
        with contextlib.closing(sqlite3.connect(copy)) as connection:
            [schema] = connection.execute("SELECT version_num FROM alembic_version").fetchone()
            [(said,)] = connection.execute("PRAGMA integrity_check").fetchall()
        assert (f"-schema-{schema}-" in copy.name, said) == (True, "ok")


def test_a_copy_that_is_cut_off_leaves_no_half_backup(tmp_path, monkeypatch):
    old = build(tmp_path / "shelf", RELEASED[0])

    def cut_off(*_given):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("pathlib.Path.replace", cut_off)
        with pytest.raises(KeyboardInterrupt):
            open_store(old.parent)
    assert list((old.parent / "backups").iterdir()) == []
    with open_store(old.parent) as store:
        assert len(store.jobs.list()) == 1


def test_a_migration_that_fails_leaves_the_store_as_it_was(tmp_path, monkeypatch):
    build(tmp_path / "shelf", RELEASED[-1])
    with monkeypatch.context() as patch:
        _add_migration(tmp_path, patch, body="    raise RuntimeError\n")
        with pytest.raises(RuntimeError):
            open_store(tmp_path / "shelf")
    with open_store(tmp_path / "shelf") as store:
        assert len(store.jobs.list()) == 1
        with store._database.read() as session:
            columns = {row.name for row in session.execute(sa.text("PRAGMA table_info(vehicle)"))}
        assert "colour" not in columns


def _add_migration(tmp_path: Path, patch: pytest.MonkeyPatch, *, body: str) -> None:
    folder = tmp_path / "migrations"
    shutil.copytree(MIGRATIONS, folder, ignore=shutil.ignore_patterns("__pycache__"))
    (folder / "versions" / "v9999_colour.py").write_text(
        "import sqlalchemy as sa\nfrom alembic import op\n"
        f"revision, down_revision = '9999', '{tables.SCHEMA}'\n"
        "branch_labels = depends_on = None\n"
        "def upgrade():\n"
        "    with op.batch_alter_table('vehicle', recreate='always') as batch:\n"
        "        batch.add_column(sa.Column('colour', sa.Text, server_default=''))\n" + body,
        encoding="utf-8",
    )
    patch.setattr(migrate, "_folder", lambda: str(folder))
    patch.setattr(migrate, "SCHEMA", "9999")


def test_a_newer_store_is_refused_and_untouched(tmp_path):
    open_store(tmp_path).close()
    with contextlib.closing(sqlite3.connect(tmp_path / "crankwise.sqlite")) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()
    with pytest.raises(UnreadableError, match=r"newer Crankwise \(schema 9999, .*update Crankwise"):
        open_store(tmp_path)
    assert not (tmp_path / "backups").exists()


def test_a_database_of_something_else_is_refused(tmp_path):
    with contextlib.closing(sqlite3.connect(tmp_path / "crankwise.sqlite")) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    with pytest.raises(UnreadableError, match="tables of something else"):
        open_store(tmp_path)


def test_several_create_one_store_at_once(tmp_path):
    def create(number):
        with open_store(tmp_path / "new") as store:
            return store.jobs.add_vehicle(f"van {number}").id

    with ThreadPoolExecutor(4) as pool:
        assert sorted(pool.map(create, range(4))) == [1, 2, 3, 4]
