"""The measurement as a JSON document: written whole or not at all, checked when read.

The document mirrors the dataclasses of :mod:`crankwise.model.measurement` field by field, so the
format can't drift from the code. Its JSON Schema is in ``crankwise/schemas``.
"""

from __future__ import annotations

import hashlib
import json
import math
import numbers
import os
import re
import secrets
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from crankwise.errors import UnreadableError, UsageError
from crankwise.model.measurement import FORMAT, Measurement
from crankwise.schemas import RULES, Rule, broken_rule

if TYPE_CHECKING:
    from pydantic import TypeAdapter

_KIND, _MAJOR = FORMAT.split("/")
_MOST_ERRORS_NAMED = 3


def measurement_to_json(measurement: Measurement) -> dict[str, Any]:
    """Return the measurement as plain JSON values, the format's fixed fields first.

    Raises
    ------
    ValueError
        A number is NaN or infinite, which JSON can't carry; names the field.
    """
    plain: dict[str, Any] = _plain(measurement, "")
    head = {key: plain.pop(key) for key in ("format", "recording", "crank", "cams", "findings")}
    return head | plain


def dumps(measurement: Measurement) -> str:
    """Return the document as text: one line for each entry, lists of numbers on one line."""
    return _pretty(measurement_to_json(measurement)) + "\n"


def save(measurement: Measurement, path: str | os.PathLike[str]) -> None:
    """Write the document; an interrupted write leaves what was there before.

    Raises
    ------
    UsageError
        The place can't be written, or holds the very recording that was measured.
    """
    data = dumps(measurement).encode()
    write_whole(path, data, recording_sha256=measurement.recording.sha256)


def load(path: str | os.PathLike[str]) -> Measurement:
    """Read a saved measurement; fields this version does not know are passed over.

    Raises
    ------
    UnreadableError
        Not a measurement, of a format this version does not read, or with a missing or senseless
        value; names the file, the place in it and what to do.
    """
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        _refuse(path, f"it can't be opened ({error.strerror})")
    except UnicodeDecodeError:
        _refuse(path, "it is not text, so not a saved measurement; measure it as a recording")
    return loads(text, name=str(path))


def loads(text: str, *, name: str) -> Measurement:
    """Read a measurement from JSON text; ``name`` is what errors call it.

    Raises
    ------
    UnreadableError
        As for :func:`load`.
    """
    from pydantic import ValidationError  # noqa: PLC0415  slow to import, rarely needed

    value = _parse(text, name)
    _check_format(value, name)
    for place, number in _numbers(value, ""):
        if not math.isfinite(number):
            _refuse(name, f"{place} is not a finite number; correct it there")
    try:
        measurement = _adapter().validate_json(text, strict=True)
    except ValidationError as error:
        _refuse(name, _describe(error))
    for place, rule, found in _broken_rules(measurement, ""):
        _refuse(name, f"{place} is {found!r} but must be {rule.words}; correct it there")
    return measurement


def write_whole(path: str | os.PathLike[str], data: bytes, *, recording_sha256: str) -> None:
    """Write a result file in one step, never over the recording it came from.

    Parameters
    ----------
    path : path
        Where to; an existing result is replaced.
    data : bytes
        The whole content.
    recording_sha256 : str
        Digest of the recording, which is told by its content, whatever its name.

    Raises
    ------
    UsageError
        The place can't be written, or holds the recording.
    """
    target = Path(path)
    try:
        if target.is_file() and _sha256(target) == recording_sha256:
            raise UsageError(f"{path} is the recording itself: choose another name for the result")
        if target.exists() and not target.is_file() and not target.is_dir():
            target.write_bytes(data)  # a pipe or a terminal: nothing to replace
        else:
            _replace(target.resolve(), data)
    except OSError as error:
        raise UsageError(
            f"{path} can't be written ({error.strerror}): choose another place with -o"
        ) from error


