"""Packed files: gzip, and a zip with one recording inside; guarded against bombs."""

from __future__ import annotations

import gzip
import tempfile
import zipfile
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import IO

from crankwise.errors import CrankwiseError, UnreadableError
from crankwise.readers.contract import HEAD_BYTES, LIKELY
from crankwise.readers.limits import check_growth

Score = Callable[[bytes, Path], int]

_GZIP = b"\x1f\x8b"
_ZIP = b"PK\x03\x04"
_BLOCK = 1 << 20
_MOST_MEMBERS = 1000


def is_packed(head: bytes) -> bool:
    """Whether a file begins like gzip or zip."""
    return head.startswith((_GZIP, _ZIP))


def unpack(path: Path, name: str, stack: ExitStack, score: Score) -> Path:
    """Unpack into a temporary folder that lives as long as the stack.

    Parameters
    ----------
    path, name : Path and str
        The packed bytes, and what the file is called in messages.
    stack : ExitStack
        Removes the temporary folder when it closes.
    score : callable
        Best sniff score of a head and path, to find the recording among a zip's members.

    Raises
    ------
    UnreadableError
        If it is damaged, locked, implausibly large, or has no or several recordings inside.
    """
    folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="crankwise-")))
    with path.open("rb") as file:
        is_zip = file.read(4) == _ZIP
    try:
        if is_zip:
            with zipfile.ZipFile(path) as archive:
                member = _recording_in(archive, name, score)
                target = folder / (Path(member.filename).name or "recording")
                with archive.open(member) as packed:
                    _copy(packed, target, name, packed_bytes=member.compress_size)
        else:
            inner = path.name[:-3] if path.name.lower().endswith(".gz") else path.name
            target = folder / (inner or "recording")
            with gzip.open(path) as packed:
                _copy(packed, target, name, packed_bytes=path.stat().st_size)
    except (CrankwiseError, MemoryError):
        raise
    except (NotImplementedError, RuntimeError) as error:  # zipfile's errors for locked members
        raise UnreadableError(
            f"{name}: packed with a password or an unusual method. Unpack it first"
        ) from error
    except Exception as error:  # of almost any type where a zip is damaged
        if isinstance(error, OSError) and error.errno is not None:
            raise  # the drive's own, for one that it is full
        raise UnreadableError(
            f"{name}: the packed file is damaged or cut short. Copy it again from the scope"
        ) from error
    return target


def _copy(packed: IO[bytes] | gzip.GzipFile, target: Path, name: str, *, packed_bytes: int) -> None:
    """Write the unpacked bytes, and stop where they grow beyond all reason."""
    written = 0
    with target.open("wb") as file:
        while block := packed.read(_BLOCK):
            written += len(block)
            check_growth(name, unpacked_bytes=written, packed_bytes=packed_bytes)
            file.write(block)


def _recording_in(archive: zipfile.ZipFile, name: str, score: Score) -> zipfile.ZipInfo:
    """Find the one member that is a recording."""
    members = [
        member
        for member in archive.infolist()
        if member.filename
        and not member.is_dir()
        and not member.filename.startswith("__MACOSX/")
        and not Path(member.filename).name.startswith(".")
    ]
    if len(members) > _MOST_MEMBERS:
        raise UnreadableError(
            f"{name}: {len(members)} files inside. Unpack it and give one recording"
        )
    # Office Open XML (ECMA-376, part 2) and OpenDocument (ODF 1.3, part 2) name their kind so.
    if any(
        member.filename in {"[Content_Types].xml", "META-INF/manifest.xml"} for member in members
    ):
        raise UnreadableError(
            f"{name}: this is a spreadsheet or office document. Save the sheet as CSV"
        )
    scored = [(_member_score(archive, member, score), member) for member in members]
    recordings = [member for points, member in scored if points >= 2 * LIKELY]
    if not recordings:
        recordings = [member for points, member in scored if points > 0]
    if not recordings:
        raise UnreadableError(f"{name}: no recording inside. Give the file that holds the samples")
    if len(recordings) > 1:
        names = ", ".join(f"'{member.filename}'" for member in recordings[:6])
        more = f" and {len(recordings) - 6} more" if len(recordings) > 6 else ""
        raise UnreadableError(
            f"{name}: {len(recordings)} recordings inside ({names}{more}). "
            "Unpack it and give one of them"
        )
    return recordings[0]


def _member_score(archive: zipfile.ZipFile, member: zipfile.ZipInfo, score: Score) -> int:
    """Sniff one member; packed files inside a zip count as likely recordings."""
    with archive.open(member) as file:
        head = file.read(HEAD_BYTES)
    return 2 * LIKELY if head.startswith(_GZIP) else score(head, Path(member.filename))
