"""Compare a visit's recording with the known-goods that say most about its vehicle."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from crankwise import pipeline
from crankwise.errors import NotMeasurableError, UsageError
from crankwise.judge.codes import codes_read
from crankwise.model.job import CodesRead
from crankwise.pipeline.banks import has_both_banks
from crankwise.workshop.fitting import find_fitting
from crankwise.workshop.series import AFTER_REPAIR, chain_of_recording, measured_of, newest_measured

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.model.comparison import Comparison
    from crankwise.model.engine import Engine
    from crankwise.model.job import JobFile, KeptComparison, VisitFile
    from crankwise.model.kept import KeptMeasurement
    from crankwise.model.measurement import Measurement
    from crankwise.model.policy import Policy
    from crankwise.model.shelf import KnownGood
    from crankwise.store import Store
    from crankwise.workshop.series import Measured

_BANKS = "the other bank in the same recording, for want of a known-good"


@dataclass(frozen=True, slots=True)
class Chosen:
    """Known-goods to compare with.

    None at all means bank against bank. ``same_vehicle`` says that they are of this very vehicle
    and chain; ``why`` in words why these.
    """

    known_goods: tuple[KnownGood, ...]
    same_vehicle: bool
    why: str


@dataclass(frozen=True, slots=True)
class Judged:
    """What was compared, with what, and as what it was kept."""

    kept: KeptComparison
    subject: KeptMeasurement
    chosen: Chosen
    engine: Engine | None


def judge_visit(
    store: Store,
    file: JobFile,
    visit: VisitFile,
    *,
    sha256: str | None = None,
    family: str | None = None,
    known_good_ids: Sequence[str] = (),
    engine: Engine | None = None,
    policy: Policy | None = None,
    service_limit_deg: float | None = None,
) -> Judged:
    """Compare a recording of the visit and keep the comparison with it.

    Parameters
    ----------
    store : Store
    file : JobFile
    visit : VisitFile
        One of the file's.
    sha256 : str, optional
        Which recording; the newest if not given.
    family : str, optional
        Engine family whose known-goods are taken, whatever the vehicle has of its own.
    known_good_ids : sequence of str
        These known-goods and no others.
    engine : Engine, optional
        If not given, the engine of the vehicle's family, where there is one: the workshop's own
        file before a shipped one.
    policy : Policy, optional
        The workshop's own if not given.
    service_limit_deg
        As for :func:`crankwise.pipeline.compare`.

    Raises
    ------
    UsageError
        Nothing was measured at this visit, or there is nothing to compare with.
    NotMeasurableError
        The recording doesn't fit the known-goods; says why.
    """
    subject = newest_measured(file, visit, sha256=sha256)
    chosen = choose_known_goods(store, file, subject, family=family, ids=known_good_ids)
    known = engine or _engine_of(store, file, chosen)
    before = _before(file, visit, subject)
    comparison = _compared(
        subject,
        chosen,
        engine=known,
        policy=policy or store.shop.policy(),
        service_limit_deg=service_limit_deg,
        before=before,
    )
    if before is None:  # codes were read before a repair
        comparison = _with_codes(comparison, visit)
    kept = store.jobs.add_comparison(
        visit.visit.id,
        comparison,
        measurement_id=subject.kept.id,
        known_good_ids=tuple(known_good.id for known_good in chosen.known_goods),
    )
    return Judged(kept, subject.kept, chosen, known)


def _with_codes(comparison: Comparison, visit: VisitFile) -> Comparison:
    """Set the codes read at the visit against what was measured."""
    read = [kept.fact for kept in visit.facts if isinstance(kept.fact, CodesRead)]
    if not read:
        return comparison
    limit = comparison.limits.code_limit_deg
    more = codes_read(comparison.cams, limit, read[-1].codes)
    verdict = replace(comparison.verdict, codes=comparison.verdict.codes + more)
    return replace(comparison, verdict=verdict)


def why_not_judged(store: Store, file: JobFile, visit: VisitFile) -> str | None:
    """Say why the newest recording of a visit has no comparison that was chosen by itself.

    ``None`` where it has one, or could have, or where nothing was measured yet.
    """
    measured = measured_of(file, visit)
    if not measured:
        return None
    subject = measured[-1]
    digest = subject.kept.recording_sha256
    if any(kept.comparison.subject.sha256 == digest for kept in visit.comparisons):
        return None
    try:
        chosen = choose_known_goods(store, file, subject)
        _compared(subject, chosen, policy=store.shop.policy())
    except (UsageError, NotMeasurableError) as error:
        return str(error)
    return None


def _compared(
    subject: Measured,
    chosen: Chosen,
    *,
    policy: Policy,
    engine: Engine | None = None,
    service_limit_deg: float | None = None,
    before: Measurement | None = None,
) -> Comparison:
    return pipeline.compare(
        subject.kept.measurement,
        [known_good.measurement for known_good in chosen.known_goods],
        engine=engine,
        policy=policy,
        same_vehicle=chosen.same_vehicle,
        service_limit_deg=service_limit_deg,
        before=before,
    )


def choose_known_goods(
    store: Store,
    file: JobFile,
    subject: Measured,
    *,
    family: str | None = None,
    ids: Sequence[str] = (),
) -> Chosen:
    """Choose what to compare with: what was asked for, else the vehicle's own, else the family's.

    A known-good is the vehicle's own only if it was recorded with the chain that is in it now.
    Where the family is not known, the one family that the recording fits by its pattern is taken.
    With nothing to choose from, an engine with two banks is compared bank against bank.

    Raises
    ------
    UsageError
        There is none, or the family isn't known.
    """
    if ids:
        asked = store.shelf.load(ids)
        own = all(_is_own(file, subject, known_good) for known_good in asked)
        return Chosen(asked, own, f"the known-goods asked for: {_names(asked)}")
    if family is None:
        own_ones = [
            known_good
            for known_good in store.shelf.load(file.known_goods)
            if not known_good.retired and _is_own(file, subject, known_good)
        ]
        if own_ones:
            newest = max(own_ones, key=lambda known_good: known_good.added_at)
            return Chosen((newest,), True, f"the vehicle's own known-good {_names([newest])}")
    name = family or file.vehicle.family
    try:
        fitting = find_fitting(store, subject.kept.measurement, family=name)
    except UsageError as error:
        if family is None and has_both_banks(subject.kept.measurement):
            return Chosen((), False, _BANKS)
        if name:
            raise
        label = file.vehicle.label
        raise UsageError(f"the engine family of {label} is not known, and {error}") from error
    names = _names(fitting.known_goods)
    why = f"the known-goods of {fitting.family}, whose pattern this recording has: {names}"
    if name:
        why = f"the shelf's known-goods of {name}: {names}"
    return Chosen(fitting.known_goods, False, why)


def _engine_of(store: Store, file: JobFile, chosen: Chosen) -> Engine | None:
    """Engine file of the known-goods' family, else of the vehicle's."""
    families = [known_good.family for known_good in chosen.known_goods]
    return store.shop.engine_of_family(families[0] if families else file.vehicle.family)


def _is_own(file: JobFile, subject: Measured, known_good: KnownGood) -> bool:
    """Whether it is of this vehicle and chain, and not the subject itself."""
    sha256 = known_good.measurement.recording.sha256
    same_chain = chain_of_recording(file, sha256) == subject.chain
    return same_chain and not _is_subject(subject, known_good)


def _is_subject(subject: Measured, known_good: KnownGood) -> bool:
    digest = subject.kept.recording_sha256
    return known_good.measurement.recording.sha256 == digest


def _names(known_goods: Sequence[KnownGood]) -> str:
    return ", ".join(known_good.id[:8] for known_good in known_goods)


def _before(file: JobFile, visit: VisitFile, subject: Measured) -> Measurement | None:
    """Return the engine before the repair of this visit, if the subject is after it."""
    if subject.purpose != AFTER_REPAIR:
        return None
    earlier = [one for one in measured_of(file, visit) if one.purpose != AFTER_REPAIR]
    return earlier[-1].kept.measurement if earlier else None
