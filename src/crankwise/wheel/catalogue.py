"""The catalogue of crank wheels: a TOML file that a technician can extend."""

from __future__ import annotations

import os
import re
import tomllib
from importlib import resources
from pathlib import Path
from typing import Any

import platformdirs

from crankwise.errors import UnreadableError
from crankwise.given import text_of
from crankwise.model.wheel import Wheel

_STEP = re.compile(r"(?:(?P<count>\d+)x)?(?P<deg>\d+(?:\.\d+)?)")
_KEYS = {
    "name": "text",
    "pattern": "text",
    "pitch_deg": "a number",
    "has_gap": "true or false",
    "width_deg": "a list of numbers",
    "found_in": "text",
    "source": "text",
}
_CLOSURE_TOLERANCE_DEG = 1e-6
_MOST_STEPS = 720


def own_file() -> Path | None:
    """The technician's own wheels, or None.

    The file that the environment variable ``CRANKWISE_WHEELS`` names, else ``wheels.toml`` in the
    user's configuration folder if it is there.
    """
    named = os.environ.get("CRANKWISE_WHEELS")
    if named:
        return Path(named)
    usual = platformdirs.user_config_path("crankwise") / "wheels.toml"
    try:
        return usual if usual.is_file() else None
    except OSError:  # a home folder that this user can't look into
        return None


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
            text = text_of(extra)
        except (OSError, UnicodeDecodeError) as error:
            message = f"{extra}: the wheel file can't be read ({error}); check the path"
            raise UnreadableError(message) from error
        wheels |= _parse(text, where=str(extra))
    return wheels


def parse_pattern(pattern: str) -> tuple[float, ...]:
    """Spacing written as ``57x6 18`` to one number for each step, degrees.

    Raises
    ------
    ValueError
        A word is no step; :func:`load` tells the user where.

    >>> parse_pattern("2x90 180")
    (90.0, 90.0, 180.0)
    """
    steps: list[float] = []
    for word in pattern.split():
        match = _STEP.fullmatch(word)
        if match is None:
            raise ValueError(f"'{word}' is not a step; write 6 or 57x6")
        count = int(match["count"] or 1) if len(match["count"] or "") < 9 else _MOST_STEPS + 1
        if len(steps) + count > _MOST_STEPS:
            raise ValueError(f"more than {_MOST_STEPS} steps, which no wheel has")
        steps += [float(match["deg"])] * count
    return tuple(steps)


def _parse(text: str, *, where: str) -> dict[str, Wheel]:
    try:
        document = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise UnreadableError(f"{where}: not valid TOML ({error}); mend that line") from error
    unknown = sorted(set(document) - {"wheel"})
    if unknown:
        raise UnreadableError(f"{where}: unknown table '{unknown[0]}'; write wheels as [[wheel]]")
    entries = document.get("wheel", [])
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise UnreadableError(f"{where}: wheels are written as [[wheel]] tables")
    wheels: dict[str, Wheel] = {}
    for number, entry in enumerate(entries, start=1):
        wheel = _wheel(entry, f"{where}: wheel {number} ({entry.get('name', 'no name')})")
        if wheel.name in wheels:
            raise UnreadableError(f"{where}: two wheels are called '{wheel.name}'; rename one")
        wheels[wheel.name] = wheel
    return wheels


def _wheel(entry: dict[str, Any], label: str) -> Wheel:
    _check_keys(entry, label)
    try:
        steps = parse_pattern(entry["pattern"])
    except ValueError as error:
        raise UnreadableError(f"{label}: 'pattern': {error}") from error
    if len(steps) < 2 or abs(sum(steps) - 360.0) > _CLOSURE_TOLERANCE_DEG or min(steps) <= 0:
        raise UnreadableError(
            f"{label}: the steps of 'pattern' add up to {sum(steps):g}; they must close at 360"
        )
    widths = entry.get("width_deg", [])
    if widths and (len(widths) != len(steps) or not 0 < min(widths) <= max(widths) < 360):
        raise UnreadableError(f"{label}: 'width_deg' needs one positive width for each step")
    if not 0 < entry["pitch_deg"] <= 360:
        raise UnreadableError(f"{label}: 'pitch_deg' must lie above 0 and at most at 360")
    return Wheel(
        name=entry["name"],
        intervals_deg=steps,
        pitch_deg=float(entry["pitch_deg"]),
        has_gap=entry.get("has_gap", True),
        width_deg=tuple(float(width) for width in widths),
        found_in=entry.get("found_in", ""),
        source=entry.get("source", "from memory"),
    )


def _check_keys(entry: dict[str, Any], label: str) -> None:
    unknown = sorted(set(entry) - set(_KEYS))
    if unknown:
        raise UnreadableError(f"{label}: unknown key '{unknown[0]}'; allowed: {', '.join(_KEYS)}")
    for key in ("name", "pattern", "pitch_deg"):
        if key not in entry:
            raise UnreadableError(f"{label}: '{key}' is missing; add it")
    for key, value in entry.items():
        if not _is_a(value, _KEYS[key]):
            raise UnreadableError(f"{label}: '{key}' must be {_KEYS[key]}, not {value!r}")


def _is_a(value: object, kind: str) -> bool:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if kind == "a number":
        return is_number
    if kind == "a list of numbers":
        return isinstance(value, list) and all(_is_a(item, "a number") for item in value)
    return isinstance(value, bool if kind == "true or false" else str)
