"""Check a store: every original against its digest, every row against what it stands for.

Whatever is damaged, all the rest is checked as well: a part that can't be read is one problem.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from typing import Final

from sqlalchemy import func, select, text
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from crankwise.errors import CrankwiseError, UsageError
from crankwise.model.kept import Problem, VerifyReport
from crankwise.store.database import Database
from crankwise.store.originals import Originals
from crankwise.store.tables import (
    Base,
    ComparisonRow,
    DetailsRow,
    FactRow,
    KnownGoodRow,
    MeasurementRow,
    OriginalRow,
    ShopRow,
    WatchedRow,
)
from crankwise.store.verify_originals import measured_again, original_problems
from crankwise.store.verify_rows import (
    RESTORE,
    comparison_problems,
    fact_problems,
    known_good_problems,
    measurement_problems,
    place_problems,
    shop_problems,
    time_problems,
    watched_problems,
)

Progress = Callable[[str, float], None]

DAMAGE: Final = (SQLAlchemyError, sqlite3.Error, CrankwiseError, ValueError, TypeError, LookupError)
"""What reading a damaged database may raise, besides a usage error, which is none."""

_MOST_SAID: Final = 5
_PARTS: Final[tuple[tuple[str, Callable[[Session], Iterable[Problem]]], ...]] = (
    ("the measurements", measurement_problems),
    ("the known-goods", known_good_problems),
    ("the places in patterns", place_problems),
    ("the facts", fact_problems),
    ("the comparisons", comparison_problems),
    ("what the workshop keeps", shop_problems),
    ("the watched files", watched_problems),
    ("the times", time_problems),
)


def verify(
    database: Database,
    originals: Originals | None,
    *,
    again: bool = False,
    progress: Progress | None = None,
) -> VerifyReport:
    """Check everything; nothing is changed.

    Parameters
    ----------
    database : Database
    originals : Originals or None
    again : bool
        Measure every original again as well, and hold it against the measurement that is kept.
    progress : callable, optional
        Told what is being checked, and the share done (0 to 1).

    Returns
    -------
    VerifyReport

    Raises
    ------
    UsageError
        The store can't be reached.
    """
    tell = progress or (lambda _step, _share: None)
    check = _Check(database)
    tell("checking the database", 0.0)
    if database.is_sqlite:
        check.part("the database file", _file_problems)
        check.part("the numbers of rows", _number_problems)
    for name, problems in _PARTS:
        check.part(name, problems)
    kinds = (FactRow, ComparisonRow, ShopRow, WatchedRow)
    counts = [
        check.count(kind) for kind in (OriginalRow, MeasurementRow, KnownGoodRow, *kinds)
    ]  # fmt: skip
    check.files("the originals", lambda: original_problems(database, originals, tell))
    if again and originals is not None:
        check.files(
            "the original measured again", lambda: measured_again(database, originals, tell)
        )
    return VerifyReport(
        recordings=counts[0],
        measurements=counts[1],
        known_goods=counts[2],
        rows=sum(counts[3:]),
        problems=tuple(check.problems),
        notes=tuple(check.notes),
    )


class _Check:
    """Problems found so far; what can't be read becomes one of them."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self.problems: list[Problem] = []
        self.notes: list[Problem] = []

    def part(self, name: str, find: Callable[[Session], Iterable[Problem]]) -> None:
        """Check one part of the database in a session of its own."""
        try:
            with self._database.read() as session:
                for problem in find(session):
                    self._add(problem)
        except DAMAGE as error:
            self._unreadable(name, error)

    def files(self, name: str, find: Callable[[], Iterable[Problem]]) -> None:
        """Check originals."""
        try:
            for problem in find():
                self._add(problem)
        except DAMAGE as error:
            self._unreadable(name, error)

    def count(self, kind: type[Base]) -> int:
        """Return the number of rows; 0 where they can't be counted, which was told before."""
        try:
            with self._database.read() as session:
                return session.scalar(select(func.count()).select_from(kind)) or 0
        except DAMAGE as error:
            _let_out(error)
            return 0

    def _add(self, problem: Problem) -> None:
        (self.notes if problem.what == "note" else self.problems).append(problem)

    def _unreadable(self, name: str, error: Exception) -> None:
        _let_out(error)
        said = " ".join(str(getattr(error, "orig", None) or error).split())[:200]
        self.problems.append(Problem("database", f"{name} can't be read ({said}); {RESTORE}"))


def _let_out(error: Exception) -> None:
    """Pass on what is wrong with the way to the store, not with the store."""
    if isinstance(error, UsageError):
        raise error


def _file_problems(session: Session) -> Iterator[Problem]:
    """What SQLite itself finds: its documentation, "PRAGMA integrity_check"."""
    for (said,) in session.execute(text(f"PRAGMA integrity_check({_MOST_SAID})")):
        if said != "ok":
            words = " ".join(str(said).split())
            yield Problem("database", f"the database file is damaged ({words}); {RESTORE}")
    lost = Counter((row[0], row[2]) for row in session.execute(text("PRAGMA foreign_key_check")))
    for (table, parent), count in lost.items():
        if count > 1:
            said = f"{count} rows of {table} point to nothing in {parent}; {RESTORE}"
        else:
            said = f"one row of {table} points to nothing in {parent}; {RESTORE}"
        yield Problem("row", said)


def _number_problems(session: Session) -> Iterator[Problem]:
    """Rows that are gone from between others.

    SQLite numbers rows one by one ("Rowid Tables"), and nothing but private details is ever
    deleted. A last row that nothing points to leaves no gap.
    """
    for mapper in Base.registry.mappers:
        kind = mapper.class_
        number = getattr(kind, "id", None)
        if kind is DetailsRow or number is None or number.type.python_type is not int:
            continue
        highest, count = session.execute(select(func.max(number), func.count())).one()
        if highest is None or highest == count:
            continue
        for gone in _gaps(session.scalars(select(number).order_by(number))):
            yield Problem(
                "row", f"row {gone} of {kind.__tablename__} is gone, which no command does; "
                f"{RESTORE}",
            )  # fmt: skip


def _gaps(numbers: Iterable[int]) -> list[int]:
    """Return the first few numbers that are left out.

    >>> _gaps([2, 3, 6])
    [1, 4, 5]
    """
    gone: list[int] = []
    expected = 1
    for number in numbers:
        gone += range(expected, min(number, expected + _MOST_SAID))
        if len(gone) >= _MOST_SAID:
            break
        expected = number + 1
    return gone[:_MOST_SAID]
