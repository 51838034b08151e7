"""What every store keeps to: the same tests on SQLite and on a real PostgreSQL server."""

from __future__ import annotations

import hashlib
import json
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa

from crankwise import document
from crankwise.errors import UnreadableError, UsageError
from crankwise.judge.policy import load_policy
from crankwise.model.job import (
    Advice,
    CheckDone,
    Choice,
    CodesRead,
    Complaint,
    HookUp,
    Note,
    PriceItem,
    Repair,
    VehicleDetails,
)
from crankwise.model.kept import MeasureSettings
from crankwise.model.measurement import Provenance
from crankwise.model.shelf import Grade
from crankwise.pipeline import compare
from crankwise.store import job_state, open_store
from crankwise.store.tables import Base

INPUTS = Path(__file__).parents[1] / "snapshots" / "inputs"
T20 = document.load(INPUTS / "t20.json")
V6 = document.load(INPUTS / "v6.json")


def engine(number: int, *, base=T20, shift=None, spread_deg: float = 0.1, **deg: float):
    """The base measured on another engine: cams shifted by role, edges a little off."""
    random = np.random.default_rng(number)
    cams = []
    for cam in base.cams:
        moved = deg.get(cam.role.replace("-", "_"), 0.0) if shift is None else shift
        off = moved + random.normal(0.0, spread_deg, len(cam.edges))
        edges = [
            replace(edge, angle_deg=float((edge.angle_deg + by) % 720.0))
            for edge, by in zip(cam.edges, off, strict=True)
        ]
        cams.append(replace(cam, edges=tuple(sorted(edges, key=lambda e: e.angle_deg))))
    sha256 = hashlib.sha256(f"{base.recording.sha256} {number}".encode()).hexdigest()
    recording = replace(base.recording, sha256=sha256, name=f"engine-{number}.csv")
    return replace(base, recording=recording, cams=tuple(cams))


# --- recordings ---------------------------------------------------------------------------------


@pytest.mark.parametrize("data", [b"", b"a", os.urandom(3_000_000)], ids=["none", "one", "large"])
def test_an_original_comes_back_byte_for_byte(store, tmp_path, data):
    file = tmp_path / "van.csv"
    file.write_bytes(data)
    kept = store.recordings.add(file)
    assert (kept.sha256, kept.size_bytes) == (hashlib.sha256(data).hexdigest(), len(data))
    with store.recordings.original(kept.sha256) as path:
        assert path.name == "van.csv"
        assert path.read_bytes() == data
    assert not path.exists()


def test_the_same_original_again_changes_nothing(store):
    first = store.recordings.add(b"1,2\n", name="a.csv")
    assert store.recordings.add(b"1,2\n", name="b.csv") == first
    assert store.recordings.list() == (first,)


def test_a_recording_is_found_by_a_beginning_of_its_digest(store):
    kept = store.recordings.add(b"1,2\n", name="a.csv")
    assert store.recordings.get(kept.sha256[:6]) == kept
    assert store.recordings.get(kept.sha256[:9].upper()) == kept
    with pytest.raises(UsageError, match="6 or more of its digits"):
        store.recordings.get(kept.sha256[:5])
    with pytest.raises(UsageError, match="there is no recording"):
        store.recordings.get("0" * 64)


def test_deleting_an_original_is_recorded_and_its_measurements_stay(store):
    kept = store.recordings.add(b"1,2\n", name="a.csv")
    of_it = replace(T20, recording=replace(T20.recording, sha256=kept.sha256))
    measured = store.recordings.add_measurement(of_it)
    deletion = store.recordings.delete(kept.sha256, why="asked for by the owner")
    assert store.jobs.deletions() == (deletion,)
    gone = store.recordings.get(kept.sha256)
    assert (gone.is_kept, gone.deleted) == (False, deletion)
    assert store.recordings.latest(kept.sha256) == measured
    with (
        pytest.raises(UsageError, match=r"was deleted on .* \(asked for by the owner\)"),
        store.recordings.original(kept.sha256),
    ):
        pass
    with pytest.raises(UsageError, match="not kept here"):
        store.recordings.delete(kept.sha256, why="again")
    assert store.verify().is_sound
    assert store.recordings.add(b"1,2\n", name="a.csv").deleted is None  # it may come back


