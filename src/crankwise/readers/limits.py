"""How large a recording may be beside its file: damaged and hostile files state absurd sizes."""

from __future__ import annotations

from crankwise.errors import UnreadableError

MOST_CHANNELS = 1000
"""Columns of a table: scopes have two to sixteen channels, logic analysers some dozens."""

MOST_RATIO = 200
MOST_BYTES = 500_000_000
"""Content over this size that also shrank more than :data:`MOST_RATIO` times is refused."""

MOST_PARTS = 10_000
"""Arrays, groups or the like in a file."""

DEEPEST = 20
"""Groups in groups, cells in cells."""


def check_growth(name: str, *, unpacked_bytes: int, packed_bytes: int) -> None:
    """Refuse content that grows beyond all reason.

    Raises
    ------
    UnreadableError
        It has more than :data:`MOST_BYTES` and :data:`MOST_RATIO` times the bytes of its file.
    """
    if unpacked_bytes > MOST_BYTES and unpacked_bytes > MOST_RATIO * packed_bytes:
        raise UnreadableError(
            f"{name}: unpacks to more than {MOST_BYTES / 1e6:.0f} MB from "
            f"{packed_bytes / 1e6:.1f} MB, which no recording does. "
            "If it is right, unpack it first"
        )


def check_channels(name: str, count: int) -> None:
    """Refuse more columns than any recording has.

    Raises
    ------
    UnreadableError
        There are more than :data:`MOST_CHANNELS`.
    """
    if count > MOST_CHANNELS:
        raise UnreadableError(
            f"{name}: {count} channels, and a recording has {MOST_CHANNELS} at most. "
            "Export the crank and cam channels only"
        )


def check_parts(count: int, *, depth: int = 0) -> None:
    """Refuse a file of more parts, or of parts deeper in each other, than any recording has.

    Raises
    ------
    ValueError
        For :func:`crankwise.readers.foreign.damaged_unless_read` to tell.
    """
    if count > MOST_PARTS or depth > DEEPEST:
        raise ValueError("far too many parts, or parts too deep in each other")
