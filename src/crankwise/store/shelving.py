"""Put known-goods on the shelf, one or ten thousand, in one transaction."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import islice
from typing import Any

from sqlalchemy import delete, insert, or_, select, text, update
from sqlalchemy.orm import Session

from crankwise.model.shelf import Conflict, ImportReport, KnownGood, Retirement
from crankwise.store import codec, portable
from crankwise.store.finding import name_key, named
from crankwise.store.patterns import Patterns
from crankwise.store.placing import Placed
from crankwise.store.tables import (
    FamilyRow,
    KnownGoodCamRow,
    KnownGoodEdgeRow,
    KnownGoodRow,
    PatternCamRow,
)

_LOCK = 7_206_031


_AT_A_TIME = 500


class Shelving:
    """Adds known-goods within one session and remembers families and patterns meanwhile."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._patterns = Patterns(session)
        self._families: dict[str, FamilyRow] = {}
        if session.get_bind().dialect.name == "postgresql":
            # One at a time, else two writers would each make a pattern for the same engines.
            session.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})

    def family(self, name: str) -> FamilyRow:
        """Return the family of a name, made if there is none."""
        key = name_key(name)
        if key not in self._families:
            self._families[key] = named(self._session, FamilyRow, name, "engine family")
        return self._families[key]

    def add(self, known_good: KnownGood, *, vehicle_id: int | None = None) -> str:
        """Add one known-good; returns why it can't be, or nothing."""
        here = _Here.of(self._session, [known_good])
        why = self._conflict(known_good, here)
        if not why:
            self._insert([self._values(known_good, here, vehicle_id)])
        return why

    def take(self, parts: Iterable[tuple[str, KnownGood | str]]) -> ImportReport:
        """Add what is new, and say what is here already and what conflicts."""
        added: list[str] = []
        present: list[str] = []
        conflicts: list[Conflict] = []
        for some in _batched(parts, _AT_A_TIME):
            read = [part for _, part in some if isinstance(part, KnownGood)]
            here = _Here.of(self._session, read)
            rows: list[_New] = []
            for name, part in some:
                if isinstance(part, str):
                    conflicts.append(Conflict("", name, part))
                elif (why := self._why_not(part, here)) is None:
                    present.append(part.id)
                elif why:
                    conflicts.append(Conflict(part.id, name, why))
                else:
                    if part.supersedes:
                        self._insert(rows)  # what it supersedes may be among them
                        rows = []
                    rows.append(self._values(part, here, None))
                    added.append(part.id)
            self._insert(rows)
        return ImportReport(tuple(added), tuple(present), tuple(conflicts))

    def _why_not(self, known_good: KnownGood, here: _Here) -> str | None:
        """Why it can't be taken; empty if it can, ``None`` if it is here as it is."""
        if not portable.is_untouched(known_good):
            return "it was changed since it was exported: its content has another digest"
        is_retired_here = here.retired.get(known_good.id)
        if is_retired_here is None:
            return self._conflict(known_good, here)
        if known_good.retired and not is_retired_here:
            return (
                f"it is retired there ({known_good.retired.why}) and on the shelf here; retire it "
                "here too, if that is right"
            )
        return None

    def _conflict(self, known_good: KnownGood, here: _Here) -> str:
        """Why a new known-good can't stand beside those that are here; empty if it can."""
        sha256 = known_good.measurement.recording.sha256
        other = here.on_shelf.get((sha256, self.family(known_good.family).id))
        if known_good.retired or other is None or other == known_good.supersedes:
            return ""
        return (
            f"its recording ({sha256[:12]}) is on the shelf already as {other} of this family, "
            "with other content; retire that one first, if this one is right"
        )

    def _values(self, known_good: KnownGood, here: _Here, vehicle_id: int | None) -> _New:
        """Values of its rows; the known-good that it supersedes is retired."""
        family = self.family(known_good.family)
        measurement, retired = known_good.measurement, known_good.retired
        here.retired[known_good.id] = retired is not None
        if retired is None:
            self._retire_superseded(known_good, here, family.id)
        pattern_id, placed = self._patterns.assign(family.id, known_good.id, measurement)
        values = {
            "id": known_good.id,
            "family_id": family.id,
            "pattern_id": pattern_id,
            "recording_sha256": measurement.recording.sha256,
            "wheel": measurement.crank.wheel,
            "edge_counts": json.dumps([len(cam.edges) for cam in measurement.cams]),
            "provenance": codec.dump(known_good.provenance),
            "grade": codec.dump(known_good.grade),
            "added_at": known_good.added_at,
            "document": codec.dump(replace(known_good, retired=None)),
            "content_sha256": known_good.content_sha256,
            "vehicle_id": vehicle_id,
            "retired_at": retired.at if retired else None,
            "retired_why": retired.why if retired else None,
        }
        counted = tuple(zip(self._patterns.cams(pattern_id), placed, strict=True))
        return _New(values, () if retired else counted)

    def _retire_superseded(self, known_good: KnownGood, here: _Here, family_id: int) -> None:
        key = known_good.measurement.recording.sha256, family_id
        other = here.on_shelf.get(key)
        here.on_shelf[key] = known_good.id
        if other is None or other != known_good.supersedes:
            return
        here.retired[other] = True
        why = f"superseded by {known_good.id}"
        retire(self._session, other, why=why)

    def _insert(self, rows: list[_New]) -> None:
        if rows:
            self._session.execute(insert(KnownGoodRow), [new.values for new in rows])
            cams = [row for new in rows for row in new.cam_rows()]
            edges = [row for new in rows for row in new.edge_rows()]
            if cams:
                self._session.execute(insert(KnownGoodCamRow), cams)
                self._session.execute(insert(KnownGoodEdgeRow), edges)


