"""What a workshop keeps about itself, on SQLite and on a real PostgreSQL server."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from crankwise import document
from crankwise.drive.engine_file import shipped
from crankwise.drive.engine_writer import to_toml
from crankwise.errors import UnreadableError, UsageError
from crankwise.model.job import Note, Offer
from crankwise.model.shop import Logo, Profile

T20 = document.load(Path(__file__).parents[1] / "snapshots" / "inputs" / "t20.json")
BRAMBLEGATE = Profile(
    name="Bramblegate Workshop", contact="Mill Lane 4\n01234 567", mileage_unit="miles",
    currency="GBP", number_format="en-GB", paper="A4", tax_name="VAT", tax_percent=Decimal(20),
)  # fmt: skip


def test_the_newest_profile_and_logo_count(store):
    assert (store.shop.profile(), store.shop.logo()) == (Profile(), None)
    store.shop.keep_profile(Profile(name="Old name"))
    store.shop.keep_profile(BRAMBLEGATE)
    store.shop.keep_logo(Logo("image/png", b"old"))
    store.shop.keep_logo(Logo("image/svg+xml", b"<svg/>"))
    assert store.shop.profile() == BRAMBLEGATE
    assert store.shop.logo() == Logo("image/svg+xml", b"<svg/>")
    store.shop.keep_logo(None)
    assert store.shop.logo() is None
    with pytest.raises(UsageError, match="not text/html"):
        store.shop.keep_logo(Logo("text/html", b"<script>"))
    with pytest.raises(UsageError, match="500 kB"):
        store.shop.keep_logo(Logo("image/png", bytes(600_000)))


def test_an_engine_file_of_ones_own_stands_before_the_shipped_one(store):
    text = to_toml(shipped()["tarn-t20"]).replace("code_limit_deg = 12", "code_limit_deg = 9")
    store.shop.keep_engine_file("tarn-t20", text)
    assert store.shop.engine_of_family("TARN t20").code_limit_deg == 9.0
    assert [kept.name for kept in store.shop.engine_files()] == ["tarn-t20"]
    with pytest.raises(UnreadableError, match="'cylinders' must be"):
        store.shop.keep_engine_file("tarn-t20", text.replace("= 4", "= -4", 1))
    assert store.shop.engine_of_family("Tarn T20").code_limit_deg == 9.0
    store.shop.drop_engine_file("tarn-t20")
    assert store.shop.engine_of_family("Tarn T20").code_limit_deg == 12.0
    with pytest.raises(UsageError, match="no engine file"):
        store.shop.drop_engine_file("tarn-t20")


def test_a_policy_of_ones_own_counts_until_it_is_taken_away(store):
    own = '[limits.code_limit_deg]\nvalue = 8\nsource = "own vans"\n'
    store.shop.keep_policy(own)
    assert store.shop.policy().limits.code_limit_deg == 8.0
    with pytest.raises(UnreadableError, match="value"):
        store.shop.keep_policy("[limits.code_limit_deg]\nvalue = -1\nsource = 'x'\n")
    assert store.shop.policy_text() == own
    store.shop.keep_policy(None)
    assert store.shop.policy().limits.code_limit_deg == 12.0


def test_a_key_is_known_by_its_digest_until_it_is_withdrawn(store):
    key = store.shop.add_key("the office computer")
    assert store.shop.is_key(key)
    assert not store.shop.is_key(key[:-1] + ("A" if key[-1] != "A" else "B"))
    assert key not in repr(store.shop.keys())
    with pytest.raises(UsageError, match="withdraw it first"):
        store.shop.add_key("the office computer")
    store.shop.withdraw_key("the office computer")
    assert not store.shop.is_key(key)


def test_an_offer_comes_back_as_it_was_written(store):
    vehicle = store.jobs.add_vehicle("van 3")
    job = store.jobs.open(vehicle.id)
    offer = Offer(
        "watch", "measure again", Decimal("40.00"), Decimal("55.50"), "GBP", Decimal(20), 64_000.0
    )
    store.jobs.add_fact(offer, job_id=job.id)
    assert store.jobs.file(job.id).facts[0].fact == offer


def test_the_stamp_changes_with_whatever_is_written(store):
    stamps = [store.stamp()]

    def changed(words: str) -> None:
        stamps.append(store.stamp())
        assert stamps[-1] not in stamps[:-1], words

    vehicle = store.jobs.add_vehicle("van 3")
    changed("vehicle")
    job = store.jobs.open(vehicle.id)
    changed("job")
    visit = store.jobs.add_visit(job.id, date="2026-03-01")
    changed("visit")
    store.jobs.add_fact(Note("x"), job_id=job.id)
    changed("fact")
    store.recordings.add_measurement(T20)
    changed("measurement")
    store.jobs.add_recording(visit.id, T20.recording.sha256, purpose="diagnosis")
    changed("recording of a visit")
    known_good = store.shelf.add(T20, family="Tarn T20")
    changed("known-good")
    store.shelf.retire(known_good.id, why="sold")
    changed("retired")
    store.shop.keep_profile(BRAMBLEGATE)
    changed("profile")
    assert store.stamp() == stamps[-1]


def test_vehicles_come_in_the_order_in_which_they_were_seen(store):
    jobs = []
    for label, day in (("van 1", "2026-03-01"), ("van 2", None), ("van 3", "2026-05-01")):
        job = store.jobs.open(store.jobs.add_vehicle(label).id)
        if day:
            store.jobs.add_visit(job.id, date=day)
        jobs.append(job.id)
    assert store.jobs.seen_last() == (jobs[2], jobs[0], jobs[1])
    assert store.jobs.seen_last(search="VAN 2") == (jobs[1],)
