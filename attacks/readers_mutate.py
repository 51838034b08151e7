"""Valid files made wrong: bits, lengths, counts, words and numbers changed, with their format."""

from __future__ import annotations

import gzip
import io
import json
import random
import re
import struct
import warnings
import zipfile
import zlib
from collections.abc import Callable, Mapping, Sequence
from copy import deepcopy
from typing import Any, Literal

Seeds = Mapping[str, bytes]
Change = Callable[[bytes, random.Random], bytes]

MOST_BYTES = 60_000
"""Inputs are cut to this, so that a repeated block stays a small input."""

_WHOLE = (
    0, 1, 2, 3, 4, 7, 8, 16, 24, 32, 64, 100, 127, 128, 255, 256, 512, 1000, 4096, 32767, 32768,
    65535, 65536, 1 << 20, (1 << 24) + 1, (1 << 31) - 1, 1 << 31, (1 << 32) - 1, 1 << 32, 1 << 40,
    1 << 48, (1 << 62) + 1, (1 << 63) - 1, 1 << 63, (1 << 64) - 1,
)  # fmt: skip
_NUMBERS = (
    "1e999", "-1e999", "nan", "NaN", "inf", "-inf", "Infinity", "-0", "-0.0", "0", "1e-999",
    "1e308",
    "-1e308", "1e-308", "5e-324", "9" * 25, "9" * 400, "9" * 5000, "1" + "0" * 60, "0x10", "1_000",
    "١٢٣", "１２", "²", "½", "1.2.3", "1,2", "1.234,5", "+", "-", ".", "1e", "1e5e5", "∞", "OL",
    "--5", "+-5", "1 2", "true", "null", "18446744073709551616", "9223372036854775808", "12:30:01",
    "-1", "2147483648", "\u22125", "0.1\u00a0", "1e15", "1e-15", "16777217",
)  # fmt: skip
_TEXTS = (
    "", " ", "\0", "\ufeff", "\u2028", "\x85", "\x0b", "\x0c", "\x1c", "\x1a", "\r", "\n", "\r\n",
    "\n\n\n", "\n\r", '"', "'", '"""', ",", ";", "\t", "|", "\\", "\\n", "{", "}", "[", "]", "[[",
    "]]", "(", ")", "<", ">", "#", "=", ":", "/", "é", "İ", "ß", "\u202e", "😀", "\ud7ff",
    "a" * 300,
    "A" * 5000, "Time", "Time [ms]", "t", "s", "ms", "V", "mV", "index", "#", "Sample Interval",
    "Sample rate: 0 Hz", "fs", "$end", "%s", "../../x", "NaN",
)  # fmt: skip
_WORDS: dict[str, tuple[str, ...]] = {
    "change dumps": (
        "$end", "$var wire 1 ! x $end", "$timescale 1 ns $end", "$timescale",
        "$scope module m $end",
        "$upscope $end", "$enddefinitions $end", "$comment", "$dumpvars", "#", "#-1", "#1e5",
        "#99999999999999999999999999", "#" + "9" * 5000, "#١", "#²", "b", "bx !", "0!", "1!", "x!",
        "r1e999 !", "1", "$var wire 1 ! ! ! $end", "$var wire -1 ! x $end", "100 fs",
    ),
    "numpy": (
        "'descr'", "'<f8'", "'<f4'", "'|O'", "'<M8[ns]'", "'<U5'", "'|S5'", "'<c16'", "'|V8'",
        "'<f2'",
        "'<i8'", "'>f8'", "'|b1'", "'<f16'", "'<m8[us]'", "(", ")", "True", "False", "(0,)",
        "(1000000000,)", "(-1,)", "(9223372036854775807, 8)", "(2, 2, 2)", "()", "'shape'",
        "[('a', '<f8')]", "[('a', '<f8', (3,))]", "[('a', '|O')]", "[('a', [('b', '<f8')])]",
        "'fortran_order': True", "(4294967296, 4294967296)",
    ),
    "engine files": (
        "[[cam]]", "[[drive]]", "[[drive.sprocket]]", "[[drive.span]]", "[crank]", "[cam.phaser]",
        "role", "intake", "exhaust-2", "cam-1", "teeth", "links", "kind", "chain", "belt",
        "between",
        "= true", "= []", "= {}", "= 1979-05-27", "= 07:32:00", "= [[1]]", "= inf", "= -nan", '""',
    ),
    "policies": (
        "[limits]", "[spread]", "[causes]", "[causes.priors]", "value", "source", "= inf", "= nan",
        "= -1", "= 0", "= {}", "= []", "= true", "= 1e300", "= 1979-05-27",
    ),
    "wheel files": (
        "[[wheel]]", "[wheel]", "pattern", "pitch_deg", "has_gap", "width_deg", '"999999999x6"',
        '"58x6 12"', '"0x6"', '"1x0"', '"1e5"', '"²x6"', '"١x6"', "= inf", "= nan", "= []",
        "= true",
        '"360x1"', '"3600000x0.0001"', "= {}",
    ),
}  # fmt: skip
_NUMBER = re.compile(rb"[+-]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d+)?")


