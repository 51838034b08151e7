"""Check each row: that it can be read, and says what the document in it says."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any, Final

from sqlalchemy import Executable, LargeBinary, func, select, type_coerce
from sqlalchemy.orm import Session

from crankwise.errors import CrankwiseError
from crankwise.model.comparison import Comparison
from crankwise.model.kept import MeasureSettings, Problem
from crankwise.model.measurement import Measurement
from crankwise.model.shelf import KnownGood
from crankwise.model.shop import Profile
from crankwise.store import codec, portable
from crankwise.store.facts import KINDS
from crankwise.store.tables import (
    Base,
    ComparisonRow,
    FactRow,
    KnownGoodCamRow,
    KnownGoodEdgeRow,
    KnownGoodRow,
    MeasurementRow,
    PatternCamRow,
    PatternRow,
    ShopRow,
    WatchedRow,
)
from crankwise.store.types import UtcTime, unpacked

RESTORE: Final = "restore a backup"
_STREAM: Final = {"yield_per": 200}


def time_problems(session: Session) -> Iterator[Problem]:
    """Tables in which a time can't be read as one."""
    for mapper in Base.registry.mappers:
        kind = mapper.class_
        times = [column for column in kind.__table__.c if isinstance(column.type, UtcTime)]
        if times and not _holds(_can_be_read, session, select(*times)):
            yield Problem("row", f"a time in {kind.__tablename__} was altered; {RESTORE}")


def _can_be_read(session: Session, asked: Executable) -> bool:
    for _ in session.execute(asked, execution_options=_STREAM):
        pass
    return True


def measurement_problems(session: Session) -> Iterator[Problem]:
    """Measurements that say something else than when they were kept, or are of another recording.

    Their documents bear a digest, and name the original that they were taken from by its own.
    """
    row = MeasurementRow
    document = type_coerce(row.document, LargeBinary)  # unpacked below, as it may be damaged
    asked = select(row.id, document, row.document_sha256, row.recording_sha256, row.settings)
    for number, *values in session.execute(asked.order_by(row.id).execution_options(**_STREAM)):
        if not _holds(_is_measurement, *values):
            yield Problem(
                "measurement",
                f"measurement {number} was altered; {RESTORE}, or measure its recording again",
            )


def _is_measurement(packed: bytes, digest: str, recording: str, settings: str) -> bool:
    codec.load(settings, MeasureSettings)
    text = unpacked(bytes(packed))
    return (
        codec.digest(text) == digest and codec.load(text, Measurement).recording.sha256 == recording
    )


def known_good_problems(session: Session) -> Iterator[Problem]:
    """Known-goods whose document or row was altered."""
    row = KnownGoodRow
    document = type_coerce(row.document, LargeBinary)
    asked = select(
        document, row.id, row.content_sha256, row.recording_sha256, row.wheel, row.edge_counts,
        row.provenance, row.grade,
    )  # fmt: skip
    for packed, *values in session.execute(asked.order_by(row.id).execution_options(**_STREAM)):
        if not _holds(_is_known_good, packed, *values):
            yield Problem("known-good", f"known-good {values[0]} was altered; {RESTORE}")


def _is_known_good(packed: bytes, *values: str) -> bool:
    known_good = codec.load(unpacked(bytes(packed)), KnownGood)
    measured = known_good.measurement
    return portable.is_untouched(known_good) and values == (
        known_good.id,
        known_good.content_sha256,
        measured.recording.sha256,
        measured.crank.wheel,
        json.dumps([len(cam.edges) for cam in measured.cams]),
        codec.dump(known_good.provenance),
        codec.dump(known_good.grade),
    )


def place_problems(session: Session) -> Iterator[Problem]:
    """Known-goods in use whose place in their pattern is missing, whole or in part."""
    cam, row = PatternCamRow, KnownGoodRow
    counts = select(cam.pattern_id, func.count(), func.sum(cam.edge_count)).group_by(cam.pattern_id)
    expected = {pattern: tuple(rest) for pattern, *rest in session.execute(counts)}
    cams = _counted(session, KnownGoodCamRow.known_good_id)
    edges = _counted(session, KnownGoodEdgeRow.known_good_id)
    pattern_of: dict[str, int] = {}
    asked = select(row.id, row.pattern_id, row.retired_at.is_(None)).order_by(row.id)
    for known_good, pattern, is_in_use in session.execute(asked):
        pattern_of[known_good] = pattern
        places = cams.get(known_good, 0), edges.get(known_good, 0)
        if places != (expected.get(pattern) if is_in_use else (0, 0)):
            yield Problem(
                "known-good",
                f"the place of known-good {known_good} in its pattern is lost; {RESTORE}",
            )
    for number, first in session.execute(select(PatternRow.id, PatternRow.first_id)):
        if pattern_of.get(first) != number:
            yield Problem(
                "known-good", f"the first known-good of pattern {number} is lost; {RESTORE}"
            )


def fact_problems(session: Session) -> Iterator[Problem]:
    """Facts that can't be read."""
    asked = select(FactRow.id, FactRow.body, FactRow.kind).order_by(FactRow.id)
    return _row_problems(session, asked, _is_fact, "fact")


def _is_fact(body: str, kind: str) -> bool:
    codec.load(body, KINDS[kind])
    return True


def comparison_problems(session: Session) -> Iterator[Problem]:
    """Comparisons that can't be read, or rest on a known-good that is gone."""
    row = ComparisonRow
    known = set(session.scalars(select(KnownGoodRow.id)))
    document = type_coerce(row.document, LargeBinary)
    asked = select(row.id, document, row.known_good_ids).order_by(row.id)

    def is_comparison(packed: bytes, ids: str) -> bool:
        codec.load(unpacked(bytes(packed)), Comparison)
        return known.issuperset(json.loads(ids))

    return _row_problems(session, asked, is_comparison, "comparison")


def shop_problems(session: Session) -> Iterator[Problem]:
    """What the workshop keeps about itself and that can't be read; a picture holds no check."""
    row = ShopRow
    asked = select(row.id, row.body, row.kind).where(row.body.is_not(None), row.kind != "logo")
    return _row_problems(session, asked.order_by(row.id), _is_of_shop, "shop")


def _is_of_shop(body: bytes, kind: str) -> bool:
    text = bytes(body).decode()
    if kind == "profile":
        codec.load(text, Profile)
    return "\0" not in text


def watched_problems(session: Session) -> Iterator[Problem]:
    """Watched files whose comparison can't be read."""
    row = WatchedRow
    document = type_coerce(row.comparison, LargeBinary)
    asked = select(row.id, document).where(row.comparison.is_not(None)).order_by(row.id)
    return _row_problems(session, asked, _is_comparison, "watched")


def _is_comparison(packed: bytes) -> bool:
    codec.load(unpacked(bytes(packed)), Comparison)
    return True


def _row_problems(
    session: Session, asked: Executable, check: Callable[..., bool], table: str
) -> Iterator[Problem]:
    for number, *values in session.execute(asked, execution_options=_STREAM):
        if not _holds(check, *values):
            yield Problem("row", f"row {number} of {table} was altered; {RESTORE}")


def _holds(check: Callable[..., bool], *values: object) -> bool:
    """Whether a check of one row holds; what can't be read does not."""
    try:
        return check(*values)
    except (CrankwiseError, ValueError, TypeError, LookupError):
        return False


def _counted(session: Session, column: Any) -> dict[str, int]:
    """How many rows there are of each known-good."""
    found = session.execute(select(column, func.count()).group_by(column))
    return {known_good: count for known_good, count in found}  # noqa: C416  rows are no pairs