def test_measurements_of_all_methods_are_kept(store):
    settings = MeasureSettings(crank="A", cams={"intake": "B"}, interval_s=1e-5)
    old = store.recordings.add_measurement(T20, settings=settings)
    new = store.recordings.add_measurement(replace(T20, method="2"), settings=settings)
    assert store.recordings.add_measurement(new.measurement).id == new.id
    assert store.recordings.measurements(T20.recording.sha256) == (old, new)
    assert store.recordings.latest(T20.recording.sha256) == new
    assert store.recordings.measurement(old.id) == old
    assert (old.measurement, old.settings, new.method) == (T20, settings, "2")


def test_going_back_to_an_earlier_choice_of_channels_makes_it_the_newest(store):
    settings = MeasureSettings(crank="A", cams={"intake": "B"})
    first = store.recordings.add_measurement(T20)
    store.recordings.add_measurement(replace(T20, method="2"), settings=settings)
    back = store.recordings.add_measurement(T20)
    latest = store.recordings.latest(T20.recording.sha256)
    assert (latest, latest.measurement, latest.settings) == (back, T20, MeasureSettings())
    assert back.id != first.id


def test_times_are_utc_and_aware(store):
    before = datetime.now(UTC)
    kept = store.recordings.add(b"1", name="a.csv")
    measured = store.recordings.add_measurement(T20)
    known_good = store.shelf.add(T20, family="Tarn T20")
    retired = store.shelf.retire(known_good.id, why="sold")
    for when in (kept.added_at, measured.measured_at, known_good.added_at, retired.retired.at):
        assert when.utcoffset() == timedelta(0)
        assert before <= when <= datetime.now(UTC)


# --- the shelf ----------------------------------------------------------------------------------


def test_a_known_good_comes_back_as_it_is(store):
    provenance = Provenance("ignored", 120_000.5, "km", "2026-03-01", "warm idle", "AB")
    grade = Grade(
        fresh_chain=True, verified_by="pins", warm=True, phasers_parked=False,
        sensor="hall", note="über 60°",
    )  # fmt: skip
    kept = store.shelf.add(T20, family=" Tarn  T20 ", provenance=provenance, grade=grade)
    assert store.shelf.get(kept.id[:4]) == kept
    assert kept.provenance == replace(provenance, engine_family="Tarn T20")
    assert (kept.family, kept.grade) == ("Tarn T20", grade)
    assert kept.measurement.cams == T20.cams
    assert kept.measurement.recording.sha256 == T20.recording.sha256
    assert store.shelf.of_family("tarn t20") == (kept,)
    [row] = store.shelf.list(family="TARN T20", wheel="60-2")
    assert (row.id, row.provenance, row.grade) == (kept.id, kept.provenance, grade)
    assert row.edge_counts == tuple(len(cam.edges) for cam in T20.cams)
    assert store.shelf.list(wheel="36-1") == ()


def test_one_recording_counts_once_in_a_family(store):
    kept = store.shelf.add(T20, family="Tarn T20")
    assert store.shelf.add(T20, family="tarn t20").id == kept.id
    with pytest.raises(UsageError, match=f"on the shelf already as {kept.id}"):
        store.shelf.add(T20, family="Tarn T20", grade=Grade(warm=True))
    better = store.shelf.add(T20, family="Tarn T20", grade=Grade(warm=True), supersedes=kept.id)
    assert better.supersedes == kept.id
    assert store.shelf.get(kept.id).retired.why == f"superseded by {better.id}"
    assert [row.id for row in store.shelf.list()] == [better.id]
    other = store.shelf.add(T20, family="Another")  # another family is another matter
    assert {row.id for row in store.shelf.list()} == {better.id, other.id}


def test_retiring_loses_nothing(store):
    kept = store.shelf.add(T20, family="Tarn T20")
    retired = store.shelf.retire(kept.id, why="a worn guide was found")
    assert retired == replace(kept, retired=retired.retired)
    assert store.shelf.get(kept.id) == retired
    assert store.shelf.list() == ()
    assert [row.retired for row in store.shelf.list(include_retired=True)] == [retired.retired]
    [family] = store.shelf.families()
    assert (family.known_goods, family.retired) == (1, 1)
    assert store.shelf.fits(T20) == ()
    assert store.shelf.of_family("Tarn T20") == ()
    with pytest.raises(UsageError, match="retired already"):
        store.shelf.retire(kept.id, why="again")
    with pytest.raises(UsageError, match="say why"):
        store.shelf.retire(kept.id, why=" ")