def retire(session: Session, known_good_id: str, *, why: str) -> None:
    """Take a known-good off the shelf; its place in the pattern counts no more."""
    session.execute(
        update(KnownGoodRow)
        .where(KnownGoodRow.id == known_good_id)
        .values(retired_at=datetime.now(UTC), retired_why=why)
    )
    cams = (
        select(PatternCamRow.id)
        .join(KnownGoodRow, KnownGoodRow.pattern_id == PatternCamRow.pattern_id)
        .where(KnownGoodRow.id == known_good_id)
    )
    for row in (KnownGoodCamRow, KnownGoodEdgeRow):
        session.execute(delete(row).where(row.cam_id.in_(cams), row.known_good_id == known_good_id))


@dataclass(frozen=True, slots=True)
class _New:
    """Rows of a new known-good: its own, and where its cams and edges lie in the pattern.

    ``placed`` has the number of each cam of the pattern beside what lies there; it is empty for one
    that is retired, which counts no more.
    """

    values: dict[str, Any]
    placed: tuple[tuple[int, Placed], ...]

    def cam_rows(self) -> Iterator[dict[str, Any]]:
        """One row for each cam."""
        for cam_id, cam in self.placed:
            yield {
                "cam_id": cam_id,
                "known_good_id": self.values["id"],
                "shift_deg": cam.shift_deg,
                "standard_deg": cam.standard_deg,
            }

    def edge_rows(self) -> Iterator[dict[str, Any]]:
        """One row for each edge."""
        for cam_id, cam in self.placed:
            for number, difference_deg in enumerate(cam.differences_deg):
                yield {
                    "cam_id": cam_id,
                    "number": number,
                    "difference_deg": difference_deg,
                    "known_good_id": self.values["id"],
                }


@dataclass(frozen=True, slots=True)
class _Here:
    """What the store has already of some known-goods.

    ``retired`` says of each id that is here whether it is retired, ``on_shelf`` which id stands
    for a recording in a family.
    """

    retired: dict[str, bool]
    on_shelf: dict[tuple[str, int], str]

    @classmethod
    def of(cls, session: Session, known_goods: Sequence[KnownGood]) -> _Here:
        """Look for ids and recordings of the known-goods given."""
        row = KnownGoodRow
        ids = [known_good.id for known_good in known_goods]
        digests = [known_good.measurement.recording.sha256 for known_good in known_goods]
        columns = select(row.id, row.recording_sha256, row.family_id, row.retired_at)
        found = session.execute(
            columns.where(or_(row.id.in_(ids), row.recording_sha256.in_(digests)))
        ).all()
        return cls(
            {one.id: one.retired_at is not None for one in found},
            {(o.recording_sha256, o.family_id): o.id for o in found if o.retired_at is None},
        )


def _batched(
    parts: Iterable[tuple[str, KnownGood | str]], count: int
) -> Iterator[list[tuple[str, KnownGood | str]]]:
    """Take so many at a time."""
    iterator = iter(parts)
    while some := list(islice(iterator, count)):
        yield some


def known_good_of(row: KnownGoodRow) -> KnownGood:
    """A known-good's row as the model knows it."""
    known_good = codec.load(row.document, KnownGood)
    if row.retired_at is None:
        return known_good
    return replace(known_good, retired=Retirement(row.retired_at, row.retired_why or ""))
