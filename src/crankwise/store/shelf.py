"""The known-good shelf."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from crankwise.errors import NotFoundError, UsageError
from crankwise.model.job import VehicleDetails
from crankwise.model.measurement import Measurement, Provenance
from crankwise.model.policy import Policy
from crankwise.model.shelf import (
    ExportReport,
    FamilyStatistics,
    FamilySummary,
    Fit,
    Grade,
    ImportReport,
    KnownGood,
    KnownGoodRow,
    Retirement,
)
from crankwise.store import codec, portable, tables
from crankwise.store.database import Database
from crankwise.store.finding import by_start, find_named, numbered
from crankwise.store.fitting import fits
from crankwise.store.privacy import naming, neutral
from crankwise.store.shelving import Shelving, known_good_of, retire
from crankwise.store.statistics import family_statistics
from crankwise.store.tables import DetailsRow, FamilyRow, VehicleRow

_Row = tables.KnownGoodRow


class Shelf:
    """Known-goods by their id (a beginning of four digits or more will do) and by family."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(
        self,
        measurement: Measurement,
        *,
        family: str,
        provenance: Provenance | None = None,
        grade: Grade | None = None,
        vehicle_id: int | None = None,
        supersedes: str | None = None,
    ) -> KnownGood:
        """Put a measurement of a healthy engine on the shelf; the same again changes nothing.

        Parameters
        ----------
        measurement : Measurement
        family : str
            Engine family; one that is not known yet is made.
        provenance : Provenance, optional
            That of the measurement if not given.
        grade : Grade, optional
        vehicle_id : int, optional
            The vehicle of this store that it was measured on; does not leave with an export.
        supersedes : str, optional
            A known-good of the same recording that it takes the place of, which is retired.

        Raises
        ------
        UsageError
            The recording is on the shelf already with other content, or a text names the vehicle
            or its owner.
        """
        with self._database.write() as session:
            shelving = Shelving(session)
            family_row = shelving.family(family)
            given = provenance or measurement.provenance
            exact = replace(measurement, provenance=replace(given, engine_family=family_row.name))
            old = None if supersedes is None else self._row(session, supersedes).id
            known_good = portable.make(
                neutral(exact),
                family=family_row.name,
                grade=grade or Grade(),
                added_at=datetime.now(UTC),
                supersedes=old,
            )
            here = session.get(_Row, known_good.id)
            if here is not None:
                return known_good_of(here)
            if vehicle_id is not None:
                numbered(session, VehicleRow, vehicle_id, "vehicle")
            self._refuse_private(session, known_good)
            conflict = shelving.add(known_good, vehicle_id=vehicle_id)
            if conflict:
                raise UsageError(f"not added: {conflict}")
        return known_good

    def get(self, identifier: str) -> KnownGood:
        """Return a known-good; raises NotFoundError where there is none."""
        with self._database.read() as session:
            return known_good_of(self._row(session, identifier))

    def load(self, ids: Sequence[str]) -> tuple[KnownGood, ...]:
        """Return several known-goods in the order asked for."""
        with self._database.read() as session:
            return tuple(known_good_of(self._row(session, one)) for one in ids)

    def of_family(self, family: str) -> tuple[KnownGood, ...]:
        """Return all known-goods of a family that are not retired, the oldest first."""
        with self._database.read() as session:
            found = self._family(session, family)
            rows = session.scalars(
                select(_Row)
                .where(_Row.family_id == found.id, _Row.retired_at.is_(None))
                .order_by(_Row.added_at, _Row.id)
            )
            return tuple(known_good_of(row) for row in rows)

    def families(self) -> tuple[FamilySummary, ...]:
        """Return every family that has known-goods, retired ones included."""
        retired = func.count(_Row.retired_at)
        counts = (
            select(FamilyRow.name, _Row.wheel, func.count(_Row.id), retired)
            .join(FamilyRow, FamilyRow.id == _Row.family_id)
            .group_by(FamilyRow.name, _Row.wheel)
            .order_by(FamilyRow.name, _Row.wheel)
        )
        found: dict[str, FamilySummary] = {}
        with self._database.read() as session:
            for name, wheel, count, gone in session.execute(counts):
                was = found.get(name, FamilySummary(name, 0, 0, ()))
                found[name] = FamilySummary(
                    name, was.known_goods + count, was.retired + gone, (*was.wheels, wheel)
                )
        return tuple(found.values())

    def list(
        self,
        *,
        family: str | None = None,
        wheel: str | None = None,
        include_retired: bool = False,
        limit: int | None = None,
        offset: int = 0,
    ) -> tuple[KnownGoodRow, ...]:
        """Return lines of the shelf without measurements, the newest first."""
        columns = (
            _Row.id, FamilyRow.name, _Row.wheel, _Row.edge_counts, _Row.provenance, _Row.grade,
            _Row.recording_sha256, _Row.added_at, _Row.retired_at, _Row.retired_why,
            _Row.vehicle_id,
        )  # fmt: skip
        asked = select(*columns).join(FamilyRow, FamilyRow.id == _Row.family_id)
        with self._database.read() as session:
            if family is not None:
                asked = asked.where(_Row.family_id == self._family(session, family).id)
            if wheel is not None:
                asked = asked.where(_Row.wheel == wheel)
            if not include_retired:
                asked = asked.where(_Row.retired_at.is_(None))
            asked = asked.order_by(_Row.added_at.desc(), _Row.id).limit(limit).offset(offset)
            return tuple(
                KnownGoodRow(
                    id=row.id,
                    family=row.name,
                    wheel=row.wheel,
                    edge_counts=tuple(json.loads(row.edge_counts)),
                    provenance=codec.load(row.provenance, Provenance),
                    grade=codec.load(row.grade, Grade),
                    recording_sha256=row.recording_sha256,
                    added_at=row.added_at,
                    retired=Retirement(row.retired_at, row.retired_why) if row.retired_at else None,
                    vehicle_id=row.vehicle_id,
                )
                for row in session.execute(asked)
            )

    def retire(self, identifier: str, *, why: str) -> KnownGood:
        """Take a known-good off the shelf; it is kept, and says when and why.

        Raises
        ------
        UsageError
            There is none, it is retired already, or no reason was given.
        """
        if not why.strip():
            raise UsageError("say why the known-good is retired: others will want to know")
        with self._database.write() as session:
            row = self._row(session, identifier)
            if row.retired_at is not None:
                raise UsageError(
                    f"known-good {row.id} is retired already ({row.retired_why}); there is nothing "
                    "to do"
                )
            retire(session, row.id, why=why.strip())
            session.refresh(row)
            return known_good_of(row)

    def fits(self, measurement: Measurement, *, limit: int = 20) -> tuple[Fit, ...]:
        """Return the patterns of the shelf that a measurement fits, the best first.

        Parameters
        ----------
        measurement : Measurement
        limit : int
            Most ids named for each pattern.
        """
        with self._database.read() as session:
            return fits(session, measurement, limit=limit)

    def statistics(
        self, family: str, *, policy: Policy | None = None
    ) -> tuple[FamilyStatistics, ...]:
        """Return what a family's known-goods say together, one for each pattern, largest first.

        Raises
        ------
        NotFoundError
            There is no such family.
        """
        with self._database.read() as session:
            return family_statistics(session, self._family(session, family), policy=policy)

    def export(
        self,
        path: str | Path,
        *,
        family: str | None = None,
        ids: Sequence[str] | None = None,
        include_retired: bool = False,
    ) -> ExportReport:
        """Write known-goods into one ``.json`` or a bundle ``.zip``, without private details.

        Parameters
        ----------
        path : path
        family : str, optional
        ids : sequence of str, optional
            Those and no others, retired or not.
        include_retired : bool

        Returns
        -------
        ExportReport
            Known-goods in which a text names a vehicle or its owner are withheld and named.

        Raises
        ------
        UsageError
            Nothing to export, or the place can't be written.
        """
        path = Path(path)
        with self._database.read() as session:
            if ids is None:
                rows = self._chosen(session, family, include_retired=include_retired)
            else:
                rows = [self._row(session, one) for one in dict.fromkeys(ids)]
            chosen = [known_good_of(row) for row in rows]
            private = _private(session)
        withheld: list[tuple[str, str]] = []
        free: list[KnownGood] = []
        for known_good in chosen:
            found = naming(json.loads(codec.dump(known_good)), private)
            if found is None:
                free.append(known_good)
            else:
                withheld.append((known_good.id, f"'{found[0]}' holds a {found[1]}"))
        if not free:
            reason = f": {withheld[0][0]} is withheld, as {withheld[0][1]}" if withheld else ""
            raise UsageError(f"there is no known-good to export{reason}")
        portable.write(free, path)
        return ExportReport(path, tuple(item.id for item in free), tuple(withheld))

    def import_file(self, path: str | Path) -> ImportReport:
        """Take known-goods from a file; what is here stays as it is.

        Returns
        -------
        ImportReport
            Importing again adds nothing. A known-good that was changed on the way, or whose
            recording is here with other content, is a conflict and is left out.

        Raises
        ------
        UnreadableError
            The file can't be read, or is something else.
        """
        with self._database.write() as session:
            return Shelving(session).take(portable.read(Path(path)))

    def _row(self, session: Session, identifier: str) -> _Row:
        return by_start(session, _Row, _Row.id, identifier, fewest=4, noun="known-good")

    def _family(self, session: Session, name: str) -> FamilyRow:
        found = find_named(session, FamilyRow, name)
        if found is None:
            names = session.scalars(select(FamilyRow.name).order_by(FamilyRow.name).limit(8)).all()
            known = f"; there is: {', '.join(names)}" if names else "; the shelf is empty"
            raise NotFoundError(f"there is no engine family {name!r} on the shelf{known}")
        return found

    def _chosen(
        self, session: Session, family: str | None, *, include_retired: bool
    ) -> Sequence[_Row]:
        asked = select(_Row).order_by(_Row.id)
        if family is not None:
            asked = asked.where(_Row.family_id == self._family(session, family).id)
        if not include_retired:
            asked = asked.where(_Row.retired_at.is_(None))
        return session.scalars(asked).all()

    @staticmethod
    def _refuse_private(session: Session, known_good: KnownGood) -> None:
        found = naming(json.loads(codec.dump(known_good)), _private(session))
        if found is not None:
            raise UsageError(
                f"not added: '{found[0]}' holds the {found[1]} of a vehicle in this store, and "
                "known-goods are made to be shared; leave it out"
            )


def _private(session: Session) -> list[VehicleDetails]:
    rows = session.execute(select(DetailsRow.vin, DetailsRow.plate, DetailsRow.customer).distinct())
    return [VehicleDetails(vin, plate, customer) for vin, plate, customer in rows]