def test_the_pattern_alone_finds_the_family(store):
    for number in range(3):
        store.shelf.add(engine(number), family="Tarn T20")
    store.shelf.add(V6, family="Fell V6")
    fit, *others = store.shelf.fits(engine(9, intake=-8.0, exhaust=5.0))
    assert (others, fit.family, fit.known_goods) == ([], "Tarn T20", 3)
    assert dict(fit.shifts)["intake"] == pytest.approx(-8.0, abs=0.3)
    assert dict(fit.shifts)["exhaust"] == pytest.approx(5.0, abs=0.3)
    assert len(store.shelf.fits(T20, limit=2)[0].ids) == 2
    assert [fit.family for fit in store.shelf.fits(V6)] == ["Fell V6"]


def swapped(measurement):
    roles = {cam.role: other.role for cam, other in zip(
        measurement.cams, reversed(measurement.cams), strict=True)}  # fmt: skip
    cams = [replace(cam, role=roles[cam.role]) for cam in measurement.cams]
    return replace(measurement, cams=tuple(cams))


def upside_down(measurement):
    other = {"rising": "falling", "falling": "rising"}
    cams = [
        replace(cam, edges=tuple(replace(edge, edge=other[edge.edge]) for edge in cam.edges))
        for cam in measurement.cams
    ]
    return replace(measurement, cams=tuple(cams))


def other_revolution(measurement):
    cams = []
    for cam in measurement.cams:
        edges = [replace(e, angle_deg=(e.angle_deg + 360.0) % 720.0) for e in cam.edges]
        cams.append(replace(cam, edges=tuple(sorted(edges, key=lambda e: e.angle_deg))))
    return replace(measurement, cams=tuple(cams))


def one_cam(measurement):
    return replace(measurement, cams=measurement.cams[:1])


@pytest.mark.parametrize("change", [swapped, upside_down, other_revolution, one_cam])
def test_the_pattern_is_found_whatever_way_it_was_recorded(store, change):
    kept = store.shelf.add(T20, family="Tarn T20")
    assert [fit.ids for fit in store.shelf.fits(change(engine(1)))] == [(kept.id,)]


def test_another_pattern_or_wheel_does_not_fit(store):
    store.shelf.add(T20, family="Tarn T20")
    edges = list(T20.cams[0].edges)
    edges[0] = replace(edges[0], angle_deg=edges[0].angle_deg + 12.0)
    odd = replace(T20, cams=(replace(T20.cams[0], edges=tuple(edges)), *T20.cams[1:]))
    assert store.shelf.fits(odd) == ()
    crank = replace(T20.crank, wheel="36-1", teeth_per_rev=35, intervals_deg=(10.0,) * 34 + (20.0,))
    assert store.shelf.fits(replace(T20, crank=crank)) == ()


def test_statistics_are_those_of_the_known_goods(store):
    intake = np.random.default_rng(5).normal(0.0, 0.8, 12)
    intake[7] = 9.0
    ids = [
        store.shelf.add(engine(number, intake=float(shift), spread_deg=0.0), family="Tarn T20").id
        for number, shift in enumerate(intake)
    ]
    [found] = store.shelf.statistics("Tarn T20")
    spread = {item.quantity: item for item in found.cams}["intake cam"]
    good = np.delete(intake, 7)
    assert found.ids == tuple(ids)
    assert spread.values_deg == pytest.approx(intake - intake[0], abs=1e-9)
    assert (found.known_goods, spread.count) == (12, 11)
    assert {item.id for item in found.outliers} == {ids[7]}
    assert spread.mean_deg == pytest.approx((good - intake[0]).mean(), abs=1e-9)
    # Between what the values show and what the policy takes as known beforehand.
    prior_deg = load_policy(None).spread.cam_deg / np.sqrt(2.0)
    assert good.std(ddof=1) < spread.spread_deg < prior_deg
    assert spread.low_deg < (good - intake[0]).min()
    assert (good - intake[0]).max() < spread.high_deg < 9.0 - intake[0]
    # All engines need more room than the next one alone.
    assert spread.share_low_deg < spread.low_deg
    assert spread.high_deg < spread.share_high_deg
    edges = [edge for edge in found.edges if edge.role == "intake"]
    assert edges[0].spread_deg == pytest.approx(intake.std(ddof=1), abs=1e-9)
    exhaust = {item.quantity: item for item in found.cams}["exhaust cam"]
    assert exhaust.mean_deg == pytest.approx(0.0, abs=1e-9)
    with pytest.raises(UsageError, match="no engine family 'Fell V6' on the shelf; there is"):
        store.shelf.statistics("Fell V6")


