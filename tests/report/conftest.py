"""What the tests of reports share: a store with a mended van, and comparisons of every kind."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace

import pypdf
import pytest

from crankwise import document
from crankwise.drive.engine_file import load_engine
from crankwise.model.comparison import Cause
from crankwise.model.job import (
    Advice,
    CheckDone,
    Choice,
    CodesRead,
    Complaint,
    HookUp,
    KeptFact,
    Offer,
    PriceItem,
    Repair,
    VehicleDetails,
)
from crankwise.model.shelf import Grade
from crankwise.model.shop import Profile
from crankwise.report import Shop, of_comparison
from crankwise.report.blocks import values
from crankwise.store import open_store
from crankwise.testing.simulate import ScopeSpec, simulate_to_file
from crankwise.testing.simulate.visits import van_at
from crankwise.workshop.finding import find_job
from crankwise.workshop.judging import judge_visit
from crankwise.workshop.opening import open_job
from crankwise.workshop.recording import record_visit
from crankwise.workshop.shelving import shelve_visit

INPUTS = Path(__file__).parents[1] / "snapshots" / "inputs"
FAMILY = "Tarn T20"
VISITS = (("2023-11-07", 52_800), ("2024-08-20", 68_100), ("2025-06-10", 83_600),
          ("2026-02-17", 98_400))  # fmt: skip
PROFILE = Profile(
    name="Bramblegate Workshop",
    contact="4 Bramblegate Yard\nNether Tarn\n01632 960 123",
    mileage_unit="miles",
    currency="GBP",
    tax_name="VAT",
    tax_percent=Decimal(20),
)
OFFERS = (
    Offer("now", "chain kit", Decimal("186.40"), Decimal("186.40"), "GBP", Decimal(20)),
    Offer("now", "labour, 6 to 7 h", Decimal("390.05"), Decimal("455.15"), "GBP", Decimal(20)),
    Offer("watch", "measure again", Decimal(45), Decimal(45), "GBP", Decimal(20), 105_000),
    Offer("later", "as found", Decimal(1900), Decimal("3200.33"), "GBP", Decimal("7.7")),
)


def record(store, van, folder, *, day, miles, after=False):
    """Simulate, measure and keep one recording of a visit; events are quick to simulate."""
    spec = van_at(van, mileage=miles, chain_fitted_at=miles if after else 0)
    scope = ScopeSpec(duration_s=2.0, kind="events", resolution_s=1e-6)
    path = folder / f"{van} {day}{' after' if after else ''}.csv"
    simulate_to_file(replace(spec, scope=scope), path, seed=miles + after)
    purpose = "after-repair" if after else "diagnosis"
    record_visit(store, find_job(store, van).visits[-1], path, purpose=purpose)


def begin(store, van, *, day, miles, **details):
    if not any(file.vehicle.label == van for file in store.jobs.list()):
        open_job(store, van, family=FAMILY, title="", workshop=None,
                 details=VehicleDetails(**details))  # fmt: skip
    job = find_job(store, van).job
    return store.jobs.add_visit(job.id, date=day, mileage=miles, mileage_unit="miles")


def judge(store, van):
    file = find_job(store, van)
    judge_visit(store, file, file.visits[-1])


def note(store, van, *facts):
    file = find_job(store, van)
    for fact in facts:
        store.jobs.add_fact(fact, job_id=file.job.id, visit_id=file.visits[-1].visit.id)


@pytest.fixture(scope="session")
def mended(tmp_path_factory):
    """A store in which van-6 was watched over four visits, mended and measured again."""
    folder = tmp_path_factory.mktemp("mended")
    with open_store(str(folder / "store")) as store:
        store.shop.keep_profile(PROFILE)
        for van, day, miles in (("van-1", "2023-09-05", 4_200), ("van-5", "2023-09-12", 121_800)):
            begin(store, van, day=day, miles=miles)
            record(store, van, folder, day=day, miles=miles, after=van == "van-5")
            file = find_job(store, van)
            shelve_visit(store, file, file.visits[-1], family=None, grade=Grade(fresh_chain=True))
        for day, miles in VISITS:
            begin(store, "van-6", day=day, miles=miles, plate="TARN 6", customer="A. Petal")
            record(store, "van-6", folder, day=day, miles=miles)
            judge(store, "van-6")
        note(
            store, "van-6", Complaint("rattles at idle"), CodesRead(("P0016",)),
            HookUp("intake", "controller, 64 pins", "31", "green", "controller", "both solenoids"),
            CheckDone("after", "codes cleared", done=True), *OFFERS, Advice("chain and guides new"),
            Choice("have it done now", accepted=True),
            Repair("chain replaced", chain_replaced=True),
            PriceItem("chain kit", Decimal("186.40"), "GBP"),
        )  # fmt: skip
        record(store, "van-6", folder, day="2026-02-17", miles=98_400, after=True)
        judge(store, "van-6")
        yield SimpleNamespace(store=store, file=find_job(store, "van-6"), where=folder / "store")


@pytest.fixture(scope="session")
def van():
    return document.load_comparison(INPUTS / "van-compared.json")


@pytest.fixture(scope="session")
def measured():
    return document.load(INPUTS / "van.json")


@pytest.fixture(scope="session")
def shop():
    return replace(Shop.unknown(), profile=PROFILE)


@pytest.fixture(scope="session")
def dossier_of(shop, measured):
    """Make a dossier of a comparison, with an engine file unless told otherwise."""

    def make(comparison, *, engine="tarn-t20", measurement=measured, shop=shop):
        known = load_engine(engine) if engine else None
        return of_comparison(comparison, shop=shop, measurement=measurement, engine=known)

    return make


@pytest.fixture(scope="session")
def with_facts():
    """Put facts of a test in the place of the visit's own."""

    def put(dossier, *facts):
        day = datetime(2026, 2, 17, tzinfo=UTC)
        kept = tuple(KeptFact(0, "", fact, 0, 0, day) for fact in facts)
        return replace(dossier, file=replace(dossier.file, facts=kept))

    return put


