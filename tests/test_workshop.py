"""What stands between the commands and the store: names read, vans at a mileage, order of jobs."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest

from crankwise.errors import UsageError
from crankwise.testing.simulate import PRESETS
from crankwise.testing.simulate.visits import van_at
from crankwise.workshop.finding import by_vehicle
from crankwise.workshop.folder import Told, told_by

VANS = [f"van-{number}" for number in range(1, 7)]


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("van-3/2024-04-09 20000 miles.csv", ("van-3", "2024-04-09", 20_000.0, "miles")),
        ("2024/van-3/20240409_20.000km.csv", ("van-3", "2024-04-09", 20_000.0, "km")),
        ("van-3 2024-04-09 200 mi.wav", ("van-3", "2024-04-09", 200.0, "miles")),
        ("van-3_2024.04.09_1,234,567 Miles.csv", ("van-3", "2024-04-09", 1_234_567.0, "miles")),
        ("87300km van-3.csv", (None, None, 87_300.0, "km")),
        ("van-3 2024-04-09 20000.csv", ("van-3", "2024-04-09", None, None)),
        ("van-3 2024-13-09 20000 miles.csv", ("van-3", None, 20_000.0, "miles")),
        ("2024-04-09 5 km.csv", (None, "2024-04-09", 5.0, "km")),
        ("van-3 1.5 km.csv", ("van-3 1.5 km", None, None, None)),
        ("van-3 20 milestones.csv", ("van-3 20 milestones", None, None, None)),
        ("recording.csv", ("recording", None, None, None)),
    ],
)
def test_a_name_tells_what_it_says_and_no_more(name, told):
    assert told_by(Path(name)) == Told(*told)


@pytest.mark.parametrize("name", VANS)
def test_a_van_at_its_last_mileage_is_the_preset(name):
    last = PRESETS[name]
    van = van_at(name, mileage=int(last.facts["mileage"]))
    assert van.cams == last.cams
    assert van.vehicle == last.vehicle


def test_a_van_wears_evenly_and_a_new_chain_takes_it_back():
    last = int(PRESETS["van-5"].facts["mileage"])
    new, half, worn = (
        [cam.shift_deg for cam in van_at("van-5", mileage=miles).cams]
        for miles in (0, last // 2, last)
    )
    assert half == pytest.approx([(a + b) / 2 for a, b in zip(new, worn, strict=True)])
    fitted = van_at("van-5", mileage=last, chain_fitted_at=last)
    assert [cam.shift_deg for cam in fitted.cams] == new
    assert {cam.scatter_deg for cam in fitted.cams} == {0.10}


@pytest.mark.parametrize(
    ("name", "mileage", "fitted"), [("van-7", 10, 0), ("van-1", 10, 11), ("van-1", -1, -1)]
)
def test_a_van_that_can_not_be_is_refused(name, mileage, fitted):
    with pytest.raises(UsageError, match=name):
        van_at(name, mileage=mileage, chain_fitted_at=fitted)


def test_jobs_are_ordered_by_name_with_numbers_by_their_size():
    files = [
        SimpleNamespace(vehicle=SimpleNamespace(label=label), job=SimpleNamespace(id=number))
        for number, label in enumerate(["van 10", "Van 9", "7 seater", "van", "van 9"])
    ]
    assert [file.job.id for file in by_vehicle(files)] == [2, 3, 1, 4, 0]
