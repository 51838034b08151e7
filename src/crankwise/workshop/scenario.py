"""Three years of Bramblegate Workshop: six vans, several visits each, written into a store.

Everything goes the way it does at work: recordings are files, and nothing that the simulator
knows of them is used.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Final

from crankwise.model.job import (
    Advice,
    CheckDone,
    Choice,
    CodesRead,
    Complaint,
    Fact,
    HookUp,
    Offer,
    PriceItem,
    Purpose,
    Repair,
    VehicleDetails,
)
from crankwise.model.shelf import Grade
from crankwise.model.shop import Profile
from crankwise.testing.simulate.visits import van_at
from crankwise.testing.simulate.write import simulate_to_file
from crankwise.workshop.finding import find_job
from crankwise.workshop.judging import judge_visit
from crankwise.workshop.opening import open_job
from crankwise.workshop.recording import record_visit
from crankwise.workshop.shelving import shelve_visit

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from crankwise.store import Store

FAMILY: Final = "Tarn T20"
WORKSHOP: Final = "Bramblegate Workshop"

_DURATION_S: Final = 2.0
_INTERVAL_S: Final = 2e-5
_VAT_PERCENT: Final = Decimal(20)
_PROFILE: Final = Profile(
    name=WORKSHOP, contact="4 Bramblegate Yard\nNether Tarn\n01632 960 123", mileage_unit="miles",
    currency="GBP", number_format="en-GB", tax_name="VAT", tax_percent=_VAT_PERCENT,
)  # fmt: skip
_FRESH: Final = Grade(
    fresh_chain=True, verified_by="marks on the sprockets", warm=True, phasers_parked=True,
    sensor="hall",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Mended:
    """A repair with a new chain, done at the last visit of a van."""

    advice: str
    choice: str
    repair: str
    price: tuple[tuple[str, str], ...]
    offers: tuple[Offer, ...]


@dataclass(frozen=True, slots=True)
class Life:
    """One van's visits as day and miles, and how its last one ends."""

    van: str
    visits: tuple[tuple[str, int], ...]
    complaint: str = ""
    codes: tuple[str, ...] = ()
    mended: Mended | None = None


def _offers(*, now: tuple[str, str], recheck_mileage: int) -> tuple[Offer, ...]:
    """What the owner's three choices cost; the prices are invented."""
    return (
        Offer(
            "now", "timing chain, guides and tensioner with labour", Decimal(now[0]),
            Decimal(now[1]), "GBP", _VAT_PERCENT,
        ),
        Offer(
            "watch", "one more measurement", Decimal(45), Decimal(45), "GBP", _VAT_PERCENT,
            recheck_mileage=recheck_mileage,
        ),
        Offer(
            "later", "chain drive as now, cylinder head off, valves as found", Decimal(1900),
            Decimal(3200), "GBP", _VAT_PERCENT,
        ),
    )  # fmt: skip


_CHAIN: Final = Mended(
    advice="timing chain, guides and tensioner new before the code limit is reached",
    choice="have it done now",
    repair="timing chain, guides and tensioner replaced",
    price=(("chain kit", "186.40"), ("labour, 6 h", "390.00")),
    offers=_offers(now=("576.40", "660.00"), recheck_mileage=130_000),
)
_GUIDE: Final = Mended(
    advice="the guide between the cams is worn: chain, guides and tensioner new",
    choice="have it done now",
    repair="guide between the cams broken through; chain, guides and tensioner replaced",
    price=(("chain kit", "186.40"), ("labour, 7 h", "455.00")),
    offers=_offers(now=("576.40", "720.00"), recheck_mileage=105_000),
)

LIVES: Final = (
    Life("van-1", (("2023-09-05", 4_200), ("2025-03-18", 21_400))),
    Life("van-2", (("2024-04-02", 10_600), ("2025-02-11", 21_300), ("2025-12-02", 31_500))),
    Life("van-3", (("2024-04-09", 34_000), ("2025-03-04", 46_200), ("2026-01-13", 58_900))),
    Life(
        "van-4",
        (
            ("2023-10-03", 45_100), ("2024-06-18", 59_700), ("2025-03-25", 73_800),
            ("2026-01-20", 87_300),
        ),
    ),
    Life(
        "van-5",
        (
            ("2023-09-12", 64_900), ("2024-07-02", 84_000), ("2025-05-06", 103_200),
            ("2026-02-03", 121_800),
        ),
        complaint="rattles for two seconds after a cold start",
        mended=_CHAIN,
    ),
    Life(
        "van-6",
        (
            ("2023-11-07", 52_800), ("2024-08-20", 68_100), ("2025-06-10", 83_600),
            ("2026-02-17", 98_400),
        ),
        complaint="rattles at idle, engine light came on once",
        codes=("P0016",),
        mended=_GUIDE,
    ),
)  # fmt: skip
"""The six vans; the first visit of all, that of van-1, gives the first known-good."""


