"""A known-good as a portable document: made, written, read and checked.

One known-good is a ``.json`` (format ``crankwise.known-good/1``), several are a ``.zip`` of them.
Files are the same for the same known-goods, whenever and wherever they are written.
"""

from __future__ import annotations

import json
import re
import zipfile
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, Final, NoReturn

from crankwise import document
from crankwise.document.files import whole_file
from crankwise.errors import CrankwiseError, UnreadableError, UsageError
from crankwise.given import bytes_of, size_of
from crankwise.model.measurement import FORMAT as _MEASUREMENT
from crankwise.model.measurement import Measurement
from crankwise.model.shelf import FORMAT, Grade, KnownGood
from crankwise.readers.limits import check_growth
from crankwise.schemas import KNOWN_GOOD_RULES, broken_rule
from crankwise.store import codec
from crankwise.store.rules import keeps_rules

_MOST_BYTES: Final = 16_000_000
"""Largest document read: one has some 20 kB."""
_EPOCH: Final = (1980, 1, 1, 0, 0, 0)
_ODD_NUMBER: Final = re.compile(
    r"NaN|Infinity|(?<![\w.\"])-?[0-9][0-9.]*[eE][+]?[0-9]{3}|[0-9]{300}"
)
"""Whatever may be no finite number: looked at more closely."""
_STATED: Final = tuple(
    re.compile(rf'"format"\s*:\s*"{re.escape(stated)}"') for stated in (FORMAT, _MEASUREMENT)
)
"""Formats, which must be written out though the dataclasses would fill them in."""
_KIND, _MAJOR = FORMAT.split("/")


def make(
    measurement: Measurement,
    *,
    family: str,
    grade: Grade,
    added_at: datetime,
    supersedes: str | None = None,
) -> KnownGood:
    """Make a known-good; its id follows from its content."""
    draft = KnownGood("", family, grade, measurement, added_at, "", supersedes)
    digest = content_sha256(draft)
    return KnownGood(digest[:16], family, grade, measurement, added_at, digest, supersedes)


def content_sha256(known_good: KnownGood) -> str:
    """Digest of what a known-good says: not of its name, when it was added or retired."""
    parts = (
        json.dumps([known_good.family, known_good.supersedes], ensure_ascii=False),
        codec.dump(known_good.grade),
        _measurement_text(known_good.measurement),
    )
    return codec.digest("\n".join(parts))


def _measurement_text(measurement: Measurement) -> str:
    """Text of a measurement as it counts for the digest.

    A field that came later counts only where it says something, so that older known-goods keep
    their ids.
    """
    later = {"crank": {"repeats"}} if measurement.crank.repeats is None else None
    return codec.adapter(type(measurement)).dump_json(measurement, exclude=later).decode()


def to_text(known_good: KnownGood) -> str:
    """Return the document as text, its fixed fields first."""
    values = json.loads(codec.dump(known_good))
    first = ("format", "id", "content_sha256", "family", "added_at", "retired", "supersedes")
    head = {key: values.pop(key) for key in first}
    return json.dumps(head | values, ensure_ascii=False, indent=1) + "\n"


def from_text(text: str, *, name: str) -> KnownGood:
    """Read and check one document.

    Raises
    ------
    UnreadableError
        Not a known-good, of another format, or with a missing or senseless value.
    """
    known_good = _read_fast(text)
    if known_good is None:
        known_good = _read_with_words(text, name)
    for (_, field), rule in KNOWN_GOOD_RULES.items():
        value = getattr(known_good, field)
        if value is not None and broken_rule(rule, value):
            _refuse(name, f"{field} is {value!r} but must be {rule.words}; export it again")
    times = [known_good.added_at, *([known_good.retired.at] if known_good.retired else [])]
    if any(time.tzinfo is None for time in times):
        _refuse(name, "a time in it has no time zone; export it again")
    if not known_good.family.strip():
        _refuse(name, "its family is empty; export it again")
    return known_good


def _read_fast(text: str) -> KnownGood | None:
    """Read a sound document; anything that is not quite right is for the slow way to tell."""
    says_what_it_is = all(stated.search(text) for stated in _STATED)
    if not says_what_it_is or _ODD_NUMBER.search(text):
        return None
    try:
        known_good: KnownGood = codec.adapter(KnownGood).validate_json(text, strict=True)
    except ValueError:
        return None
    sound = known_good.format == FORMAT and known_good.measurement.format == _MEASUREMENT
    return known_good if sound and keeps_rules(known_good.measurement) else None