def test_edges_are_summed_as_numpy_would(store):
    random = np.random.default_rng(11)
    moved = random.normal(0.0, 0.8, 41)
    ids = [
        store.shelf.add(engine(number, shift=float(shift), spread_deg=0.0), family="Tarn T20").id
        for number, shift in enumerate(moved)
    ]
    store.shelf.retire(ids[7], why="wrong chain")
    off = np.delete(moved, 7) - moved[0]
    [found] = store.shelf.statistics("Tarn T20")
    first = engine(0, shift=float(moved[0]), spread_deg=0.0)
    assert len(found.edges) == sum(len(cam.edges) for cam in first.cams)
    at = 0
    for cam in first.cams:
        for edge in cam.edges:
            seen, at = found.edges[at], at + 1
            assert (seen.role, seen.edge) == (cam.role, edge.edge)
            expected = np.percentile(off, [0, 2.5, 50, 97.5, 100])  # its linear method, type 7
            told = [seen.low_deg, seen.lower_deg, seen.median_deg, seen.upper_deg, seen.high_deg]
            turned = (np.array(told) - edge.angle_deg + 360.0) % 720.0 - 360.0
            assert turned == pytest.approx(expected, abs=1e-9)
            mean = (seen.angle_deg - edge.angle_deg + 360.0) % 720.0 - 360.0
            assert mean == pytest.approx(off.mean(), abs=1e-9)
            assert seen.spread_deg == pytest.approx(off.std(ddof=1), abs=1e-9)


def test_a_large_family_says_summed_what_its_values_say(store, monkeypatch):
    random = np.random.default_rng(12)
    shifts = random.normal(0.0, [[0.8], [0.5]], (2, 60))
    shifts[1, 20] = 9.0
    ids = [
        store.shelf.add(
            engine(number, intake=float(intake), exhaust=float(exhaust)), family="Tarn T20"
        ).id
        for number, (intake, exhaust) in enumerate(shifts.T)
    ]
    store.shelf.retire(ids[5], why="wrong chain")
    [read] = store.shelf.statistics("Tarn T20")
    monkeypatch.setattr("crankwise.store.statistics.MOST_READ", 10)
    [summed] = store.shelf.statistics("Tarn T20")
    assert (summed.known_goods, summed.ids, len(read.ids)) == (59, (), 59)
    assert summed.edges == read.edges
    assert [(o.id, o.quantity) for o in summed.outliers] == [
        (ids[20], "exhaust cam"), (ids[20], "intake to exhaust"),
    ]  # fmt: skip
    assert summed.outliers == read.outliers
    for one, other in zip(
        (*summed.cams, *summed.separations), (*read.cams, *read.separations), strict=True
    ):
        assert (one.quantity, one.count) == (other.quantity, other.count)
        for name in ("mean_deg", "spread_deg", "low_deg", "high_deg", "spread_high_deg"):
            # Noise is taken as alike, which changes little beside a spread ten times as large.
            assert getattr(one, name) == pytest.approx(getattr(other, name), abs=2e-3)


def test_statistics_keep_patterns_of_a_family_apart(store):
    store.shelf.add(T20, family="Both")
    store.shelf.add(engine(1), family="Both")
    store.shelf.add(V6, family="Both")
    found = store.shelf.statistics("Both")
    assert [(item.known_goods, len(item.cams)) for item in found] == [(2, 2), (1, 4)]


# --- export and import --------------------------------------------------------------------------


def filled(store, count=4):
    return [
        store.shelf.add(engine(number), family=("Tarn T20", "Other")[number % 2])
        for number in range(count)
    ]


def test_export_import_export_is_identical(store, tmp_path):
    kept = filled(store)
    store.shelf.retire(kept[0].id, why="sold")
    store.shelf.export(tmp_path / "a.zip", include_retired=True)
    with open_store(tmp_path / "other") as other:
        report = other.shelf.import_file(tmp_path / "a.zip")
        assert sorted(report.added) == sorted(item.id for item in kept)
        assert other.shelf.import_file(tmp_path / "a.zip").present == report.added
        other.shelf.export(tmp_path / "b.zip", include_retired=True)
        assert other.shelf.get(kept[0].id) == store.shelf.get(kept[0].id)
        assert other.shelf.statistics("Tarn T20") == store.shelf.statistics("Tarn T20")
        assert other.verify().is_sound
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()
    assert store.shelf.import_file(tmp_path / "b.zip").added == ()


