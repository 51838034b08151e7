"""The catalogue of crank wheels: a TOML file that a technician can extend."""

from __future__ import annotations

import re
import tomllib
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

from crankwise.errors import UnreadableError
from crankwise.model.wheel import Wheel

_STEP = re.compile(r"(?:(?P<count>\d+)x)?(?P<deg>\d+(?:\.\d+)?)")
_KEYS = {"name", "pattern", "pitch_deg", "has_gap", "width_deg", "found_in", "source"}
_CLOSURE_TOLERANCE_DEG = 1e-6


def load(extra: Path | None = None) -> dict[str, Wheel]:
    """Wheels by name: the built-in catalogue, then those of ``extra``, which win.

    Raises
    ------
    UnreadableError
        ``extra`` can't be read, or an entry is wrong; names file, entry and key.
    """
    text = resources.files("crankwise.wheel").joinpath("catalogue.toml").read_text("utf-8")
    wheels = _parse(text, where="the built-in wheel catalogue")
    if extra is not None:
        try:
            text = extra.read_text("utf-8")
        except (OSError, UnicodeDecodeError) as error:
            message = f"{extra}: the wheel file can't be read ({error}); check the path"
            raise UnreadableError(message) from error
        wheels |= _parse(text, where=str(extra))
    return wheels


def parse_pattern(pattern: str) -> tuple[float, ...]:
    """Spacing written as ``57x6 18`` to one number for each step, degrees.

    >>> parse_pattern("2x90 180")
    (90.0, 90.0, 180.0)
    """
    steps: list[float] = []
    for word in pattern.split():
        match = _STEP.fullmatch(word)
        if match is None:
            raise ValueError(f"'{word}' is not a step; write 6 or 57x6")
        steps += [float(match["deg"])] * int(match["count"] or 1)
    return tuple(steps)


def _parse(text: str, *, where: str) -> dict[str, Wheel]:
    try:
        entries = tomllib.loads(text).get("wheel", [])
    except tomllib.TOMLDecodeError as error:
        raise UnreadableError(f"{where}: not valid TOML ({error}); mend that line") from error
    if not isinstance(entries, list):
        raise UnreadableError(f"{where}: wheels are written as [[wheel]] tables")
    wheels = [_wheel(entry, number, where) for number, entry in enumerate(entries, start=1)]
    return {wheel.name: wheel for wheel in wheels}


def _wheel(entry: dict[str, Any], number: int, where: str) -> Wheel:
    label = f"{where}: wheel {number} ({entry.get('name', 'no name')})"
    unknown = sorted(set(entry) - _KEYS)
    if unknown:
        allowed = ", ".join(sorted(_KEYS))
        raise UnreadableError(f"{label}: unknown key '{unknown[0]}'; allowed are {allowed}")
    for key, kind in (("name", str), ("pattern", str), ("pitch_deg", (int, float))):
        if not isinstance(entry.get(key), kind):
            raise UnreadableError(f"{label}: '{key}' is missing or of the wrong type")
    try:
        steps = parse_pattern(entry["pattern"])
        widths = tuple(float(width) for width in entry.get("width_deg", ()))
    except (ValueError, TypeError) as error:
        raise UnreadableError(f"{label}: {error}") from error
    if len(steps) < 2 or abs(sum(steps) - 360.0) > _CLOSURE_TOLERANCE_DEG or min(steps) <= 0:
        raise UnreadableError(
            f"{label}: the steps of 'pattern' add up to {sum(steps):g}; they must close at 360"
        )
    if widths and (len(widths) != len(steps) or np.any(np.asarray(widths) <= 0)):
        raise UnreadableError(f"{label}: 'width_deg' needs one positive width for each step")
    return Wheel(
        name=entry["name"],
        intervals_deg=steps,
        pitch_deg=float(entry["pitch_deg"]),
        has_gap=bool(entry.get("has_gap", True)),
        width_deg=widths,
        found_in=str(entry.get("found_in", "")),
        source=str(entry.get("source", "from memory")),
    )