def _read_with_words(text: str, name: str) -> KnownGood:
    """Find what is wrong with a document, and where."""
    from pydantic import ValidationError  # noqa: PLC0415  slow to import

    try:
        values = json.loads(text)
    except (ValueError, RecursionError):
        _refuse(name, "it is not usable JSON; export it again")
    _check_format(values, name)
    measurement = values.get("measurement")
    if not isinstance(measurement, dict):
        _refuse(name, "its measurement is missing; export it again")
    # The measurement's own rules, which say where and what is wrong.
    document.loads(json.dumps(measurement, ensure_ascii=False), name=name)
    try:
        known_good: KnownGood = codec.adapter(KnownGood).validate_json(text, strict=True)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(key) for key in first["loc"])
        _refuse(name, f"{place} is wrong ({first['msg']}); export it again")
    try:
        codec.load(codec.dump(known_good), KnownGood)
    except ValidationError as error:  # what is no finite number is written as null
        place = ".".join(str(key) for key in error.errors(include_url=False)[0]["loc"])
        _refuse(name, f"{place} is not a finite number; export it again")
    return known_good


def is_untouched(known_good: KnownGood) -> bool:
    """Whether the document still says what it was made with."""
    digest = content_sha256(known_good)
    return known_good.content_sha256 == digest and known_good.id == digest[:16]


def write(known_goods: Sequence[KnownGood], path: Path) -> None:
    """Write one document or a bundle, by the suffix; whole or not at all.

    Raises
    ------
    UsageError
        Another suffix, several known-goods for a ``.json``, or the place can't be written.
    """
    kind = path.suffix.lower()
    if kind not in {".json", ".zip"}:
        raise UsageError(f"{path}: end the name in .json for one known-good or .zip for a bundle")
    if kind == ".json" and len(known_goods) != 1:
        raise UsageError(
            f"{path.name}: a .json holds one known-good, these are {len(known_goods)}; end the "
            "name in .zip"
        )
    try:
        with whole_file(path) as file:
            if kind == ".json":
                file.write(to_text(known_goods[0]).encode())
            else:
                _bundle(known_goods, file)
    except OSError as error:
        raise UsageError(
            f"{path} can't be written ({error.strerror}): choose another place"
        ) from error


def _bundle(known_goods: Sequence[KnownGood], file: Any) -> None:
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as bundle:
        for known_good in sorted(known_goods, key=lambda item: item.id):
            entry = zipfile.ZipInfo(f"{known_good.id}.json", _EPOCH)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            bundle.writestr(entry, to_text(known_good))


def read(path: Path) -> Iterator[tuple[str, KnownGood | str]]:
    """Read a document or a bundle: name and known-good, or why a part of it can't be read.

    Raises
    ------
    UnreadableError
        The file as a whole can't be read, or is something else.
    """
    try:
        size = size_of(path)
        if not zipfile.is_zipfile(path):
            text = bytes_of(path, most_bytes=_MOST_BYTES).decode("utf-8-sig")
            yield path.name, from_text(text, name=path.name)
            return
        yield from _read_bundle(path, size)
    except OSError as error:
        raise UnreadableError(f"{path.name}: it can't be opened ({error.strerror})") from error
    except UnicodeDecodeError:
        _refuse(path.name, "it is neither a known-good (.json) nor a bundle of them (.zip)")


def _read_bundle(path: Path, size: int) -> Iterator[tuple[str, KnownGood | str]]:
    try:
        with zipfile.ZipFile(path) as bundle:
            entries = [entry for entry in bundle.infolist() if entry.filename.endswith(".json")]
            if not entries:
                _refuse(path.name, "there is no known-good in it")
            unpacked_bytes = sum(entry.file_size for entry in entries)
            check_growth(path.name, unpacked_bytes=unpacked_bytes, packed_bytes=size)
            for entry in entries:
                if entry.file_size > _MOST_BYTES:
                    yield entry.filename, "it is too large for a known-good"
                    continue
                try:
                    text = bundle.read(entry).decode("utf-8-sig")
                    known_good = from_text(text, name=f"{path.name}, {entry.filename}")
                except CrankwiseError as error:
                    yield entry.filename, str(error)
                except UnicodeDecodeError:
                    yield entry.filename, "it is not text"
                else:
                    yield entry.filename, known_good
    except (CrankwiseError, MemoryError):
        raise
    except Exception as error:  # zipfile raises almost any type on a damaged bundle
        if isinstance(error, OSError) and error.errno is not None:
            raise
        raise UnreadableError(f"{path.name}: the bundle is damaged; get it again") from error


def _check_format(values: Any, name: str) -> None:
    found = values.get("format") if isinstance(values, dict) else None
    if found == FORMAT:
        return
    known = (
        re.fullmatch(r"crankwise\.([a-z-]+)/(\d{1,9})", found) if isinstance(found, str) else None
    )
    if known is None:
        _refuse(name, f'it is no known-good ("format" is not "{FORMAT}")')
    if f"crankwise.{known[1]}" != _KIND:
        _refuse(
            name,
            f"it holds a {known[1]}, not a known-good; put a measurement on the shelf with: "
            "crankwise reference add",
        )
    _refuse(
        name,
        f"it is written in format {known[2]}, and this Crankwise reads format {_MAJOR}; update "
        "Crankwise",
    )


def _refuse(name: str, why: str) -> NoReturn:
    raise UnreadableError(f"{name}: {why}")