def fill_store(
    store: Store, recordings: Path, *, progress: Callable[[float], None] | None = None
) -> None:
    """Write the visits of the six vans, day by day, into a store.

    Parameters
    ----------
    store : Store
    recordings : Path
        Folder for what the scope would have saved: a folder for each van.
    progress : callable, optional
        Told the share done (0 to 1).
    """
    store.shop.keep_profile(_PROFILE)
    steps = sorted(
        ((day, miles, life) for life in LIVES for day, miles in life.visits),
        key=lambda step: step[0],
    )
    for number, (day, miles, life) in enumerate(steps):
        if progress is not None:
            progress(number / len(steps))
        if (day, miles) == life.visits[0]:
            _begin(store, life)
        _visit(store, life, recordings, day=day, miles=miles)
        if life.mended is not None and (day, miles) == life.visits[-1]:
            _mend(store, life, life.mended, recordings)


def _begin(store: Store, life: Life) -> None:
    open_job(store, life.van, family=FAMILY, title="", workshop=WORKSHOP, details=VehicleDetails())


def _visit(store: Store, life: Life, recordings: Path, *, day: str, miles: int) -> None:
    last = (day, miles) == life.visits[-1]
    file = find_job(store, life.van)
    visit = store.jobs.add_visit(file.job.id, date=day, mileage=miles, mileage_unit="miles")
    facts: list[Fact] = [
        Complaint(life.complaint if last else ""),
        CodesRead(life.codes if last else ()),
        HookUp(
            signal="intake", connector="controller, 64 pins", pin="31", wire="green",
            probed_at="controller", unplugged="both phaser solenoids",
        ),
    ]  # fmt: skip
    for fact in facts:
        store.jobs.add_fact(fact, job_id=file.job.id, visit_id=visit.id)
    recording = _recorded(recordings, life.van, day=day, miles=miles)
    _measure(store, life.van, recording, purpose="diagnosis")
    store.jobs.add_fact(
        CheckDone(when="after", name="solenoids plugged in again, codes cleared", done=True),
        job_id=file.job.id,
        visit_id=visit.id,
    )
    if store.shelf.families():
        _judge(store, life.van)
    else:
        _shelve(store, life.van)


def _mend(store: Store, life: Life, mended: Mended, recordings: Path) -> None:
    file = find_job(store, life.van)
    visit_id = file.visits[-1].visit.id
    facts: list[Fact] = [
        *mended.offers,
        Advice(mended.advice),
        Choice(mended.choice, accepted=True),
        Repair(mended.repair, chain_replaced=True),
        *(PriceItem(text, Decimal(amount), "GBP") for text, amount in mended.price),
    ]
    for fact in facts:
        store.jobs.add_fact(fact, job_id=file.job.id, visit_id=visit_id)
    day, miles = life.visits[-1]
    recording = _recorded(recordings, life.van, day=day, miles=miles, new_chain=True)
    _measure(store, life.van, recording, purpose="after-repair")
    _judge(store, life.van)
    _shelve(store, life.van)


def _recorded(recordings: Path, van: str, *, day: str, miles: int, new_chain: bool = False) -> Path:
    """Simulate what the scope saves; the visit's miles make the seed, so that no two are alike."""
    folder = recordings / van
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{day} {miles} miles{' after repair' if new_chain else ''}.csv"
    spec = van_at(van, mileage=miles, chain_fitted_at=miles if new_chain else 0)
    scope = replace(spec.scope, duration_s=_DURATION_S, interval_s=_INTERVAL_S)
    simulate_to_file(replace(spec, scope=scope), path, seed=miles + new_chain)
    return path


def _measure(store: Store, van: str, recording: Path, *, purpose: Purpose) -> None:
    record_visit(store, find_job(store, van).visits[-1], recording, purpose=purpose)


def _judge(store: Store, van: str) -> None:
    file = find_job(store, van)
    judge_visit(store, file, file.visits[-1])


def _shelve(store: Store, van: str) -> None:
    file = find_job(store, van)
    shelve_visit(store, file, file.visits[-1], family=None, grade=_FRESH, conditions="warm idle")
