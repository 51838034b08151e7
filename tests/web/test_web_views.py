"""What pages show, made from a store; and views kept until the store changes."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

pytest.importorskip("fastapi", reason="the screens are an extra: install crankwise[web]")

from crankwise import document
from crankwise.language.formats import Numbers
from crankwise.model.job import Choice, Offer, Repair
from crankwise.model.shop import Profile
from crankwise.pipeline import compare
from crankwise.store import open_store
from crankwise.web.memory import Memory
from crankwise.web.views.start import start_view
from crankwise.web.views.visit import visit_view

T20 = document.load(Path(__file__).parents[1] / "snapshots" / "inputs" / "t20.json")


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path) as opened:
        yield opened


@pytest.fixture
def visit(store):
    vehicle = store.jobs.add_vehicle("van 3", family="Tarn T20")
    job = store.jobs.open(vehicle.id)
    return store.jobs.add_visit(job.id, date="2026-03-01", mileage=58_900, mileage_unit="miles")


def test_a_view_is_made_again_only_after_the_store_has_changed(store, visit):
    made = []
    memory = Memory(store)

    def make():
        made.append(len(made))
        return made[-1]

    assert [memory.get("a", make), memory.get("a", make), memory.get("b", make)] == [0, 0, 1]
    store.jobs.add_fact(Choice("wait", accepted=False), job_id=visit.job_id, visit_id=visit.id)
    assert [memory.get("a", make), memory.get("b", make), memory.get("b", make)] == [2, 3, 3]


def test_steps_follow_from_what_was_written_down(store, visit):
    def standing():
        return [step.id for step in visit_view(store, visit.id).steps if step.done]

    assert standing() == ["vehicle"]
    store.recordings.add_measurement(T20)
    store.jobs.add_recording(visit.id, T20.recording.sha256, purpose="diagnosis")
    assert standing() == ["vehicle", "hook-up", "recording", "roles", "check", "angle-view"]
    kept = store.jobs.add_comparison(visit.id, compare(T20, [T20], same_vehicle=True))
    view = visit_view(store, visit.id)
    assert view.before is not None
    assert view.before.comparison == kept.comparison
    assert (view.after, view.is_kept) == (None, False)
    store.shelf.add(T20, family="Tarn T20")
    assert visit_view(store, visit.id).is_kept


def test_a_vehicle_that_is_watched_is_due_until_it_is_repaired(store, visit):
    def due():
        return [row.recheck_mileage for row in start_view(store, search="", page=1).due]

    fact = Offer("watch", "measure again", Decimal(40), Decimal(40), "GBP", None, 64_000.0)
    store.jobs.add_fact(fact, job_id=visit.job_id, visit_id=visit.id)
    assert due() == [64_000.0]
    repair = Repair("new chain", chain_replaced=True)
    store.jobs.add_fact(repair, job_id=visit.job_id, visit_id=visit.id)
    assert due() == [None]  # due for the recording after the repair


def test_a_long_list_has_pages(store):
    for number in range(45):
        store.jobs.open(store.jobs.add_vehicle(f"van {number}").id)
    first, second = (start_view(store, search="", page=page) for page in (1, 2))
    assert (first.pages, len(first.vehicles), len(second.vehicles)) == (2, 40, 5)
    assert start_view(store, search="", page=99).page == 2
    assert start_view(store, search="van 44", page=1).total == 1


def test_numbers_are_written_as_the_workshop_writes_them():
    """Against Unicode's locale data (CLDR), by way of Babel."""
    british, german = Numbers(Profile()), Numbers(Profile(number_format="de-DE"))
    assert british.money(Decimal("1234.5"), "GBP") == "£1,234.50"
    assert german.money(Decimal("1234.5"), "EUR") == "1.234,50\xa0€"
    assert german.mileage(58_900.0, "km") == "58.900\u202fkm"
    assert british.day("2026-03-01") == "1 Mar 2026"
    assert british.day("no day") == "no day"
