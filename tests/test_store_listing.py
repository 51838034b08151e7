"""What pages ask for again and again: right, and quick for many vehicles as for few."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import event

from crankwise import document
from crankwise.judge.policy import load_policy
from crankwise.model.job import Complaint, Note, Repair, VehicleDetails
from crankwise.store import open_store
from crankwise.store.remembered import Remembered

T20 = document.load(Path(__file__).parent / "snapshots" / "inputs" / "t20.json")
COMPARED = document.load_comparison(
    Path(__file__).parent / "snapshots" / "inputs" / "van-compared.json"
)


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path) as opened:
        opened.jobs.add_workshop("Bramblegate Workshop")
        yield opened


def add_job(store, number: int, *, visits: int = 2) -> None:
    workshop = "Bramblegate Workshop" if number % 2 else None
    vehicle = store.jobs.add_vehicle(
        f"van {number}", workshop=workshop, family=f"family {number % 3}",
        details=VehicleDetails(plate=f"BR {number}"),
    )  # fmt: skip
    store.jobs.update_vehicle(vehicle.id, VehicleDetails(plate=f"NEW {number}"))
    job = store.jobs.open(vehicle.id, title=f"matter {number}")
    wrong = store.jobs.add_fact(Note("wrong"), job_id=job.id)
    store.jobs.add_fact(Note("right"), job_id=job.id, replaces=wrong.id)
    for place in range(visits):
        visit = store.jobs.add_visit(job.id, date=f"2026-0{9 - place}-01")
        store.jobs.add_fact(Complaint("rattles"), job_id=job.id, visit_id=visit.id)
        info = replace(T20.recording, sha256=f"{number * 10 + place:064x}")
        kept = store.recordings.add_measurement(replace(T20, recording=info))
        for purpose in ("diagnosis", "check"):
            store.jobs.add_recording(visit.id, kept.recording_sha256, purpose=purpose)
        store.jobs.add_comparison(visit.id, COMPARED, measurement_id=kept.id)
    store.shelf.add(kept.measurement, family=f"family {number % 3}")


def test_a_list_holds_what_the_files_hold(store):
    for number in range(1, 6):
        add_job(store, number, visits=1 + number % 3)
    listed = store.jobs.list()
    assert [file.job.id for file in listed] == [5, 4, 3, 2, 1]
    for file in listed:
        assert file == store.jobs.file(file.job.id)
        assert [visit.visit.date for visit in file.visits] == sorted(
            visit.visit.date for visit in file.visits
        )
        assert [kept.fact for kept in file.facts] == [Note("right")]
        assert file.vehicle == store.jobs.vehicle(file.vehicle.id)
        assert file.vehicle.details.plate == f"NEW {file.job.id}"
    assert listed[0].known_goods
    assert len(listed[0].visits[0].measurements) == 1  # once, though recorded for two purposes
    assert [file.job.id for file in store.jobs.list(search="new 4")] == [4]
    assert [file.job.id for file in store.jobs.list(search="MATTER 2")] == [2]
    assert store.jobs.list(search="nothing") == ()


def test_many_jobs_take_no_more_queries_than_few(store):
    asked = []
    event.listen(store.jobs._database.engine, "before_cursor_execute", lambda *_: asked.append(1))

    def queries() -> int:
        asked.clear()
        store.jobs.list()
        return len(asked)

    add_job(store, 1)
    few = queries()
    for number in range(2, 12):
        add_job(store, number)
    assert queries() == few < 20


def test_a_history_is_worked_out_anew_only_when_something_new_is_known(store):
    vehicle = store.jobs.add_vehicle("van 1", family="Tarn T20")
    job = store.jobs.open(vehicle.id)
    for place in range(3):
        visit = store.jobs.add_visit(
            job.id, date=f"2026-0{place + 1}-01", mileage=1_000.0 * place, mileage_unit="km"
        )
        info = replace(T20.recording, sha256=f"{place + 1:064x}")
        store.recordings.add_measurement(replace(T20, recording=info))
        store.jobs.add_recording(visit.id, info.sha256, purpose="diagnosis")
    store.shelf.add(T20, family="Tarn T20")

    first = store.history(vehicle.id)
    assert store.history(vehicle.id) is first
    strict = replace(load_policy(None).limits, worn_share=0.1)
    policy = replace(load_policy(None), limits=strict)
    assert store.history(vehicle.id, policy=policy) is not first

    repair = Repair("chain new", chain_replaced=True)
    store.jobs.add_fact(repair, job_id=job.id, visit_id=visit.id)
    repaired = store.history(vehicle.id)
    assert first.series[0].restarts == ()
    assert repaired.series[0].restarts == (2_000.0,)


def test_the_result_not_asked_for_the_longest_is_forgotten():
    remembered, worked_out = Remembered(2), []

    def ask(number: int) -> int:
        return remembered.get(number, lambda: worked_out.append(number) or -number)

    assert [ask(number) for number in (1, 2, 1, 3, 1, 2)] == [-1, -2, -1, -3, -1, -2]
    assert worked_out == [1, 2, 3, 2]
