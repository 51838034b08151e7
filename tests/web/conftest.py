"""A small shop for the web tests: one healthy van on the shelf, one worn van compared with it."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from crankwise.model.job import Complaint, VehicleDetails
from crankwise.model.shelf import Grade
from crankwise.store import open_store
from crankwise.testing.simulate.visits import van_at
from crankwise.testing.simulate.write import simulate_to_file
from crankwise.web.access import phrase
from crankwise.web.app import create_app
from crankwise.web.settings import Settings
from crankwise.workshop.finding import find_job
from crankwise.workshop.judging import judge_visit
from crankwise.workshop.opening import open_job
from crankwise.workshop.recording import record_visit
from crankwise.workshop.shelving import shelve_visit

PHRASE = "four tulips in a bucket"
HERE = "http://localhost:8720"


@pytest.fixture(scope="session")
def pass_phrase() -> str:
    return PHRASE


@pytest.fixture(scope="session")
def recordings(tmp_path_factory) -> dict[str, Path]:
    """Short recordings as a scope saves them."""
    folder = tmp_path_factory.mktemp("recordings")
    made = {}
    for number, (name, van, miles) in enumerate(
        [("healthy", "van-1", 4_200), ("worn", "van-5", 121_800), ("new", "van-3", 46_200)]
    ):
        spec = van_at(van, mileage=miles)
        scope = replace(spec.scope, duration_s=1.2, interval_s=2e-5)
        made[name] = folder / f"{name}.csv"
        simulate_to_file(replace(spec, scope=scope), made[name], seed=number)
    return made


@pytest.fixture(scope="session")
def filled(tmp_path_factory, recordings) -> Path:
    """A store with two visits, a known-good, and the pass-phrase set."""
    folder = tmp_path_factory.mktemp("filled")
    with open_store(folder) as store:
        phrase.keep(store, PHRASE)
        for van, name, day in (("van-1", "healthy", "2026-01-07"), ("van-5", "worn", "2026-02-03")):
            details = VehicleDetails(plate=f"BR26 {van[-1]}XY")
            file = open_job(store, van, family="Tarn T20", title="", workshop=None, details=details)
            visit = store.jobs.add_visit(
                file.job.id, date=day, mileage=4_200.0, mileage_unit="miles"
            )
            store.jobs.add_fact(Complaint("rattles"), job_id=file.job.id, visit_id=visit.id)
            file = find_job(store, van)
            record_visit(store, file.visits[-1], recordings[name], purpose="diagnosis")
            file = find_job(store, van)
            if name == "healthy":
                shelve_visit(store, file, file.visits[-1], family=None, grade=Grade(warm=True))
            else:
                judge_visit(store, file, file.visits[-1])
    return folder


@pytest.fixture
def shop(tmp_path, filled) -> Path:
    """A store of one's own."""
    return Path(shutil.copytree(filled, tmp_path / "shop"))


@pytest.fixture
def key(shop) -> str:
    with open_store(shop) as store:
        return store.shop.add_key("the tests")


@pytest.fixture
def local(shop) -> Iterator[TestClient]:
    """A browser on the computer itself."""
    with TestClient(create_app(Settings(store=str(shop))), base_url=HERE) as client:
        yield client


@pytest.fixture
def program(local, key) -> TestClient:
    """Another program with a key."""
    local.headers["authorization"] = f"Bearer {key}"
    return local


@pytest.fixture
def tablet(shop) -> Iterator[TestClient]:
    """A browser elsewhere in the workshop."""
    settings = Settings(store=str(shop), host="0.0.0.0", names=("shop.example",))  # noqa: S104
    client = TestClient(
        create_app(settings), base_url="http://shop.example", follow_redirects=False
    )
    with client:
        yield client


@pytest.fixture(scope="session")
def token_of() -> Callable[[TestClient, str], str]:
    """Read the token of the session from a page, as its scripts do."""

    def read(client: TestClient, path: str = "/") -> str:
        text = client.get(path).text
        found = re.search(r'<meta name="csrf-token" content="([^"]*)">', text)
        assert found, text
        return found[1]

    return read


@pytest.fixture
def finished(program) -> Callable[[dict], dict]:
    """Follow a piece of work to its end and return it as it stands then."""

    def wait(work: dict) -> dict:
        with program.stream("GET", f"/api/works/{work['id']}/events") as answer:
            for _ in answer.iter_lines():
                pass
        return program.get(f"/api/works/{work['id']}").json()

    return wait
