"""Column types: times that stay UTC on every database, and packed documents."""

from __future__ import annotations

import zlib
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import DateTime, LargeBinary
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator

from crankwise.errors import UnreadableError

_LEVEL = 1  # half the time of the usual level for a tenth more bytes


class UtcTime(TypeDecorator[datetime]):
    """An aware UTC time; SQLite keeps no time zone, so it is put on again when read."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Take only aware times."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value!r} has no time zone")
        utc = value.astimezone(UTC)
        return utc.replace(tzinfo=None) if dialect.name == "sqlite" else utc

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Give only aware times."""
        del dialect
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Packed(TypeDecorator[str]):
    """A JSON document, packed with zlib: a fifth of the size."""

    impl = LargeBinary
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> bytes | None:
        """Pack."""
        del dialect
        return None if value is None else zlib.compress(value.encode(), _LEVEL)

    def process_result_value(self, value: Any, dialect: Dialect) -> str | None:
        """Unpack."""
        del dialect
        return None if value is None else unpacked(bytes(value))


@lru_cache(maxsize=1024)
def unpacked(data: bytes) -> str:
    """Return a packed document as text; raises UnreadableError where it is damaged.

    The last thousand are remembered: documents never change, and pages ask for the same ones.
    """
    try:
        return zlib.decompress(data).decode()
    except (zlib.error, UnicodeDecodeError) as error:
        raise UnreadableError(
            "a document in the store is damaged: verify the store, and go back to a backup"
        ) from error
