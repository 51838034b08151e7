"""Dataclasses as plain JSON values, and those as text for people and programs."""

from __future__ import annotations

import json
import math
import numbers
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any


def plain(value: Any, place: str = "") -> Any:
    """Turn dataclasses, mappings and tuples into what JSON knows; ``place`` is for errors.

    Raises
    ------
    ValueError
        A number is NaN or infinite, which JSON can't carry; names the field.
    """
    if is_dataclass(value):
        return {
            field.name: plain(getattr(value, field.name), f"{place}.{field.name}".lstrip("."))
            for field in fields(value)
        }
    if isinstance(value, Mapping):
        return {str(key): plain(item, f"{place}.{key}") for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [plain(item, f"{place}[{index}]") for index, item in enumerate(value)]
    if value is None or isinstance(value, (str, bool)):
        return value
    if isinstance(value, numbers.Integral):
        return int(value)
    number = float(value)
    if not math.isfinite(number):
        raise ValueError(f"{place} is {number}, which a document can't carry")
    return number


def pretty(value: Any, indent: int = 0) -> str:
    """JSON with two-space indents; a container of scalars only stays on one line."""
    items = value.values() if isinstance(value, dict) else value
    if not isinstance(value, (dict, list)) or not any(isinstance(i, (dict, list)) for i in items):
        return json.dumps(value, ensure_ascii=False, allow_nan=False)
    pad = "  " * (indent + 1)
    if isinstance(value, dict):
        lines = [
            f"{pad}{json.dumps(key, ensure_ascii=False)}: {pretty(item, indent + 1)}"
            for key, item in value.items()
        ]
    else:
        lines = [pad + pretty(item, indent + 1) for item in value]
    opening, closing = "{}" if isinstance(value, dict) else "[]"
    return "\n".join([opening, ",\n".join(lines), "  " * indent + closing])
