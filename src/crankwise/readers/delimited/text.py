"""Bytes to lines: encoding, line ends, and chunks of whole lines as UTF-8."""

from __future__ import annotations

import codecs
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from io import FileIO
from pathlib import Path

from crankwise.errors import UnreadableError

CHUNK_BYTES = 1 << 23
_WINDOW_BYTES = 1 << 16

LONGEST_LINE = 100_000
"""Characters: a thousand channels need a fifth of it."""

_LONGEST_LINE_BYTES = 4 * LONGEST_LINE

_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


@dataclass(frozen=True, slots=True)
class TextFormat:
    r"""How the characters are stored.

    Attributes
    ----------
    encoding : str
        Python's name of the encoding.
    mark_bytes : int
        Length of the byte order mark.
    newline : str
        ``"\n"``, ``"\r\n"`` or ``"\r"``.
    """

    encoding: str
    mark_bytes: int
    newline: str


@dataclass(frozen=True, slots=True)
class Chunk:
    r"""Some whole lines of the file.

    Attributes
    ----------
    data : bytes
        UTF-8, lines ended by ``\n`` or ``\r\n``; the last line of the file may have no end.
    is_last : bool
        Whether the file ends with it.
    """

    data: bytes
    is_last: bool


def is_text(head: bytes) -> bool:
    """Whether a file may be text: no NUL bytes but UTF-16's, few other control characters."""
    encoding, mark_bytes = _encoding(head)
    body = head[mark_bytes:]
    if not encoding.startswith("utf-16"):
        body = body.rstrip(b"\0\x1a")
        if b"\0" in body:
            return False
        control = sum(body.count(code) for code in range(32) if code not in b"\t\n\r\f\x1a\x1b")
        return bool(body) and control <= len(body) // 100
    text = body.decode(encoding, errors="replace")
    return bool(text) and text.count("\ufffd") + text.count("\0") <= len(text) // 100


def detect(head: bytes) -> TextFormat:
    """Tell encoding and line ends from the beginning of a file."""
    encoding, mark_bytes = _encoding(head)
    text = head[mark_bytes:].decode(encoding, errors="replace")
    if "\n" in text:
        newline = "\r\n" if "\r\n" in text else "\n"
    else:
        newline = "\r" if "\r" in text[:-1] else "\n"
    return TextFormat(encoding, mark_bytes, newline)


def lines(head: bytes, form: TextFormat, *, is_whole: bool) -> list[str]:
    """Lines of the beginning of a file, without their ends and without a last one cut off."""
    text = head[form.mark_bytes :].decode(form.encoding, errors="replace")
    if is_whole:
        text = text.rstrip("\0\x1a")
    found = text.split("\r") if form.newline == "\r" else text.split("\n")
    if not is_whole or not found[-1]:
        found = found[:-1]
    return [line.rstrip("\r") for line in found]


def too_long(name: str, where: str) -> UnreadableError:
    """Refusal of a line that no row of numbers is as long as."""
    return UnreadableError(
        f"{name}: {where} is longer than {LONGEST_LINE} characters. Export the recording as CSV "
        "with a row for each sample"
    )


def chunks(
    path: Path,
    name: str,
    form: TextFormat,
    *,
    skip_lines: int,
    chunk_bytes: int,
    progress: Callable[[float], None],
) -> Iterator[Chunk]:
    """Read the file in chunks of whole lines, from a line on.

    Each chunk is read in one piece up to the end of a line, so that its bytes are copied once.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        What it is called in messages.
    form : TextFormat
        As told by :func:`detect`.
    skip_lines : int
        Lines to leave out at the beginning.
    chunk_bytes : int
        Least size of a chunk but the last.
    progress : callable
        Called with the fraction read.

    Raises
    ------
    UnreadableError
        A line is far too long.
    """
    size = path.stat().st_size
    with path.open("rb", buffering=0) as file:
        start = _after_lines(file, form, skip_lines)
        while start < size:
            end = start + chunk_bytes
            end = _after_lines(file, form, 1, start=end) if end < size else size
            if end - start > chunk_bytes + _LONGEST_LINE_BYTES:
                raise too_long(name, "a row")
            file.seek(start)
            data = _to_utf8(file.read(end - start), form)
            is_last = end >= size
            if is_last:
                data = data.rstrip(b"\0\x1a")
            if data:
                yield Chunk(data, is_last)
            progress(end / size)
            start = end


def _after_lines(file: FileIO, form: TextFormat, count: int, *, start: int | None = None) -> int:
    """Position behind the next line ends from a position on; the end of the file at most."""
    newline = ("\r" if form.newline == "\r" else "\n").encode(form.encoding)
    width = len(newline)
    position = form.mark_bytes if start is None else start - (start - form.mark_bytes) % width
    while count:
        file.seek(position)
        window = file.read(_WINDOW_BYTES)
        if not window:
            break
        at = window.find(newline)
        while at >= 0 and count:
            if at % width == 0:
                count -= 1
                if not count:
                    return position + at + width
            at = window.find(newline, at + 1)
        position += len(window)
    return position


def _to_utf8(block: bytes, form: TextFormat) -> bytes:
    """Bring whole lines to UTF-8 with line feeds; plain ASCII with line feeds passes untouched."""
    if form.encoding.startswith("utf-16") or (form.encoding != "utf-8" and not block.isascii()):
        block = block.decode(form.encoding, errors="replace").encode()
    return block.replace(b"\r", b"\n") if form.newline == "\r" else block


def _encoding(head: bytes) -> tuple[str, int]:
    """Tell the encoding by its mark, by UTF-16's NUL pattern, or by what decodes."""
    for mark, encoding in _MARKS:
        if head.startswith(mark):
            return encoding, len(mark)
    pairs = len(head) // 2
    if pairs >= 4:
        if head[1::2].count(0) > 0.7 * pairs and head[::2].count(0) < 0.1 * pairs:
            return "utf-16-le", 0
        if head[::2].count(0) > 0.7 * pairs and head[1::2].count(0) < 0.1 * pairs:
            return "utf-16-be", 0
    for encoding in ("utf-8", "cp1252"):
        decoder = codecs.getincrementaldecoder(encoding)()
        try:
            decoder.decode(head)  # not final: a character may be cut at the end of the head
        except UnicodeDecodeError:
            continue
        return encoding, 0
    return "latin-1", 0