def test_an_import_reports_what_it_can_not_take(store, tmp_path):
    kept, _ = filled(store, 2)
    with open_store(tmp_path / "other") as other:
        rival = other.shelf.add(engine(0), family="Tarn T20", grade=Grade(warm=True))
        fresh = other.shelf.add(engine(7), family="Tarn T20")
        other.shelf.export(tmp_path / "a.zip")
    report = store.shelf.import_file(tmp_path / "a.zip")
    assert (report.added, report.present) == ((fresh.id,), ())
    [conflict] = report.conflicts
    assert conflict.id == rival.id
    assert f"on the shelf already as {kept.id}" in conflict.why
    assert store.shelf.get(kept.id) == kept


def test_a_known_good_changed_on_the_way_is_refused(store, tmp_path):
    kept = filled(store, 1)[0]
    store.shelf.export(tmp_path / "a.json")
    values = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    values["measurement"]["cams"][0]["edges"][0]["angle_deg"] += 1.0
    (tmp_path / "a.json").write_text(json.dumps(values), encoding="utf-8")
    with open_store(tmp_path / "other") as other:
        report = other.shelf.import_file(tmp_path / "a.json")
        assert (report.added, other.shelf.list()) == ((), ())
    assert [(item.id, "changed since" in item.why) for item in report.conflicts] == [
        (kept.id, True)
    ]


def test_one_retired_elsewhere_is_reported_and_stays(store, tmp_path):
    kept = filled(store, 1)[0]
    store.shelf.export(tmp_path / "before.zip")
    with open_store(tmp_path / "other") as other:
        other.shelf.import_file(tmp_path / "before.zip")
        other.shelf.retire(kept.id, why="a worn guide")
        other.shelf.export(tmp_path / "after.zip", include_retired=True)
    [conflict] = store.shelf.import_file(tmp_path / "after.zip").conflicts
    assert "it is retired there (a worn guide)" in conflict.why
    assert store.shelf.get(kept.id).retired is None


def test_a_later_one_takes_the_place_of_the_earlier_on_import(store, tmp_path):
    kept = filled(store, 1)[0]
    with open_store(tmp_path / "other") as other:
        store.shelf.export(tmp_path / "a.zip")
        other.shelf.import_file(tmp_path / "a.zip")
        better = other.shelf.add(
            engine(0), family="Tarn T20", grade=Grade(warm=True), supersedes=kept.id
        )
        other.shelf.export(tmp_path / "b.zip")
    assert store.shelf.import_file(tmp_path / "b.zip").added == (better.id,)
    assert [row.id for row in store.shelf.list()] == [better.id]


def test_nothing_private_leaves_with_an_export(store, tmp_path):
    free, named = filled(store, 2)
    details = VehicleDetails(vin="BRM0000000T200003", plate="BR 12 ABC", customer="Petal & Stem")
    van = store.jobs.add_vehicle("van 3", details=details)
    for words in ("br12abc, warm", "the van of Petal & Stem", "petal's van", details.vin.lower()):
        with pytest.raises(UsageError, match=r"holds the (plate|vin|customer) of a vehicle"):
            store.shelf.add(engine(5), family="Tarn T20", provenance=Provenance(conditions=words))
    kept = store.shelf.add(
        replace(T20, recording=replace(T20.recording, name="BR12ABC Petal.csv")),
        family="Tarn T20", vehicle_id=van.id,
    )  # fmt: skip
    store.jobs.update_vehicle(van.id, VehicleDetails(customer="Other"))  # names a family now
    report = store.shelf.export(tmp_path / "a.zip")
    assert set(report.exported) == {free.id, kept.id}
    assert [identifier for identifier, _ in report.withheld] == [named.id]
    store.shelf.export(tmp_path / "a.json", ids=[kept.id])
    text = (tmp_path / "a.json").read_text(encoding="utf-8").casefold()
    assert not any(word in text for word in ("br12abc", "petal", "stem", "brm0000", "van 3"))
    assert "vehicle_id" not in text


# --- jobs ---------------------------------------------------------------------------------------