def mutated(kind: str, seeds: Seeds, rng: random.Random) -> tuple[str, bytes]:
    """One wrong file of a kind, from a short seed more often: its name, and its content."""
    name = rng.choices(list(seeds), [1.0 / len(content) for content in seeds.values()])[0]
    content = seeds[name]
    if rng.random() < 0.02:
        return name, content
    changes = _changes(kind)
    for _ in range(rng.choice((1, 1, 1, 2, 3, 6))):
        change = rng.choice(changes)
        content = change(content, rng)
        if rng.random() < 0.05:
            content = _spliced(content, seeds[rng.choice(list(seeds))], rng)
    return name, content[:MOST_BYTES]


def _changes(kind: str) -> Sequence[Change]:
    words = _WORDS.get(kind, ())

    def word(content: bytes, rng: random.Random) -> bytes:
        return _put(content, rng.choice(words).encode(errors="surrogatepass"), rng)

    text = (_number, _number, _text, _line, _cell, _bits, _cut, _repeated, _removed)
    binary = (_bits, _bits, _field, _field, _field, _cut, _repeated, _removed, _text, _moved)
    inside: dict[str, tuple[Change, ...]] = {
        "numpy": (*binary, _npy_header, _npy_header, _in_zip, _in_zip),
        "packed": (*binary, _in_zip, _in_zip, _in_gzip),
        "measurements": (*text, _json, _json, _json, _json),
        "known-goods": (*text, _json, _json, _json, _in_zip),
        "MATLAB": (*binary, _in_deflated),
        "change dumps": text,
    }
    texts = ("text tables", "event lists", "engine files", "policies", "wheel files")
    chosen = inside.get(kind, text if kind in texts else binary)
    return (*chosen, word, word) if words else chosen


def _place(content: bytes, rng: random.Random) -> int:
    """A place, oftener near the beginning or the end, where headers are."""
    size = len(content)
    near = rng.choice((size, size, min(size, 64), min(size, 400)))
    place = rng.randint(0, near)
    return size - place if rng.random() < 0.2 else place


def _put(content: bytes, piece: bytes, rng: random.Random) -> bytes:
    """Put a piece in, or over what is there."""
    at = _place(content, rng)
    over = len(piece) if rng.random() < 0.4 else 0
    return content[:at] + piece + content[at + over :]


def _bits(content: bytes, rng: random.Random) -> bytes:
    changed = bytearray(content)
    for _ in range(rng.choice((1, 1, 2, 8))):
        if changed:
            at = min(_place(content, rng), len(changed) - 1)
            changed[at] = rng.choice((changed[at] ^ (1 << rng.randrange(8)), rng.randrange(256)))
    return bytes(changed)


def _field(content: bytes, rng: random.Random) -> bytes:
    """Write a whole number or a float over a field of 1, 2, 4 or 8 bytes."""
    width = rng.choice((1, 2, 4, 4, 8, 8))
    at = _place(content, rng)
    at -= at % rng.choice((1, 2, 4, 8))
    if width == 8 and rng.random() < 0.1:
        number = rng.choice((float("nan"), float("inf"), -1.0, 0.0, 1e308, 1e-308))
        return content[:at] + struct.pack("<d", number) + content[at + 8 :]
    order: Literal["little", "big"] = rng.choice(("little", "little", "big"))
    old = int.from_bytes(content[at : at + width], order)
    number = rng.choice((rng.choice(_WHOLE), old + 1, old - 1, old * 2, old << 8, ~old))
    piece = (number % (1 << (8 * width))).to_bytes(width, order)
    return content[:at] + piece + content[at + width :]


