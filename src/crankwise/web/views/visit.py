"""What the page of a visit shows, in the order of the work."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeVar

from crankwise.model.job import (
    Advice,
    CheckDone,
    Choice,
    CodesRead,
    Complaint,
    HookUp,
    Note,
    Offer,
    PriceItem,
    Repair,
)
from crankwise.store import job_state
from crankwise.web.views.comparison import ComparisonView, comparison_view
from crankwise.web.views.vehicle import history_of, outlook
from crankwise.workshop.judging import why_not_judged
from crankwise.workshop.opening import mileage_doubt
from crankwise.workshop.recording import kept_elsewhere
from crankwise.workshop.series import AFTER_REPAIR

if TYPE_CHECKING:
    from crankwise.model.finding import Finding
    from crankwise.model.job import (
        Fact,
        JobFile,
        JobState,
        KeptFact,
        VisitFile,
        VisitRecording,
    )
    from crankwise.model.kept import KeptMeasurement
    from crankwise.model.shelf import KnownGoodRow
    from crankwise.store import History, Store
    from crankwise.web.works import Work

_Fact = TypeVar("_Fact", bound="Fact")

OPTIONS: Final = ("now", "watch", "later")


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the visit: its anchor, and whether it is done or the next one."""

    id: str
    done: bool
    next: bool


@dataclass(frozen=True, slots=True)
class Recorded:
    """A recording of the visit with its newest measurement, if it could be measured.

    ``elsewhere`` says of other visits that the same recording is kept with.
    """

    item: VisitRecording
    kept: KeptMeasurement | None
    roles: tuple[RoleRow, ...]
    elsewhere: tuple[str, ...]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What the check of this recording says."""
        return self.kept.measurement.findings if self.kept else ()


@dataclass(frozen=True, slots=True)
class RoleRow:
    """A channel, the role taken for it (empty: none), and why."""

    channel: str
    role: str
    why: str


@dataclass(frozen=True, slots=True)
class Said:
    """The facts of a visit by kind, the newest of those that count once."""

    complaint: Complaint | None
    codes: CodesRead | None
    hook_ups: tuple[HookUp, ...]
    before: tuple[CheckDone, ...]
    after: tuple[CheckDone, ...]
    advice: tuple[Advice, ...]
    offers: tuple[tuple[str, Offer | None], ...]
    choice: Choice | None
    repairs: tuple[Repair, ...]
    prices: tuple[PriceItem, ...]
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class VisitView:
    """The page of one visit.

    Attributes
    ----------
    file, visit : JobFile, VisitFile
    number : int
        Which visit of the job it is, from 1.
    state : JobState
    steps : tuple of Step
    recorded, repaired : tuple of Recorded
        Recordings before and after a repair.
    said : Said
    before, after : ComparisonView or None
        The newest comparison of a recording before and after a repair.
    families : tuple of str
        Engine families on the shelf.
    known_goods : tuple of KnownGoodRow
        Those of the vehicle's family in use.
    history : History or None
        The vehicle over its mileage.
    why_not : str or None
        Why the newest recording has no comparison, if none can be made by itself.
    works : tuple of Work
        Work on this visit that goes on, or that failed.
    """

    file: JobFile
    visit: VisitFile
    number: int
    state: JobState
    steps: tuple[Step, ...]
    recorded: tuple[Recorded, ...]
    repaired: tuple[Recorded, ...]
    said: Said
    before: ComparisonView | None
    after: ComparisonView | None
    families: tuple[str, ...]
    known_goods: tuple[KnownGoodRow, ...]
    history: History | None
    why_not: str | None
    works: tuple[Work, ...] = ()

    @property
    def shown(self) -> ComparisonView | None:
        """The comparison that the page is about: before a repair, where there is one."""
        return self.before or self.after

    @property
    def measured(self) -> Recorded | None:
        """The newest recording that could be measured."""
        both = [one for one in (*self.recorded, *self.repaired) if one.kept]
        return both[-1] if both else None

    @property
    def unnamed(self) -> tuple[str, ...]:
        """Channels of cams of which nothing says which they are."""
        newest = self.measured
        cams = newest.kept.measurement.cams if newest and newest.kept else ()
        return tuple(cam.channel for cam in cams if cam.role.startswith("cam-"))

    @property
    def doubt(self) -> str | None:
        """That the mileage runs back against another visit's."""
        return mileage_doubt(self.file, self.visit.visit)

    @property
    def outlook(self) -> tuple[str, ...]:
        """What the vehicle's history says of each cam and separation."""
        return outlook(self.history)

    @property
    def is_kept(self) -> bool:
        """Whether the newest recording is a known-good already."""
        newest = self.measured
        return newest is not None and any(
            row.recording_sha256 == newest.item.recording.sha256 for row in self.known_goods
        )