FACTS = (
    Complaint("rattle at start-up"),
    CodesRead(("P0016", "P0017"), note="both pending"),
    HookUp("crank", connector="X12", pin="2", wire="green", probed_at="at the sensor",
           unplugged="both phaser solenoids", puncture_sealed=True),
    CheckDone("before", "solenoids unplugged", done=True),
    Advice("replace the chain"),
    Choice("replace it", accepted=True),
    PriceItem("chain kit", Decimal("412.50"), "GBP"),
    Note("guide broken"),
    Repair("chain and guides", chain_replaced=True, mileage=81_234.5),
)  # fmt: skip


def visited(store, *, date="2026-03-01", mileage=81_000.0, unit="miles"):
    van = store.jobs.add_vehicle("van 3", family="Tarn T20")
    job = store.jobs.open(van.id, title="rattle")
    visit = store.jobs.add_visit(job.id, date=date, mileage=mileage, mileage_unit=unit)
    return van, job, visit


def test_a_whole_visit_comes_back(store):
    van, job, visit = visited(store)
    known_good = store.shelf.add(engine(1), family="Tarn T20")
    recording = store.recordings.add(b"1,2\n", name="a.csv")
    of_it = replace(T20, recording=replace(T20.recording, sha256=recording.sha256))
    measured = store.recordings.add_measurement(of_it)
    recorded = store.jobs.add_recording(visit.id, recording.sha256, purpose="diagnosis")
    assert store.jobs.add_recording(visit.id, recording.sha256, purpose="diagnosis") == recorded
    facts = [store.jobs.add_fact(f, job_id=job.id, visit_id=visit.id) for f in FACTS]
    of_job = store.jobs.add_fact(Note("regular customer"), job_id=job.id)
    compared = store.jobs.add_comparison(
        visit.id, compare(of_it, [known_good.measurement]),
        measurement_id=measured.id, known_good_ids=[known_good.id[:6]],
    )  # fmt: skip
    own = store.shelf.add(of_it, family="Tarn T20", vehicle_id=van.id)
    file = store.jobs.file(job.id)
    [seen] = file.visits
    assert (file.job, file.vehicle, seen.visit) == (job, van, visit)
    assert [kept.fact for kept in seen.facts] == list(FACTS)
    assert (seen.facts, file.facts) == (tuple(facts), (of_job,))
    assert (seen.recordings, seen.measurements) == ((recorded,), (measured,))
    assert seen.comparisons == (compared,)
    assert compared.comparison == compare(of_it, [known_good.measurement])
    assert compared.known_good_ids == (known_good.id,)
    assert file.known_goods == (own.id,)
    assert store.jobs.list() == (file,)


def test_a_fact_is_corrected_by_a_later_one(store):
    _, job, visit = visited(store)
    wrong = store.jobs.add_fact(CodesRead(("P0016",)), job_id=job.id, visit_id=visit.id)
    right = store.jobs.add_fact(
        CodesRead(("P0017",)), job_id=job.id, visit_id=visit.id, replaces=wrong.id
    )
    assert store.jobs.file(job.id).visits[0].facts == (right,)
    _, other, _ = visited(store)
    with pytest.raises(UsageError, match="belongs to job"):
        store.jobs.add_fact(Note("x"), job_id=other.id, replaces=wrong.id)
    with pytest.raises(UsageError, match="belongs to job"):
        store.jobs.add_fact(Note("x"), job_id=other.id, visit_id=visit.id)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"date": "1 March"}, "'1 March' is no date"),
        ({"date": "20260301"}, "is no date"),
        ({"date": "2026-03-01", "mileage": 5.0}, "needs its unit"),
        ({"date": "2026-03-01", "mileage": -5.0, "mileage_unit": "km"}, "0 or above"),
        ({"date": "2026-03-01", "mileage": float("nan"), "mileage_unit": "km"}, "0 or above"),
    ],
)
def test_a_senseless_visit_is_refused(store, given, said):
    _, job, _ = visited(store)
    with pytest.raises(UsageError, match=said):
        store.jobs.add_visit(job.id, **given)


def test_what_is_not_there_is_said(store):
    for asked in (
        lambda: store.jobs.file(5), lambda: store.jobs.vehicle(5), lambda: store.jobs.open(5),
        lambda: store.jobs.add_visit(5, date="2026-03-01"), lambda: store.recordings.measurement(5),
        lambda: store.shelf.get("abcd"), lambda: store.history(5),
        lambda: store.jobs.add_vehicle("v", workshop="none"),
    ):  # fmt: skip
        with pytest.raises(UsageError, match="there is no "):
            asked()


