"""Put known-goods on the shelf, one or ten thousand, in one transaction."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, datetime

from sqlalchemy import select, text
from sqlalchemy.orm import Session

from crankwise.model.shelf import Conflict, ImportReport, KnownGood, Retirement
from crankwise.store import codec, portable
from crankwise.store.finding import name_key, named
from crankwise.store.patterns import Patterns
from crankwise.store.tables import FamilyRow, KnownGoodRow

_LOCK = 7_206_031


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

    def conflict(self, known_good: KnownGood) -> str:
        """Why a new known-good can't stand beside those that are here; empty if it can."""
        other = self._on_shelf(known_good)
        if other is None or other.id == known_good.supersedes:
            return ""
        sha256 = known_good.measurement.recording.sha256
        return (
            f"its recording ({sha256[:12]}) is on the shelf already as {other.id} of this family, "
            "with other content; retire that one first, if this one is right"
        )

    def add(self, known_good: KnownGood, *, vehicle_id: int | None = None) -> None:
        """Add a new known-good; the one that it supersedes is retired."""
        family = self.family(known_good.family)
        measurement = known_good.measurement
        if known_good.retired is None:
            self._retire_superseded(known_good)
        pattern_id, placed = self._patterns.assign(family.id, known_good.id, measurement)
        retired = known_good.retired
        self._session.add(
            KnownGoodRow(
                id=known_good.id,
                family_id=family.id,
                pattern_id=pattern_id,
                recording_sha256=measurement.recording.sha256,
                wheel=measurement.crank.wheel,
                edge_counts=json.dumps([len(cam.edges) for cam in measurement.cams]),
                provenance=codec.dump(known_good.provenance),
                grade=codec.dump(known_good.grade),
                added_at=known_good.added_at,
                document=codec.dump(replace(known_good, retired=None)),
                content_sha256=known_good.content_sha256,
                against_first=json.dumps(
                    [[cam.shift_deg, cam.standard_deg, cam.differences_deg] for cam in placed]
                ),
                vehicle_id=vehicle_id,
                retired_at=retired.at if retired else None,
                retired_why=retired.why if retired else None,
            )
        )

    def take(self, parts: Iterable[tuple[str, KnownGood | str]]) -> ImportReport:
        """Add what is new, and say what is here already and what conflicts."""
        added: list[str] = []
        present: list[str] = []
        conflicts: list[Conflict] = []
        for name, part in parts:
            if isinstance(part, str):
                conflicts.append(Conflict("", name, part))
                continue
            why = self._why_not(part)
            if why is None:
                present.append(part.id)
            elif why:
                conflicts.append(Conflict(part.id, name, why))
            else:
                self.add(part)
                self._session.flush()
                added.append(part.id)
        return ImportReport(tuple(added), tuple(present), tuple(conflicts))

    def _why_not(self, known_good: KnownGood) -> str | None:
        """Why it can't be taken; empty if it can, ``None`` if it is here as it is."""
        if not portable.is_untouched(known_good):
            return "it was changed since it was exported: its content has another digest"
        here = self._session.get(KnownGoodRow, known_good.id)
        if here is None:
            return "" if known_good.retired else self.conflict(known_good)
        if known_good.retired and here.retired_at is None:
            return (
                f"it is retired there ({known_good.retired.why}) and on the shelf here; retire it "
                "here too, if that is right"
            )
        return None

    def _on_shelf(self, known_good: KnownGood) -> KnownGoodRow | None:
        """The known-good of the same recording and family that is not retired."""
        return self._session.scalars(
            select(KnownGoodRow).where(
                KnownGoodRow.recording_sha256 == known_good.measurement.recording.sha256,
                KnownGoodRow.family_id == self.family(known_good.family).id,
                KnownGoodRow.retired_at.is_(None),
            )
        ).one_or_none()

    def _retire_superseded(self, known_good: KnownGood) -> None:
        other = self._on_shelf(known_good)
        if other is not None and other.id == known_good.supersedes:
            other.retired_at = datetime.now(UTC)
            other.retired_why = f"superseded by {known_good.id}"
            self._session.flush()


def is_here(session: Session, known_good_id: str) -> bool:
    """Whether a known-good is in the store, retired or not."""
    return session.get(KnownGoodRow, known_good_id) is not None


def known_good_of(row: KnownGoodRow) -> KnownGood:
    """A known-good's row as the model knows it."""
    known_good = codec.load(row.document, KnownGood)
    if row.retired_at is None:
        return known_good
    return replace(known_good, retired=Retirement(row.retired_at, row.retired_why or ""))