def _replace(target: Path, data: bytes) -> None:
    """Write beside the target, then swap: both names are in one folder, so it is atomic."""
    beside = target.with_name(f".{target.name}.{secrets.token_hex(4)}")
    try:
        with beside.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(target)
    finally:
        beside.unlink(missing_ok=True)


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _plain(value: Any, place: str) -> Any:
    if is_dataclass(value):
        return {
            field.name: _plain(getattr(value, field.name), f"{place}.{field.name}".lstrip("."))
            for field in fields(value)
        }
    if isinstance(value, Mapping):
        return {str(key): _plain(item, f"{place}.{key}") for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [_plain(item, f"{place}[{index}]") for index, item in enumerate(value)]
    if value is None or isinstance(value, (str, bool)):
        return value
    if isinstance(value, numbers.Integral):
        return int(value)
    number = float(value)
    if not math.isfinite(number):
        raise ValueError(f"{place} is {number}, which a measurement document can't carry")
    return number


def _pretty(value: Any, indent: int = 0) -> str:
    """JSON with two-space indents; a container of scalars only stays on one line."""
    items = value.values() if isinstance(value, dict) else value
    if not isinstance(value, (dict, list)) or not any(isinstance(i, (dict, list)) for i in items):
        return json.dumps(value, ensure_ascii=False, allow_nan=False)
    pad = "  " * (indent + 1)
    if isinstance(value, dict):
        lines = [
            f"{pad}{json.dumps(key, ensure_ascii=False)}: {_pretty(item, indent + 1)}"
            for key, item in value.items()
        ]
    else:
        lines = [pad + _pretty(item, indent + 1) for item in value]
    opening, closing = "{}" if isinstance(value, dict) else "[]"
    return "\n".join([opening, ",\n".join(lines), "  " * indent + closing])


def _parse(text: str, name: str) -> dict[str, Any]:
    try:
        value = json.loads(text)
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        _refuse(name, f"it is not JSON ({where}: {error.msg}); save the measurement again")
    except (ValueError, RecursionError):
        _refuse(name, "it is not usable JSON; save the measurement again")
    if not isinstance(value, dict):
        _refuse(name, "it is JSON, but not a measurement; make one with: crankwise measure -o")
    return value


def _check_format(value: Mapping[str, Any], name: str) -> None:
    found = value.get("format")
    if found == FORMAT:
        return
    match = (
        re.fullmatch(r"(crankwise\.[a-z-]+)/(\d{1,9})", found) if isinstance(found, str) else None
    )
    if match is None:
        _refuse(
            name,
            f'it is no saved measurement ("format" is not "{FORMAT}"); '
            "make one with: crankwise measure -o",
        )
    if match[1] != _KIND:
        _refuse(name, f"it holds {match[1]}, not {_KIND}; give the measurement instead")
    _refuse(
        name,
        f"it is written in format {match[2]}, and this Crankwise reads format {_MAJOR}; "
        "update Crankwise, or measure the recording again",
    )


def _numbers(value: Any, place: str) -> Iterator[tuple[str, float]]:
    if isinstance(value, float):
        yield place, value
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from _numbers(item, f"{place}.{key}".lstrip("."))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from _numbers(item, f"{place}[{index}]")


def _broken_rules(value: Any, place: str) -> Iterator[tuple[str, Rule, object]]:
    if isinstance(value, tuple):
        for index, item in enumerate(value):
            yield from _broken_rules(item, f"{place}[{index}]")
    elif is_dataclass(value):
        for field in fields(value):
            item, inner = getattr(value, field.name), f"{place}.{field.name}".lstrip(".")
            rule = RULES.get((type(value).__name__, field.name))
            if rule is not None and item is not None and broken_rule(rule, item):
                yield inner, rule, item
            yield from _broken_rules(item, inner)


@cache
def _adapter() -> TypeAdapter[Measurement]:
    from pydantic import TypeAdapter  # noqa: PLC0415  slow to import, rarely needed

    return TypeAdapter(Measurement)


def _describe(error: Any) -> str:
    """Say the first few of pydantic's findings as ``place: what is wrong``."""
    errors = error.errors(include_url=False)
    said = []
    for item in errors[:_MOST_ERRORS_NAMED]:
        place = "".join(f"[{k}]" if isinstance(k, int) else f".{k}" for k in item["loc"])
        wrong = "is missing" if item["type"] == "missing" else f"is wrong ({item['msg']})"
        said.append(f"{place.lstrip('.') or 'the document'} {wrong}")
    more = len(errors) - len(said)
    return "; ".join(said) + (f"; and {more} more" if more else "") + "; save the measurement again"


def _refuse(name: str | Path, why: str) -> NoReturn:
    raise UnreadableError(f"{name}: {why}")
