"""Dataclasses to plain data and back, with errors that name the key and the allowed ones."""

from __future__ import annotations

import types
from collections.abc import Mapping, Sequence
from dataclasses import MISSING, fields, is_dataclass
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from crankwise.errors import UsageError

T = TypeVar("T")


def to_plain(value: Any) -> Any:
    """Turn dataclasses and tuples into dictionaries and lists that JSON can hold."""
    if is_dataclass(value) and not isinstance(value, type):
        return {item.name: to_plain(getattr(value, item.name)) for item in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): to_plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [to_plain(item) for item in value]
    return value


def build(cls: type[T], table: Any, *, where: str) -> T:
    """Make a dataclass from a mapping, converting nested ones.

    Parameters
    ----------
    cls : type
        A dataclass with type hints of numbers, strings, literals, tuples, mappings and
        dataclasses.
    table : Any
        The mapping.
    where : str
        Name of the table, to begin the error message with.

    Raises
    ------
    UsageError
        Names the first key that is unknown, missing or of the wrong type.
    """
    if not isinstance(table, Mapping):
        raise UsageError(f"{where}: must be a table of keys, not {table!r}")
    known = {item.name: item for item in fields(cls)}  # type: ignore[arg-type]
    for key in table:
        if key not in known:
            raise UsageError(f"{where}.{key}: unknown key; allowed are {', '.join(sorted(known))}")
    hints = get_type_hints(cls)
    values = {}
    for name, item in known.items():
        if name in table:
            values[name] = _convert(hints[name], table[name], where=f"{where}.{name}")
        elif item.default is MISSING and item.default_factory is MISSING:
            raise UsageError(f"{where}.{name}: is missing; it has to be given")
    return cls(**values)


def _convert(hint: Any, value: Any, *, where: str) -> Any:
    origin = get_origin(hint)
    if origin in (Union, types.UnionType):
        return _convert_union(hint, value, where=where)
    if origin is Literal:
        if value not in get_args(hint):
            allowed = ", ".join(repr(choice) for choice in get_args(hint))
            raise UsageError(f"{where}: {value!r} is not one of {allowed}")
        return value
    if origin is tuple:
        return _convert_tuple(get_args(hint), value, where=where)
    if origin is not None:
        return _convert_mapping(get_args(hint), value, where=where)
    if is_dataclass(hint):
        return build(hint, value, where=where)  # type: ignore[arg-type]
    return _convert_simple(hint, value, where=where)


def _convert_simple(hint: Any, value: Any, *, where: str) -> Any:
    if hint is Any:
        return value
    if hint is float and isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    if isinstance(value, hint) and (hint is bool or not isinstance(value, bool)):
        return value
    names = {float: "a number", int: "a whole number", str: "text", bool: "true or false"}
    raise UsageError(f"{where}: must be {names.get(hint, str(hint))}, not {value!r}")


def _convert_union(hint: Any, value: Any, *, where: str) -> Any:
    members = get_args(hint)
    if value is None and type(None) in members:
        return None
    tables = [member for member in members if is_dataclass(member)]
    others = [member for member in members if member is not type(None) and not is_dataclass(member)]
    if isinstance(value, Mapping) and tables:
        return build(_by_kind(tables, value, where=where), value, where=where)
    if not others:
        raise UsageError(f"{where}: must be a table of keys, not {value!r}")
    return _convert(others[0], value, where=where)


def _by_kind(tables: list[Any], value: Mapping[str, Any], *, where: str) -> Any:
    """Choose among dataclasses by the literal type of their ``kind``."""
    if len(tables) == 1:
        return tables[0]
    kinds = {get_args(get_type_hints(table)["kind"])[0]: table for table in tables}
    kind = value.get("kind")
    if kind not in kinds:
        raise UsageError(f"{where}.kind: {kind!r} is not one of {', '.join(sorted(kinds))}")
    return kinds[kind]


def _convert_tuple(members: tuple[Any, ...], value: Any, *, where: str) -> Any:
    if not isinstance(value, Sequence) or isinstance(value, str):
        raise UsageError(f"{where}: must be a list, not {value!r}")
    if members[-1] is Ellipsis:
        kinds: Sequence[Any] = [members[0]] * len(value)
    elif len(value) != len(members):
        raise UsageError(f"{where}: must have {len(members)} entries, not {len(value)}")
    else:
        kinds = members
    return tuple(
        _convert(kind, item, where=f"{where}[{place}]")
        for place, (kind, item) in enumerate(zip(kinds, value, strict=True), start=1)
    )


def _convert_mapping(members: tuple[Any, ...], value: Any, *, where: str) -> Any:
    if not isinstance(value, Mapping):
        raise UsageError(f"{where}: must be a table of keys, not {value!r}")
    return {
        str(key): _convert(members[1], item, where=f"{where}.{key}") for key, item in value.items()
    }
