"""Damage of every kind is found by ``crankwise verify``, told in words, and mended by a backup."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import sqlite3
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from crankwise.cli.app import app
from crankwise.document.files import sha256_of
from crankwise.model.job import Note
from crankwise.pipeline import compare
from crankwise.store import open_store
from crankwise.testing.simulate import ScopeSpec, simulate_to_file
from crankwise.testing.simulate.visits import van_at
from crankwise.workshop.recording import keep_recording

PAGE_BYTES = 4096


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Return the folder of a store with something in most tables, in one file and without gaps."""
    folder = tmp_path_factory.mktemp("verify")
    recording = folder / "van-3.csv"
    scope = ScopeSpec(duration_s=1.0, kind="events", resolution_s=1e-6)
    simulate_to_file(replace(van_at("van-3", mileage=1000), scope=scope), recording, seed=3)
    with open_store(folder / "made") as store:
        measured = keep_recording(store, recording)
        for name in ("one.csv", "two.csv"):
            store.recordings.add(f"{name},1,2\n".encode() * 40, name=name)
        known_good = store.shelf.add(measured.measurement, family="Tarn T20")
        job = store.jobs.open(store.jobs.add_vehicle("van 3").id)
        for day in ("2026-03-01", "2026-03-02", "2026-03-03"):
            visit = store.jobs.add_visit(job.id, date=day)
            store.jobs.add_fact(Note("it rattles when cold " * 300), job_id=job.id)
        store.jobs.add_recording(visit.id, measured.recording_sha256, purpose="check")
        store.jobs.add_comparison(
            visit.id,
            compare(measured.measurement, [known_good.measurement]),
            measurement_id=measured.id,
            known_good_ids=[known_good.id],
        )
        store.shop.keep_policy("")
        store.back_up(folder / "whole")
    with contextlib.closing(sqlite3.connect(folder / "whole" / "crankwise.sqlite")) as connection:
        connection.execute("VACUUM")  # no free pages, which may hold anything
    return folder / "whole"


@pytest.fixture
def shelf(whole, tmp_path):
    return Path(shutil.copytree(whole, tmp_path / "shelf"))


def verified(shelf, *options):
    return CliRunner().invoke(app, ["verify", "--store", str(shelf), "--json", *options])


def problems(shelf, *options):
    """What is wrong, from a command that ends in one line and with 3."""
    result = verified(shelf, *options)
    assert result.exit_code == 3, result.output
    assert result.stderr.count("\n") == 1
    return [problem["text"] for problem in json.loads(result.stdout)["problems"]]


def originals(shelf):
    return sorted((shelf / "originals").glob("??/??/*"))


def test_a_whole_store_is_sound_and_stays_as_it_is(shelf):
    before = {path: sha256_of(path) for path in originals(shelf)}
    result = verified(shelf, "--again")
    assert result.exit_code == 0, result.output
    said = json.loads(result.stdout)
    assert (said["is_sound"], said["recordings"], said["measurements"]) == (True, 3, 1)
    assert (said["problems"], said["notes"]) == ([], [])
    assert {path: sha256_of(path) for path in originals(shelf)} == before
    people = CliRunner().invoke(app, ["verify", "--store", str(shelf)])
    assert people.stdout.endswith("sound: nothing is lost or altered\n")


