"""What stopped a newcomer on the way through a whole visit, and must not again."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest

from crankwise.errors import NotMeasurableError
from crankwise.judge.codes import codes_read
from crankwise.model.policy import HEALTHY
from crankwise.picture.comparison_words import causes_told
from crankwise.pipeline import compare, measure
from crankwise.store import open_store
from crankwise.testing.simulate import PRESETS, simulate
from crankwise.testing.simulate.write import simulate_to_file
from crankwise.workshop.finding import find_job
from crankwise.workshop.opening import mileage_doubt
from crankwise.workshop.recording import digest_of, kept_elsewhere, record_visit


@dataclass(frozen=True)
class Shift:
    """What a shift says to the codes."""

    role: str
    shift_deg: float
    uncertainty_deg: float = 0.1


def test_a_recording_too_short_for_its_edges_is_no_other_engine():
    spec = PRESETS["t20-cranking"]
    short = replace(spec, scope=replace(spec.scope, duration_s=1.4, interval_s=5e-5))
    long = replace(spec, scope=replace(spec.scope, duration_s=4.0, interval_s=5e-5))
    few, many = (measure(simulate(one, seed=3).recording) for one in (short, long))
    assert len(few.cams[0].edges) < len(many.cams[0].edges)
    (finding,) = (one for one in few.findings if one.code == "too-short")
    assert "seen fewer than 3 times are left out" in finding.text
    with pytest.raises(NotMeasurableError, match=r"only \d cycles of the subject.*record for"):
        compare(few, [many])
    with pytest.raises(NotMeasurableError, match=r"only \d cycles of the known-good"):
        compare(many, [few])
    (note,) = (one for one in many.findings if one.code == "parking-not-shown")
    assert "cranking alone is no proof" in note.text


def test_codes_read_are_set_against_the_shifts():
    near, far = Shift("intake", 4.3), Shift("exhaust", 20.0)
    (unexplained,) = codes_read([near], 12.0, ["P0016-78"])
    assert unexplained.startswith("P0016 was read, which +4.3° ± 0.1° of the intake cam does not")
    (none,) = codes_read([far], 12.0, [])
    assert none.startswith("No code was read at this visit")
    assert codes_read([far], 12.0, ["P0017"]) == codes_read([near], 12.0, ["P0300"]) == ()


def test_one_recording_is_kept_once_and_told_where_else_it_is(tmp_path):
    spec = PRESETS["t20-logic"]
    brief = replace(spec, scope=replace(spec.scope, duration_s=1.6))
    path = tmp_path / "van.csv"
    simulate_to_file(brief, path, seed=1)
    with open_store(tmp_path / "store") as store:
        visits = []
        for name in ("van-1", "van-2"):
            job = store.jobs.open(store.jobs.add_vehicle(name).id)
            visits.append(
                store.jobs.add_visit(job.id, date="2026-03-01", mileage=1.0, mileage_unit="km")
            )
        for purpose in ("diagnosis", "diagnosis", "after-repair"):
            record_visit(store, find_job(store, "van-1").visits[0], path, purpose=purpose)
        kept = find_job(store, "van-1").visits[0].recordings
        assert [one.purpose for one in kept] == ["after-repair"]
        places = store.jobs.places_of(digest_of(path))
        assert places == ((visits[0].id, "after-repair"),)
        (words,) = kept_elsewhere(store, places, besides=visits[1].id)
        assert "kept with van-1, visit of 2026-03-01" in words
        assert kept_elsewhere(store, places, besides=visits[0].id) == ()


def test_a_mileage_that_runs_back_is_doubted(tmp_path):
    with open_store(tmp_path) as store:
        job = store.jobs.open(store.jobs.add_vehicle("van-1").id)

        def added(date, mileage, unit="miles"):
            return store.jobs.add_visit(job.id, date=date, mileage=mileage, mileage_unit=unit)

        added("2025-03-01", 91_200.0)
        wrong = added("2026-03-01", 98.0)
        right = [added("2026-04-01", 98_400.0), added("2026-05-01", 5.0, "km")]
        file = find_job(store, "van-1")
        words = mileage_doubt(file, wrong)
        assert words is not None
        assert words.startswith("98 miles does not fit 91,200 miles on 2025-03-01: check it")
        assert [mileage_doubt(file, visit) for visit in right] == [None, None]


def test_beside_a_healthy_engine_no_cause_is_named_that_hardly_anything_speaks_for():
    @dataclass(frozen=True)
    class Likely:
        cause: str
        probability: float

    healthy, chain, target = Likely(HEALTHY, 0.9), Likely("chain", 0.07), Likely("target", 0.02)
    assert causes_told([healthy, chain, target]) == (healthy, chain)
    assert causes_told([chain, target]) == (chain, target)
    assert causes_told([]) == ()
