"""All that pages draw on: of a visit with what the store holds, or of a comparison alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from crankwise.errors import UsageError
from crankwise.judge.policy import load_policy
from crankwise.model.comparison import Comparison, CrankTeeth
from crankwise.model.engine import Engine
from crankwise.model.job import Fact, JobFile, KeptComparison, Vehicle, Visit, VisitFile
from crankwise.model.kept import KeptMeasurement
from crankwise.model.measurement import Measurement
from crankwise.model.policy import Policy
from crankwise.model.shelf import KnownGood
from crankwise.model.shop import Logo, Profile
from crankwise.store import AsOf, History

if TYPE_CHECKING:
    from crankwise.store import Store

_Kind = TypeVar("_Kind", bound=Fact)


@dataclass(frozen=True, slots=True)
class Shop:
    """What a workshop's reports have in common: its profile, logo and policy."""

    profile: Profile
    logo: Logo | None
    policy: Policy

    @classmethod
    def of(cls, store: Store) -> Shop:
        """Take them from a store."""
        return cls(store.shop.profile(), store.shop.logo(), store.shop.policy())

    @classmethod
    def unknown(cls) -> Shop:
        """Stand for a workshop that has not said anything of itself."""
        return cls(Profile(), None, load_policy(None))


@dataclass(frozen=True, slots=True, eq=False)
class Dossier:
    """What is known when a report is made; nothing in it is worked out for the report.

    Attributes
    ----------
    shop : Shop
    engine : Engine or None
    comparison : Comparison or None
        What was found, before the repair if there was one.
    measurement : Measurement or None
        Of its subject.
    kept : KeptComparison or None
        The same comparison with when it was made and what it rests on.
    measured : KeptMeasurement or None
        The measurement with its method, settings and day.
    after : Comparison or None
        After the repair.
    after_measurement : Measurement or None
    vehicle : Vehicle or None
    file : VisitFile or None
        The visit with all its facts and recordings.
    known_goods : tuple of KnownGood
        Of the shelf, that the comparison rests on.
    history : History or None
        As it stood at that visit, before the repair.
    """

    shop: Shop
    engine: Engine | None = None
    comparison: Comparison | None = None
    measurement: Measurement | None = None
    kept: KeptComparison | None = None
    measured: KeptMeasurement | None = None
    after: Comparison | None = None
    after_measurement: Measurement | None = None
    vehicle: Vehicle | None = None
    file: VisitFile | None = None
    known_goods: tuple[KnownGood, ...] = ()
    history: History | None = None

    @property
    def visit(self) -> Visit | None:
        """The visit's day and mileage."""
        return self.file.visit if self.file else None

    @property
    def day(self) -> str:
        """ISO day of the visit, else of the measurement; empty where none is known."""
        if self.visit is not None:
            return self.visit.date
        return (self.measurement.provenance.date or "") if self.measurement else ""

    @property
    def crank(self) -> CrankTeeth | None:
        """Teeth of the crank: kept with the comparison, else of the measurement."""
        if self.comparison is not None and self.comparison.crank is not None:
            return self.comparison.crank
        return CrankTeeth.of(self.measurement.crank) if self.measurement else None

    @property
    def is_repaired(self) -> bool:
        """Whether there is a comparison from after a repair besides what was found."""
        return self.after is not None and self.after is not self.comparison

    def facts(self, kind: type[_Kind]) -> tuple[_Kind, ...]:
        """Facts of one kind, in the order in which they were written down."""
        kept = self.file.facts if self.file else ()
        return tuple(item.fact for item in kept if isinstance(item.fact, kind))


def of_visit(store: Store, file: JobFile, visit: VisitFile) -> Dossier:
    """Gather what the store holds of one visit.

    Parameters
    ----------
    store : Store
    file : JobFile
    visit : VisitFile
        One of the file's.
    """
    found, after = _comparisons(visit)
    engine = store.shop.engine_of_family(file.vehicle.family)
    shop = Shop.of(store)
    is_repaired = after is not None and after is not found
    measured = _measured(visit, found)
    repaired = _measured(visit, after)
    return Dossier(
        shop=shop,
        engine=engine,
        comparison=found.comparison if found else None,
        measurement=measured.measurement if measured else None,
        kept=found,
        measured=measured,
        after=after.comparison if after else None,
        after_measurement=repaired.measurement if repaired else None,
        vehicle=file.vehicle,
        file=visit,
        known_goods=store.shelf.load(found.known_good_ids) if found else (),
        history=_history(
            store, file, AsOf(visit.visit.id, before_repair=is_repaired), shop.policy, engine
        ),
    )


def of_comparison(
    comparison: Comparison,
    *,
    shop: Shop,
    measurement: Measurement | None = None,
    engine: Engine | None = None,
) -> Dossier:
    """Gather what a saved comparison says by itself.

    Raises
    ------
    UsageError
        The measurement is of another recording than the comparison's subject.
    """
    if measurement is not None and measurement.recording.sha256 != comparison.subject.sha256:
        raise UsageError(
            f"the measurement is of {measurement.recording.name}, and the comparison of "
            f"{comparison.subject.name}: give the measurement of that very recording"
        )
    return Dossier(
        shop=shop,
        engine=engine,
        comparison=comparison,
        measurement=measurement,
        after=comparison if comparison.repair is not None else None,
        after_measurement=measurement if comparison.repair is not None else None,
    )


def _comparisons(visit: VisitFile) -> tuple[KeptComparison | None, KeptComparison | None]:
    """What was found, and what after the repair: of each the newest.

    Where nothing was compared before the repair, the two are one.
    """
    repaired = [kept for kept in visit.comparisons if kept.comparison.repair is not None]
    others = [kept for kept in visit.comparisons if kept.comparison.repair is None]
    after = repaired[-1] if repaired else None
    return (others[-1] if others else after), after


def _measured(visit: VisitFile, kept: KeptComparison | None) -> KeptMeasurement | None:
    if kept is None:
        return None
    return next((item for item in visit.measurements if item.id == kept.measurement_id), None)


def _history(
    store: Store, file: JobFile, as_of: AsOf, policy: Policy, engine: Engine | None
) -> History | None:
    try:
        return store.history(file.vehicle.id, policy=policy, engine=engine, as_of=as_of)
    except UsageError:  # no known-good to hold the vehicle against
        return None