def test_a_flipped_byte_in_any_original_is_found(shelf):
    for path in originals(shelf):
        path.chmod(0o644)
        data = bytearray(path.read_bytes())
        data[len(data) // 2] ^= 1
        path.write_bytes(data)
    assert (
        sum("is damaged; restore it from a backup, or add" in said for said in problems(shelf)) == 3
    )


def test_two_originals_that_were_swapped_are_found(shelf):
    one, other, _ = originals(shelf)
    aside = one.rename(one.with_name("aside"))
    other.rename(one)
    aside.rename(other)
    assert sum("is damaged" in said for said in problems(shelf)) == 2


def test_originals_that_are_all_gone_are_each_found(shelf):
    shutil.rmtree(shelf / "originals")
    assert sum("is missing" in said for said in problems(shelf)) == 3


def test_what_is_wrong_is_said_in_german_too(shelf):
    lost, damaged, _ = originals(shelf)
    lost.unlink()
    damaged.chmod(0o644)
    damaged.write_bytes(b"no longer what it was")
    result = CliRunner().invoke(
        app, ["verify", "--store", str(shelf), "--lang", "de"], env={"COLUMNS": "200"}
    )
    assert result.exit_code == 3
    assert "fehlt; es aus einer Sicherung zurückspielen" in result.stdout
    assert "ist beschädigt; es aus einer Sicherung zurückspielen" in result.stdout
    assert "an dieser Ablage sind 2 Dinge nicht in Ordnung" in result.stderr


def test_files_that_belong_to_nothing_are_no_damage(shelf):
    (shelf / "originals" / "incoming").mkdir()
    (shelf / "originals" / "incoming" / "half").write_bytes(b"1")
    stray = shelf / "originals" / "ab" / "cd" / ("abcd" + "0" * 60)
    stray.parent.mkdir(parents=True)
    stray.write_bytes(b"2")
    result = verified(shelf)
    assert result.exit_code == 0
    said = [note["text"] for note in json.loads(result.stdout)["notes"]]
    assert sorted(text.split(" ", 2)[2] for text in said) == [
        "left by a write that was cut off; it may be deleted",
        "of no recording here: add it as a recording, or delete it",
    ]


@pytest.mark.parametrize("share", [0.0, 0.0001, 0.2, 0.5, 0.9, 0.999])
def test_a_database_file_cut_short_is_found(shelf, share):
    path = shelf / "crankwise.sqlite"
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])
    result = verified(shelf)
    assert result.exit_code == 3
    assert result.stderr.count("\n") == 1


def test_any_page_zeroed_or_overwritten_is_found(shelf):
    path = shelf / "crankwise.sqlite"
    data = path.read_bytes()
    chance = np.random.default_rng(3)
    for number, page in enumerate(chance.choice(len(data) // PAGE_BYTES, 16, replace=False)):
        content = chance.bytes(PAGE_BYTES) if number % 2 else bytes(PAGE_BYTES)
        begin = page * PAGE_BYTES
        path.write_bytes(data[:begin] + content + data[begin + PAGE_BYTES :])
        result = verified(shelf)
        assert (result.exit_code, result.stderr.count("\n")) == (3, 1), f"page {page}"
        for ending in ("-wal", "-shm"):
            path.with_name(path.name + ending).unlink(missing_ok=True)


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("DELETE FROM recording WHERE name = 'one.csv'", "one row of original points to"),
        ("DELETE FROM original WHERE size_bytes = 480", None),
        ("DELETE FROM visit WHERE id = 1", "row 1 of visit is gone, which no command does"),
        ("DELETE FROM fact WHERE id = 2", "row 2 of fact is gone"),
        ("DELETE FROM measurement", "one row of comparison points to nothing in measurement"),
        ("DELETE FROM job", "3 rows of visit point to nothing in job"),
        ("DELETE FROM known_good", "row 1 of comparison was altered"),
        ("UPDATE fact SET body = '{}' WHERE id = 2", "row 2 of fact was altered"),
        ("UPDATE comparison SET document = x'789c'", "row 1 of comparison was altered"),
        ("UPDATE measurement SET recording_sha256 = 'another'", "measurement 1 was altered"),
        ("UPDATE original SET size_bytes = 1 WHERE size_bytes = 480", None),
        ("UPDATE fact SET recorded_at = 'yesterday' WHERE id = 1", None),
    ],
)  # fmt: skip
def test_a_row_changed_by_hand_is_found(shelf, statement, said):
    with contextlib.closing(sqlite3.connect(shelf / "crankwise.sqlite")) as connection:
        assert connection.execute(statement).rowcount >= 1
        connection.commit()
    found = problems(shelf)
    assert said is None or any(said in text for text in found), found