def _cut(content: bytes, rng: random.Random) -> bytes:
    return (
        content[: _place(content, rng)] if rng.random() < 0.8 else content[_place(content, rng) :]
    )


def _block(content: bytes, rng: random.Random) -> tuple[int, int]:
    start = _place(content, rng)
    return start, start + rng.choice((1, 2, 4, 8, 30, 100, 500))


def _repeated(content: bytes, rng: random.Random) -> bytes:
    start, end = _block(content, rng)
    return content[:end] + content[start:end] * rng.choice((1, 2, 10, 100)) + content[end:]


def _removed(content: bytes, rng: random.Random) -> bytes:
    start, end = _block(content, rng)
    filling = bytes(end - start) if rng.random() < 0.3 else b""
    return content[:start] + filling + content[end:]


def _moved(content: bytes, rng: random.Random) -> bytes:
    start, end = _block(content, rng)
    at = _place(content, rng)
    piece = content[start:end]
    return content[:at] + piece + content[at + len(piece) :]


def _spliced(content: bytes, other: bytes, rng: random.Random) -> bytes:
    return content[: _place(content, rng)] + other[_place(other, rng) :]


def _number(content: bytes, rng: random.Random) -> bytes:
    """Write an odd number over one that is there."""
    found = list(_NUMBER.finditer(content[:4000] if rng.random() < 0.5 else content))
    piece = rng.choice(_NUMBERS).encode()
    if not found:
        return _put(content, piece, rng)
    one = rng.choice(found)
    return content[: one.start()] + piece + content[one.end() :]


def _text(content: bytes, rng: random.Random) -> bytes:
    encoding = rng.choice(("utf-8", "utf-8", "utf-8", "cp1252", "utf-16-le"))
    piece = rng.choice(_TEXTS).encode(encoding, errors="replace")
    return _put(content, piece, rng)


def _line(content: bytes, rng: random.Random) -> bytes:
    """Lines doubled, dropped, swapped, moved to the end, or ended in another way."""
    lines = content.split(b"\n")
    one, two = rng.randrange(len(lines)), rng.randrange(len(lines))
    match rng.randrange(6):
        case 0:
            lines.insert(one, lines[two])
        case 1:
            del lines[min(one, two) : max(one, two)]
        case 2:
            lines[one], lines[two] = lines[two], lines[one]
        case 3:
            lines[one] = lines[one] + rng.choice((b"\r", b"\0", b",", b" ", b'"', b";;;", b"\x1a"))
        case 4:
            lines = lines[:one] + [b""] * rng.choice((1, 3, 50)) + lines[one:]
        case _:
            return rng.choice((b"\r\n", b"\r", b"\n\n")).join(lines)
    return b"\n".join(lines)


def _cell(content: bytes, rng: random.Random) -> bytes:
    """Cells of one line or of one column changed, added or dropped; or another separator."""
    separator = rng.choice((b",", b";", b"\t", b" "))
    if rng.random() < 0.1:
        return content.replace(separator, rng.choice((b";", b"|", b"\t", b" , ", b'","', b"")))
    lines = content.split(b"\n")
    value = rng.choice((*_NUMBERS, *_TEXTS)).encode(errors="replace")
    column = rng.randrange(5)
    chosen = range(len(lines)) if rng.random() < 0.3 else [rng.randrange(len(lines))]
    drops = rng.random() < 0.3
    for index in chosen:
        cells = lines[index].split(separator)
        if column < len(cells):
            cells[column : column + 1] = [] if drops else [value]
        lines[index] = separator.join(cells)
    return b"\n".join(lines)


def _npy_header(content: bytes, rng: random.Random) -> bytes:
    """Change the text of an array's header and keep its stated length right."""
    if not content.startswith(b"\x93NUMPY") or len(content) < 12:
        return _in_zip(content, rng)
    length = struct.unpack_from("<H", content, 8)[0]
    header, rest = content[10 : 10 + length], content[10 + length :]
    change = rng.choice((_number, _number, _text, _bits, _removed))
    header = change(header, rng)[:60_000]
    return content[:8] + struct.pack("<H", len(header)) + header + rest


