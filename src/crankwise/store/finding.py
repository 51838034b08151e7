"""Small helpers that several repositories share: names, numbers, and rows that may be there."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar

from sqlalchemy import Table, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import InstrumentedAttribute, Session

from crankwise.errors import NotFoundError, UsageError
from crankwise.store.tables import Base, FamilyRow, WorkshopRow

_Row = TypeVar("_Row", bound=Base)
_Named = TypeVar("_Named", FamilyRow, WorkshopRow)


def insert_missing(session: Session, row: type[Base], values: Mapping[str, Any]) -> None:
    """Insert a row, unless one like it is there, whoever wrote it meanwhile."""
    table = row.__table__
    assert isinstance(table, Table)  # noqa: S101  mapped classes here are plain tables
    dialect = session.get_bind().dialect.name
    maker = sqlite.insert if dialect == "sqlite" else postgresql.insert
    session.execute(maker(table).values(dict(values)).on_conflict_do_nothing())


def name_key(name: str) -> str:
    """Return what two spellings of one name share.

    >>> name_key("  Tarn   t20 ")
    'tarn t20'
    """
    return " ".join(name.split()).casefold()


def named(session: Session, kind: type[_Named], name: str, noun: str) -> _Named:
    """Return the family or workshop of a name, made if there is none.

    Raises
    ------
    UsageError
        The name is empty.
    """
    if not name_key(name):
        raise UsageError(f"the name of the {noun} is empty")
    values = {"name": " ".join(name.split()), "name_key": name_key(name)}
    insert_missing(session, kind, values)
    return session.scalars(select(kind).where(kind.name_key == name_key(name))).one()


def find_named(session: Session, kind: type[_Named], name: str) -> _Named | None:
    """Return the family or workshop of a name, if it is known."""
    return session.scalars(select(kind).where(kind.name_key == name_key(name))).one_or_none()


def numbered(session: Session, kind: type[_Row], number: int, noun: str) -> _Row:
    """Return a row by its number; raises NotFoundError where there is none."""
    row = session.get(kind, number)
    if row is None:
        raise NotFoundError(f"there is no {noun} {number} in this store")
    return row


def by_start(
    session: Session,
    kind: type[_Row],
    column: InstrumentedAttribute[str],
    start: str,
    *,
    fewest: int,
    noun: str,
) -> _Row:
    """Return the one row whose id begins so.

    Raises
    ------
    NotFoundError
        None does.
    UsageError
        Several do, or the beginning is too short or no hexadecimal number.
    """
    wanted = start.strip().lower()
    if len(wanted) < fewest or not set(wanted) <= set("0123456789abcdef"):
        raise UsageError(f"{start!r} names no {noun}: give {fewest} or more of its digits")
    # A range, as LIKE would not use the index; "g" follows every hexadecimal digit.
    within = (column >= wanted, column < wanted + "g")
    rows = session.scalars(select(kind).where(*within).limit(2)).all()
    if not rows:
        raise NotFoundError(f"there is no {noun} {start} in this store")
    if len(rows) > 1:
        raise UsageError(f"several {noun}s begin with {start}: give more of the digits")
    return rows[0]