def test_details_are_updated_searched_and_forgotten(store):
    store.jobs.add_workshop("Bramblegate Workshop")
    store.jobs.add_workshop("bramblegate  workshop")
    assert [item.name for item in store.jobs.workshops()] == ["Bramblegate Workshop"]
    van = store.jobs.add_vehicle(
        "van 3", workshop="Bramblegate Workshop", details=VehicleDetails(plate="BR12ABC")
    )
    details = VehicleDetails(vin="V1", plate="BR99XYZ", customer="Petal")
    assert store.jobs.update_vehicle(van.id, details).details == details
    assert store.jobs.vehicles(search="petal") == (store.jobs.vehicle(van.id),)
    assert store.jobs.vehicles(search="BR12") == ()
    deletion = store.jobs.forget_details(van.id, why="asked for")
    assert store.jobs.vehicle(van.id).details == VehicleDetails()
    assert store.jobs.deletions() == (deletion,)


def test_the_state_follows_from_the_facts(store):
    van = store.jobs.add_vehicle("van 3", family="Tarn T20")
    job = store.jobs.open(van.id)
    known_good = store.shelf.add(T20, family="Tarn T20").measurement

    def state():
        return job_state(store.jobs.file(job.id)).state

    def judged(visit, number, purpose, **shift):
        measurement = engine(number, **shift)
        kept = store.recordings.add_measurement(measurement)
        store.jobs.add_recording(visit.id, kept.recording_sha256, purpose=purpose)
        yield state()
        store.jobs.add_comparison(visit.id, compare(measurement, [known_good]))
        yield state()

    assert state() == "open"
    visit = store.jobs.add_visit(job.id, date="2026-03-01")
    assert state() == "to-record"
    raw = store.recordings.add(b"1", name="a.csv")
    store.jobs.add_recording(visit.id, raw.sha256, purpose="diagnosis")
    assert state() == "to-measure"
    assert list(judged(visit, 2, "diagnosis", intake=15.0)) == ["to-measure", "judged"]
    for fact, then in (
        (Advice("chain"), "advised"),
        (Choice("later", accepted=False), "declined"),
        (Choice("now", accepted=True), "accepted"),
        (Repair("chain", chain_replaced=True), "repaired"),
    ):
        store.jobs.add_fact(fact, job_id=job.id, visit_id=visit.id)
        assert state() == then
    assert list(judged(visit, 3, "after-repair", intake=14.0)) == ["repaired", "repaired"]
    assert list(judged(visit, 4, "after-repair")) == ["repaired", "verified"]


def test_history_finds_the_trend_and_a_new_chain_restarts_it(store):
    van = store.jobs.add_vehicle("van 3", family="Tarn T20")
    job = store.jobs.open(van.id)
    known_good = store.shelf.add(T20, family="Tarn T20")
    shift_of = {40_000: 1.0, 50_000: 2.0, 60_000: 3.0, 70_000: 4.0}
    for number, (mileage, shift) in enumerate(shift_of.items()):
        visit = store.jobs.add_visit(
            job.id, date=f"2026-0{number + 1}-01", mileage=mileage * 1.609344, mileage_unit="km"
        )
        kept = store.recordings.add_measurement(
            engine(number, intake=shift, exhaust=0.0, spread_deg=0.01)
        )
        store.jobs.add_recording(visit.id, kept.recording_sha256, purpose="check")
    last = store.jobs.add_visit(job.id, date="2026-05-01", mileage=70_500, mileage_unit="miles")
    found = store.history(van.id)
    series = {(item.kind, item.quantity): item for item in found.series}
    intake = series["cam", "intake"]
    assert (found.mileage_unit, found.known_good_id) == ("miles", known_good.id)
    assert [visit.mileage for visit in intake.visits] == pytest.approx(list(shift_of))
    assert [visit.shift_deg for visit in intake.visits] == pytest.approx([1, 2, 3, 4], abs=0.02)
    assert intake.worn.change_per_10000.value == pytest.approx(1.0, abs=0.02)
    assert intake.out_of_time.forecast.mileage == pytest.approx(150_000, rel=0.02)
    assert series["cam", "exhaust"].worn.outcome == "not-trending"
    between = series["separation", "intake to exhaust"]
    assert between.worn.change_per_10000.value == pytest.approx(-1.0, abs=0.02)
    store.jobs.add_fact(Repair("chain", chain_replaced=True), job_id=job.id, visit_id=last.id)
    again = {item.quantity: item for item in store.history(van.id).series}["intake"]
    assert (again.restarts, again.worn.outcome) == ((70_500.0,), "too-few-visits")
    assert len(again.visits) == 4