@pytest.fixture(scope="session")
def at_level(van):
    """Return the van's comparison as it would be at another level, with the causes asked for."""

    def make(level, *causes):
        factor = {"in-time": 0.05, "drifting": 0.5, "worn": 1.0, "out-of-time": 3.4,
                  "not-judged": 0.0}[level]  # fmt: skip
        cams = tuple(moved(cam, factor) for cam in van.cams)
        separations = tuple(replace(s, change_deg=factor * s.change_deg) for s in van.separations)
        probable = tuple(
            Cause(key, key, 0.8 if place == 0 else 0.1, "because of the shifts")
            for place, key in enumerate(causes)
        )
        verdict = replace(van.verdict, level=level, summary=f"As {level} as can be.")
        return replace(
            van, cams=cams, separations=separations, verdict=verdict,
            causes=() if level == "not-judged" else probable or van.causes,
        )  # fmt: skip

    return make


def moved(cam, factor):
    edges = tuple(replace(edge, shift_deg=factor * edge.shift_deg) for edge in cam.edges)
    return replace(cam, shift_deg=factor * cam.shift_deg, edges=edges)


@pytest.fixture(scope="session")
def four_cams(van):
    """Four cams on two banks."""
    cams = []
    for role, turn in (("exhaust-1", 0), ("exhaust-2", 120), ("intake-1", 40), ("intake-2", 160)):
        source = van.cams[role.startswith("intake")]
        edges = tuple(
            replace(
                edge,
                known_good_deg=(edge.known_good_deg + turn) % 720,
                subject_deg=(edge.subject_deg + turn) % 720,
            )
            for edge in source.edges
        )
        cams.append(replace(source, role=role, subject_channel=role, edges=edges))
    return replace(van, cams=tuple(cams), separations=())


@pytest.fixture(scope="session")
def text_of():
    """Take the text out of a PDF, on one line, with plain spaces."""

    def read(data):
        pages = pypdf.PdfReader(io.BytesIO(data)).pages
        return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))

    return read


@pytest.fixture(scope="session")
def words_of():
    """Yield every text of a part of a document that is read, pictures left out."""

    def read(part):
        plain = values(part)
        return list(_words(plain))

    return read


def _words(content):
    if isinstance(content, str):
        if content:
            yield content
    elif isinstance(content, dict):
        for key, inner in content.items():
            if key not in {"kind", "svg", "sign", "level", "tone", "attachments", "logo"}:
                yield from _words(inner)
    elif isinstance(content, (list, tuple)):
        for inner in content:
            yield from _words(inner)