def test_a_measurement_that_its_original_does_not_give_is_found_by_measuring_again(shelf):
    """An altered document with a digest that fits it can be found in no other way."""
    with open_store(shelf) as store:
        [kept] = [r for r in store.recordings.list() if r.name == "van-3.csv"]
        before = store.recordings.latest(kept.sha256)
        cam = before.measurement.cams[0]
        moved = replace(cam.edges[0], angle_deg=cam.edges[0].angle_deg + 1e-4)
        cam = replace(cam, edges=(moved, *cam.edges[1:]))
        store.recordings.add_measurement(
            replace(before.measurement, cams=(cam, *before.measurement.cams[1:])),
            settings=before.settings,
        )
    assert verified(shelf).exit_code == 0
    [said] = problems(shelf, "--again")
    assert said == (
        "measurement 2 of 'van-3.csv' differs by 0.0001° from measuring it again; measure it again"
    )


def test_a_store_that_is_not_there_is_not_made(tmp_path):
    for command in (["verify"], ["backup", "-o", str(tmp_path / "copy")]):
        result = CliRunner().invoke(app, [*command, "--store", str(tmp_path / "none")])
        assert result.exit_code == 2
        assert "there is no store in" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_an_emptied_database_beside_originals_is_not_taken_for_a_new_store(shelf):
    (shelf / "crankwise.sqlite").write_bytes(b"")
    result = CliRunner().invoke(app, ["job", "list", "--store", str(shelf)])
    assert result.exit_code == 3
    assert "the database file is empty, though there are originals beside it" in result.stderr
    assert (shelf / "crankwise.sqlite").read_bytes() == b""


def test_a_backup_is_a_store_that_can_be_worked_with(shelf, tmp_path):
    copy = tmp_path / "copy"
    result = CliRunner().invoke(app, ["backup", "-o", str(copy), "--store", str(shelf), "--json"])
    assert result.exit_code == 0
    assert json.loads(result.stdout)["originals"] == 3
    assert sorted(path.name for path in copy.iterdir()) == ["crankwise.sqlite", "originals"]
    assert verified(copy).exit_code == 0
    with open_store(copy) as store:
        assert len(store.jobs.list()[0].visits) == 3
        store.recordings.add(b"1,2\n", name="new.csv")
        with store._database.read() as session:
            connection = session.connection()
            assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
    assert verified(copy).exit_code == 0


def test_a_backup_goes_nowhere_that_is_taken_and_leaves_nothing_half(shelf, tmp_path, monkeypatch):
    (tmp_path / "taken").mkdir()
    for place, words in (
        (tmp_path / "taken", "is there already: name a folder that is not there yet"),
        (tmp_path / "none" / "copy", "the folder it is to lie in does not exist"),
    ):
        result = CliRunner().invoke(app, ["backup", "-o", str(place), "--store", str(shelf)])
        assert (result.exit_code, words in result.stderr) == (2, True), result.stderr
    before = sorted(tmp_path.iterdir())
    with monkeypatch.context() as patch, open_store(shelf) as store:
        patch.setattr("crankwise.store.backup._copy_originals", _interrupted)
        with pytest.raises(KeyboardInterrupt):
            store.back_up(tmp_path / "copy")
    assert sorted(tmp_path.iterdir()) == before


def _interrupted(*_given):
    raise KeyboardInterrupt


def test_a_backup_of_a_damaged_store_holds_the_rest_and_says_what_lacks(shelf, tmp_path):
    lost, damaged, _ = originals(shelf)
    lost.unlink()
    damaged.chmod(0o644)
    damaged.write_bytes(b"no longer what it was")
    copy = tmp_path / "copy"
    result = CliRunner().invoke(app, ["backup", "-o", str(copy), "--store", str(shelf)])
    assert result.exit_code == 3
    assert lost.name[:12] in result.stderr
    assert damaged.name[:12] in result.stderr
    assert sum("is missing" in said for said in problems(copy)) == 2


def test_what_was_cut_off_long_ago_is_cleared_away(shelf):
    incoming = shelf / "originals" / "incoming"
    incoming.mkdir()
    for name, age_s in (("old", 2 * 86_400), ("new", 60)):
        (incoming / name).write_bytes(b"half")
        stat = (incoming / name).stat()
        os.utime(incoming / name, (stat.st_atime, stat.st_mtime - age_s))
    with open_store(shelf) as store:
        store.recordings.add(b"1,2\n", name="a.csv")
    assert [path.name for path in incoming.iterdir()] == ["new"]