# --- soundness ----------------------------------------------------------------------------------


def test_verifying_finds_what_is_wrong(store, where, tmp_path):
    folder = tmp_path / ("shelf/originals" if "://" not in where else "originals")
    good, damaged, lost = (
        store.recordings.add(name.encode(), name=name) for name in ("good", "damaged", "lost")
    )
    known_good = filled(store, 1)[0]
    measured = store.recordings.add_measurement(T20)
    report = store.verify()
    assert (report.recordings, report.measurements, report.known_goods) == (3, 1, 1)
    assert report.is_sound

    def file_of(kept):
        return folder / kept.sha256[:2] / kept.sha256[2:4] / kept.sha256

    file_of(damaged).chmod(0o644)
    file_of(damaged).write_bytes(b"damageD")
    file_of(lost).unlink()
    (folder / "incoming" / "half").write_bytes(b"x")
    tables = Base.metadata.tables
    with store._database.write() as session:
        for name in ("measurement", "known_good"):
            session.execute(sa.update(tables[name]).values(document='{"altered": true}'))
    report = store.verify()
    said = {problem.text for problem in (*report.problems, *report.notes)}
    assert (len(report.problems), len(said)) == (4, 5)
    for words in (
        f"'damaged' ({damaged.sha256[:12]}) is damaged",
        f"'lost' ({lost.sha256[:12]}) is missing",
        "incoming/half is left by a write that was cut off",
        f"measurement {measured.id} was altered", f"known-good {known_good.id} was altered",
    ):  # fmt: skip
        assert any(words in text for text in said), words
    with (
        pytest.raises(UnreadableError, match="is missing; put the file back"),
        store.recordings.original(lost.sha256),
    ):
        pass
    store.recordings.add(b"damaged", name="damaged")  # adding again heals
    store.recordings.add(b"lost", name="lost")
    healed = store.verify()
    assert {problem.what for problem in healed.problems} == {"measurement", "known-good"}
    assert [note.text for note in healed.notes] == [
        "incoming/half is left by a write that was cut off; it may be deleted"
    ]
    assert store.recordings.get(good.sha256) == good


def test_verifying_finds_rows_that_were_changed_by_hand(store):
    """On either database; what only SQLite can tell stands in test_store_verify.py."""
    known_good, *_ = filled(store, 2)
    kept = store.recordings.add(b"1,2\n", name="van.csv")
    van = store.jobs.add_vehicle("van 3")
    job = store.jobs.open(van.id)
    fact = store.jobs.add_fact(Note("rattles when cold"), job_id=job.id)
    assert store.verify().is_sound
    tables = Base.metadata.tables
    with store._database.write() as session:
        session.execute(sa.delete(tables["original"]))
        session.execute(sa.delete(tables["known_good_cam"]))
        session.execute(sa.update(tables["known_good"]).values(wheel="36-1"))
        session.execute(sa.update(tables["fact"]).values(body="{"))
    said = {problem.text for problem in store.verify().problems}
    for words in (
        f"the original of 'van.csv' ({kept.sha256[:12]}) is here, but its row is gone",
        f"the place of known-good {known_good.id} in its pattern is lost",
        f"known-good {known_good.id} was altered",
        f"row {fact.id} of fact was altered",
    ):
        assert any(words in text for text in said), words


def test_several_write_at_once(where, tmp_path):
    def work(number):
        with open_store(where) as store:
            for index in range(5):
                store.recordings.add(f"{index}".encode(), name="same")
                store.shelf.add(engine(100 * number + index), family="Tarn T20")
                van = store.jobs.add_vehicle(f"van {number}-{index}", family=f"f{index}")
                store.jobs.open(van.id)
            return store.shelf.add(T20, family="Tarn T20").id

    with ThreadPoolExecutor(4) as pool:
        same = set(pool.map(work, range(4)))
    assert len(same) == 1
    with open_store(where) as store:
        assert len(store.shelf.list()) == 21
        assert len(store.recordings.list()) == 5
        assert len(store.jobs.list()) == 20
        assert [item.known_goods for item in store.shelf.statistics("Tarn T20")] == [21]
        assert store.verify().is_sound
