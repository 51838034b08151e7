"""The kinds of document there are, and the checks each passes when it is read."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Generic, NoReturn, TypeVar

from crankwise.errors import UnreadableError
from crankwise.model import comparison, measurement
from crankwise.model.comparison import Comparison
from crankwise.model.measurement import Measurement
from crankwise.schemas import RULES, Rule, broken_rule

if TYPE_CHECKING:
    from pydantic import TypeAdapter

_Model = TypeVar("_Model", Measurement, Comparison)
_MOST_ERRORS_NAMED = 3


@dataclass(frozen=True, slots=True)
class Kind(Generic[_Model]):
    """One kind of document.

    Attributes
    ----------
    model : type
        The dataclass that it mirrors.
    format : str
        Its ``format`` field: kind and number.
    noun : str
        What errors call it.
    command : str
        What makes one.
    first : tuple of str
        Fields that other programs rely on; they come first.
    """

    model: type[_Model]
    format: str
    noun: str
    command: str
    first: tuple[str, ...]


MEASUREMENT: Final = Kind(
    Measurement,
    measurement.FORMAT,
    "measurement",
    "crankwise measure -o",
    ("format", "recording", "crank", "cams", "findings"),
)
COMPARISON: Final = Kind(
    Comparison,
    comparison.FORMAT,
    "comparison",
    "crankwise compare -o",
    ("format", "cams", "separations", "limits", "causes", "verdict", "findings"),
)


def parsed(text: str, name: str, kind: Kind[_Model]) -> _Model:
    """Read a document of this kind from its text; ``name`` is what errors call it.

    Raises
    ------
    UnreadableError
        Not such a document, of a format this version does not read, or with a missing or
        senseless value; names the place in it and what to do.
    """
    from pydantic import ValidationError  # noqa: PLC0415  slow to import, rarely needed

    value = _json(text, name, kind)
    _check_format(value, name, kind)
    for place, number in _numbers(value, ""):
        if not _is_finite(number):
            refuse(name, f"{place} is not a finite number; correct it there")
    try:
        document: _Model = _adapter(kind.noun).validate_json(text, strict=True)
    except ValidationError as error:
        refuse(name, f"{_described(error)}; save the {kind.noun} again")
    for place, rule, found in broken_rules(document):
        refuse(name, f"{place} is {found!r} but must be {rule.words}; correct it there")
    return document


def refuse(name: str | Path, why: str) -> NoReturn:
    """Say in one line why a file is no document."""
    raise UnreadableError(f"{name}: {why}")


def broken_rules(value: Any, place: str = "") -> Iterator[tuple[str, Rule, object]]:
    """Every value that breaks its rule, with its place in the document."""
    if isinstance(value, tuple):
        for index, item in enumerate(value):
            yield from broken_rules(item, f"{place}[{index}]")
    elif is_dataclass(value):
        for field in fields(value):
            item, inner = getattr(value, field.name), f"{place}.{field.name}".lstrip(".")
            rule = RULES.get((type(value).__name__, field.name))
            if rule is not None and item is not None and broken_rule(rule, item):
                yield inner, rule, item
            yield from broken_rules(item, inner)


@cache
def _adapter(noun: str) -> TypeAdapter[Any]:
    from pydantic import TypeAdapter  # noqa: PLC0415  slow to import, rarely needed

    return TypeAdapter({kind.noun: kind.model for kind in (MEASUREMENT, COMPARISON)}[noun])


def _json(text: str, name: str, kind: Kind[_Model]) -> dict[str, Any]:
    again = f"save the {kind.noun} again"
    try:
        value = json.loads(text)
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        refuse(name, f"it is not JSON ({where}: {error.msg}); {again}")
    except (ValueError, RecursionError):
        refuse(name, f"it is not usable JSON; {again}")
    if not isinstance(value, dict):
        refuse(name, f"it is JSON, but not a {kind.noun}; make one with: {kind.command}")
    return value


def _check_format(value: Mapping[str, Any], name: str, kind: Kind[_Model]) -> None:
    found = value.get("format")
    if found == kind.format:
        return
    match = (
        re.fullmatch(r"(crankwise\.[a-z-]+)/(\d{1,9})", found) if isinstance(found, str) else None
    )
    if match is None:
        refuse(
            name,
            f'it is no saved {kind.noun} ("format" is not "{kind.format}"); '
            f"make one with: {kind.command}",
        )
    own, number = kind.format.split("/")
    if match[1] != own:
        refuse(name, f"it holds {match[1]}, not {own}; give the {kind.noun} instead")
    refuse(
        name,
        f"it is written in format {match[2]}, and this Crankwise reads format {number}; "
        f"update Crankwise, or make it again with: {kind.command}",
    )


def _is_finite(number: float) -> bool:
    """Whether a number is one of double precision; whole numbers may be too long for that."""
    try:
        return math.isfinite(number)
    except OverflowError:
        return False


def _numbers(value: Any, place: str) -> Iterator[tuple[str, float]]:
    if isinstance(value, float | int):
        yield place, value
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from _numbers(item, f"{place}.{key}".lstrip("."))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from _numbers(item, f"{place}[{index}]")


def _described(error: Any) -> str:
    """Say the first few of pydantic's findings as ``place: what is wrong``."""
    errors = error.errors(include_url=False)
    said = []
    for item in errors[:_MOST_ERRORS_NAMED]:
        place = "".join(f"[{k}]" if isinstance(k, int) else f".{k}" for k in item["loc"])
        wrong = "is missing" if item["type"] == "missing" else f"is wrong ({item['msg']})"
        said.append(f"{place.lstrip('.') or 'the document'} {wrong}")
    more = len(errors) - len(said)
    return "; ".join(said) + (f"; and {more} more" if more else "")