def visit_view(store: Store, visit_id: int) -> VisitView:
    """Gather what the page of a visit shows; raises UsageError where there is no such visit."""
    file = store.jobs.file_of_visit(visit_id)
    place = next(i for i, one in enumerate(file.visits) if one.visit.id == visit_id)
    visit = file.visits[place]
    recorded = tuple(_recorded(store, visit, item) for item in visit.recordings)
    before = tuple(one for one in recorded if one.item.purpose != AFTER_REPAIR)
    after = tuple(one for one in recorded if one.item.purpose == AFTER_REPAIR)
    said = _said(visit)
    compared = {True: _newest(visit, after), False: _newest(visit, before)}
    family = file.vehicle.family
    history, _ = history_of(store, file)
    return VisitView(
        file=file,
        visit=visit,
        number=place + 1,
        state=job_state(file),
        steps=_steps(visit, before, after, said, compared[False] or compared[True]),
        recorded=before,
        repaired=after,
        said=said,
        before=compared[False],
        after=compared[True],
        families=tuple(f.name for f in store.shelf.families() if f.known_goods > f.retired),
        known_goods=store.shelf.list(family=family) if family else (),
        history=history,
        why_not=why_not_judged(store, file, visit),
    )


def _recorded(store: Store, visit: VisitFile, item: VisitRecording) -> Recorded:
    kept = next(
        (
            one
            for one in reversed(visit.measurements)
            if one.recording_sha256 == item.recording.sha256
        ),
        None,
    )
    places = store.jobs.places_of(item.recording.sha256)
    elsewhere = kept_elsewhere(store, places, besides=visit.visit.id)
    return Recorded(item, kept, _roles(kept) if kept else (), elsewhere)


def _roles(kept: KeptMeasurement) -> tuple[RoleRow, ...]:
    measured = kept.measurement
    role_of = {cam.channel: cam.role for cam in measured.cams}
    role_of[measured.crank.channel] = "crank"
    return tuple(
        RoleRow(channel, role_of.get(channel, ""), measured.roles.get(channel, ""))
        for channel in measured.recording.channels
    )


def _newest(visit: VisitFile, recorded: tuple[Recorded, ...]) -> ComparisonView | None:
    digests = {one.item.recording.sha256 for one in recorded}
    found = [kept for kept in visit.comparisons if kept.comparison.subject.sha256 in digests]
    return comparison_view(found[-1].comparison) if found else None


def _of(facts: tuple[KeptFact, ...], kind: type[_Fact]) -> tuple[_Fact, ...]:
    return tuple(kept.fact for kept in facts if isinstance(kept.fact, kind))


def _said(visit: VisitFile) -> Said:
    facts = visit.facts
    checks, offers = _of(facts, CheckDone), _of(facts, Offer)
    newest = {offer.option: offer for offer in offers}
    return Said(
        complaint=next(iter(reversed(_of(facts, Complaint))), None),
        codes=next(iter(reversed(_of(facts, CodesRead))), None),
        hook_ups=_of(facts, HookUp),
        before=tuple(check for check in checks if check.when == "before"),
        after=tuple(check for check in checks if check.when == "after"),
        advice=_of(facts, Advice),
        offers=tuple((option, newest.get(option)) for option in OPTIONS),
        choice=next(iter(reversed(_of(facts, Choice))), None),
        repairs=_of(facts, Repair),
        prices=_of(facts, PriceItem),
        notes=_of(facts, Note),
    )


def _steps(
    visit: VisitFile,
    before: tuple[Recorded, ...],
    after: tuple[Recorded, ...],
    said: Said,
    shown: ComparisonView | None,
) -> tuple[Step, ...]:
    recorded = bool(before or after)
    measured = any(one.kept for one in (*before, *after))
    settled = shown is not None and shown.comparison.verdict.level == "in-time"
    done = {
        "vehicle": visit.visit.mileage is not None,
        "hook-up": bool(said.hook_ups) or recorded,
        "recording": recorded,
        "roles": measured,
        "check": measured,
        "angle-view": measured,
        "verdict": shown is not None,
        "advice": bool(said.advice or said.choice) or settled,
        "report": bool(said.choice) or bool(said.repairs),
        "after-repair": bool(after),
    }
    first = next((key for key, is_done in done.items() if not is_done), None)
    return tuple(Step(key, is_done, key == first) for key, is_done in done.items())
