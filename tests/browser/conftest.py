"""A shop with a few visits, our server on it, and a real browser.

``shop`` is filled once a session, ``server`` shows it; tests that write take ``own_server``, which
works on a copy. Where Playwright or Chromium is missing the tests are skipped, but fail on a build
machine (environment variable ``CI``), where a skip would pass unseen.
"""

from __future__ import annotations

import os
import shutil
import socket
import threading
import time
from contextlib import contextmanager
from dataclasses import dataclass, replace
from importlib import import_module
from pathlib import Path

import pytest

from crankwise.model.job import Repair, VehicleDetails
from crankwise.model.shelf import Grade
from crankwise.store import open_store
from crankwise.testing.simulate import preset, simulate_to_file
from crankwise.testing.simulate.visits import van_at
from crankwise.workshop.finding import find_job
from crankwise.workshop.judging import judge_visit
from crankwise.workshop.opening import open_job
from crankwise.workshop.recording import record_visit
from crankwise.workshop.shelving import shelve_visit

CHROMIUM = ("chromium", "chromium-browser", "google-chrome")
QUIET = (
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync",
    "--disable-component-update", "--no-first-run", "--disable-quic",
)  # fmt: skip
STARTS_WITHIN_S = 20.0


@dataclass(frozen=True)
class Shop:
    """A filled store: its folder, and the visits by what they are good for.

    Attributes
    ----------
    folder : Path
    recordings : Path
        What the scope saved, one file for each recording.
    known_good, late, repaired, banks : int
        Visits: a fresh chain, not compared with anything; both cams late after 117,600 miles
        against this very van with a fresh chain; the intake late, and in time after the repair;
        a V6 without a known-good.
    """

    folder: Path
    recordings: Path
    known_good: int
    late: int
    repaired: int
    banks: int


@pytest.fixture(scope="session")
def shop(tmp_path_factory):
    """Fill a store with the visits of four vehicles."""
    folder, recordings = tmp_path_factory.mktemp("shop"), tmp_path_factory.mktemp("scope")
    with open_store(folder) as store:
        builder = Builder(store, recordings)
        known_good = builder.visit("van-1", "2023-09-05", miles=4_200)
        builder.shelve("van-1")
        builder.visit("van-5", "2019-04-11", miles=4_200)
        builder.shelve("van-5")
        late = builder.visit("van-5", "2026-02-03", miles=121_800)
        builder.judge("van-5")
        repaired = builder.visit("van-6", "2026-02-17", miles=98_400)
        builder.judge("van-6")
        builder.repair("van-6", miles=98_400)
        builder.judge("van-6")
        banks = builder.visit("fell-v6", "2026-03-02", miles=61_000)
    return Shop(folder, recordings, known_good, late, repaired, banks)


class Builder:
    """Does what a workshop does, with recordings from the simulator."""

    def __init__(self, store, recordings: Path) -> None:
        self.store, self.recordings = store, recordings

    def visit(self, vehicle: str, day: str, *, miles: int) -> int:
        if not self.store.jobs.list(search=vehicle):
            family = "Fell V6" if vehicle == "fell-v6" else "Tarn T20"
            details = VehicleDetails()
            open_job(self.store, vehicle, family=family, title="", workshop=None, details=details)
        file = find_job(self.store, vehicle)
        added = self.store.jobs.add_visit(
            file.job.id, date=day, mileage=miles, mileage_unit="miles"
        )
        self._record(vehicle, miles=miles, fitted_at=0, purpose="diagnosis")
        return added.id

    def repair(self, vehicle: str, *, miles: int) -> None:
        file = find_job(self.store, vehicle)
        fact = Repair("chain and guides replaced", chain_replaced=True)
        self.store.jobs.add_fact(fact, job_id=file.job.id, visit_id=file.visits[-1].visit.id)
        self._record(vehicle, miles=miles, fitted_at=miles, purpose="after-repair")

    def judge(self, vehicle: str) -> None:
        file = find_job(self.store, vehicle)
        judge_visit(self.store, file, file.visits[-1])

    def shelve(self, vehicle: str) -> None:
        file = find_job(self.store, vehicle)
        shelve_visit(self.store, file, file.visits[-1], family=None, grade=Grade(fresh_chain=True))

    def _record(self, vehicle: str, *, miles: int, fitted_at: int, purpose: str) -> None:
        if vehicle == "fell-v6":
            spec = preset("fell-v6-bank-2-late")
        else:
            spec = van_at(vehicle, mileage=miles, chain_fitted_at=fitted_at)
        scope = replace(spec.scope, duration_s=1.5, interval_s=2e-5)
        path = self.recordings / f"{vehicle} {miles} miles {purpose}.csv"
        simulate_to_file(replace(spec, scope=scope), path, seed=miles + fitted_at)
        visit = find_job(self.store, vehicle).visits[-1]
        record_visit(self.store, visit, path, purpose=purpose)