def _in_zip(content: bytes, rng: random.Random) -> bytes:
    """Change one member of a zip, or its name, and pack anew with right sums."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = [(item.filename, archive.read(item)) for item in archive.infolist()]
    except Exception:  # noqa: BLE001  changed before, so no zip any more
        return _field(content, rng)
    if not members:
        return _bits(content, rng)
    at = rng.randrange(len(members))
    name, inner = members[at]
    if rng.random() < 0.2:
        members[at] = (
            rng.choice(("", "/", "..", "a/", "x.npy", "../v.npy", name * 2, "é.csv")),
            inner,
        )
    elif rng.random() < 0.1:
        members.append(rng.choice(members))
    elif inner.startswith(b"\x93NUMPY") and rng.random() < 0.7:
        members[at] = name, _npy_header(inner, rng)
    else:
        change = rng.choice((_bits, _field, _number, _cut, _json, _text, _cell))
        members[at] = name, change(inner, rng)
    file = io.BytesIO()
    how = rng.choice(
        (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_LZMA, zipfile.ZIP_BZIP2)
    )
    with warnings.catch_warnings(), zipfile.ZipFile(file, "w", how) as archive:
        warnings.simplefilter("ignore")  # names that stand twice are meant
        for name, inner in members:
            archive.writestr(zipfile.ZipInfo(name), inner, compress_type=how)
    return file.getvalue()


def _in_gzip(content: bytes, rng: random.Random) -> bytes:
    try:
        inner = gzip.decompress(content)
    except Exception:  # noqa: BLE001  changed before, so no gzip any more
        return _bits(content, rng)
    change = rng.choice((_bits, _field, _number, _cut, _text, _cell))
    return gzip.compress(change(inner, rng), mtime=0)


def _in_deflated(content: bytes, rng: random.Random) -> bytes:
    """Change a packed variable of a MATLAB file, and pack it anew."""
    at = 128
    if len(content) < 136 or struct.unpack_from("<I", content, at)[0] != 15:
        return _field(content, rng)
    size = struct.unpack_from("<I", content, at + 4)[0]
    try:
        inner = zlib.decompress(content[at + 8 : at + 8 + size])
    except zlib.error:
        return _field(content, rng)
    packed = zlib.compress(rng.choice((_field, _bits, _cut))(inner, rng))
    return content[: at + 4] + struct.pack("<I", len(packed)) + packed + content[at + 8 + size :]


def _json(content: bytes, rng: random.Random) -> bytes:
    """Change a value somewhere in a document."""
    try:
        document = json.loads(content)
    except (ValueError, RecursionError):
        return _number(content, rng)
    places: list[tuple[Any, Any]] = []
    if isinstance(document, (dict, list)):
        _walk(document, places)
    if not places:
        return _number(content, rng)
    box, key = rng.choice(places)
    other_box, other_key = rng.choice(places)
    values: list[Any] = [
        None, True, -1, 0, 1, 1e308, -1e308, 5e-324, 10**25, 10**400, 0.5, 1e9, -1e9, float("nan"),
        float("inf"), "", "a", "\0", "\ud800", "x" * 5000, [], {}, [[]], {"": None},
        deepcopy(other_box[other_key]), [box[key]], [box[key]] * 3, str(box[key])[:100],
    ]  # fmt: skip
    match rng.randrange(4):
        case 0 if isinstance(box, dict):
            del box[key]
        case 1 if isinstance(box, list):
            box.insert(rng.randrange(len(box) + 1), box[key])
        case _ if isinstance(box[key], float) and rng.random() < 0.5:
            box[key] *= rng.choice((-1.0, 0.0, 1e-9, 1e9, 1.001, 1e300))
        case _:
            box[key] = rng.choice(values)
    return json.dumps(document, indent=rng.choice((None, 1))).encode()


def _walk(value: Any, places: list[tuple[Any, Any]]) -> None:
    keys = list(value) if isinstance(value, dict) else range(len(value))
    for key in keys:
        places.append((value, key))
        if isinstance(value[key], (dict, list)):
            _walk(value[key], places)