@pytest.fixture(scope="session")
def server(shop):
    """Address of our server on the filled store; for tests that only read."""
    with served(shop.folder) as address:
        yield address


@pytest.fixture
def own_server(shop, tmp_path):
    """Address of a server on a copy of the store; for tests that write."""
    folder = tmp_path / "shop"
    shutil.copytree(shop.folder, folder)
    with served(folder) as address:
        yield address


@pytest.fixture
def serve():
    """Run our server on any store: a context manager that gives its address.

    Further settings of the server may be named.
    """
    return served


@pytest.fixture
def empty_server(tmp_path):
    """Address of a server on a store with nothing in it."""
    with served(tmp_path / "empty") as address:
        yield address


@contextmanager
def served(folder: Path, **settings):
    """Run our server on a store, on any free port of this computer only."""
    uvicorn = needed("uvicorn")
    from crankwise.web.app import create_app  # noqa: PLC0415  needs the packages of the screens
    from crankwise.web.settings import Settings  # noqa: PLC0415

    bound = socket.create_server(("127.0.0.1", 0))
    app = create_app(Settings(store=str(folder), **settings))
    running = uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False))
    thread = threading.Thread(target=running.run, kwargs={"sockets": [bound]})
    thread.start()
    try:
        until = time.monotonic() + STARTS_WITHIN_S
        while not running.started:
            assert thread.is_alive(), "the server ended while it started"
            assert time.monotonic() < until, "the server did not start"
            time.sleep(0.01)
        yield f"http://127.0.0.1:{bound.getsockname()[1]}"
    finally:
        running.should_exit = True
        thread.join()
        bound.close()


@pytest.fixture(scope="session")
def chromium():
    """A headless Chromium."""
    playwright = needed("playwright.sync_api")
    program = next(filter(None, map(shutil.which, CHROMIUM)), None)
    if program is None:
        missing("no Chromium is installed: apt install chromium")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program, args=list(QUIET))
        yield browser
        browser.close()


@pytest.fixture
def new_page(chromium, server):
    """Open pages with settings of their own; what they complain about fails the test."""
    complaints: list[str] = []
    contexts = []

    def opened(*, expects_failures: bool = False, **settings):
        chosen = {"base_url": server, "viewport": {"width": 1366, "height": 900}} | settings
        context = chromium.new_context(**chosen)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(f"error: {error}"))
        if not expects_failures:
            page.on("console", lambda said: _note(complaints, said))
        return page

    yield opened
    for context in contexts:
        context.close()
    assert not complaints, "\n".join(complaints)


@pytest.fixture
def page(new_page):
    """A page on a laptop's screen."""
    return new_page()


def _note(complaints: list[str], said) -> None:
    if said.type in {"error", "warning"}:
        complaints.append(f"{said.type}: {said.text} ({said.location.get('url', '')})")


def needed(module: str):
    """Import what only these tests need; missing, it is a failure on a build machine."""
    return import_module(module) if "CI" in os.environ else pytest.importorskip(module)


def missing(why: str) -> None:
    """Skip, or fail on a build machine."""
    if "CI" in os.environ:
        pytest.fail(why)
    pytest.skip(why)
