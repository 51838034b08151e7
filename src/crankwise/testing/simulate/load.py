"""A specification from a TOML file."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from crankwise.errors import UnreadableError, UsageError
from crankwise.testing.simulate.convert import build, to_plain
from crankwise.testing.simulate.presets import preset
from crankwise.testing.simulate.spec import SimulationSpec


def load_spec(path: Path | str) -> SimulationSpec:
    """Read a specification; its tables and keys are those of :class:`SimulationSpec`.

    A key ``preset`` at the top takes a ready specification as the base: the tables given
    replace its keys one by one, the lists given (``cams``, ``faults``, ``extras``) as a whole.
    Without ``name`` the file's own name serves.

    Raises
    ------
    UnreadableError
        The file isn't there or isn't TOML; names the row.
    UsageError
        A key is unknown, missing or of the wrong type, or the values contradict each other;
        names the file and the key.
    """
    path = Path(path)
    try:
        table = tomllib.loads(path.read_text("utf-8-sig"))
    except (OSError, UnicodeDecodeError) as error:
        raise UnreadableError(
            f"{path}: the specification can't be read ({_reason(error)}); check the path"
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise UnreadableError(f"{path}: not valid TOML: {error}; mend that line") from error
    try:
        return _specification(table, stem=path.stem)
    except UsageError as error:
        raise UsageError(f"{path.name}: {error}") from error


def _reason(error: OSError | UnicodeDecodeError) -> str:
    if isinstance(error, OSError):
        return error.strerror or type(error).__name__
    return "it isn't UTF-8 text"


def _specification(table: dict[str, Any], *, stem: str) -> SimulationSpec:
    table.setdefault("name", stem)
    base = table.pop("preset", None)
    if base is not None:
        table = _laid_over(to_plain(preset(base)), table)
    return build(SimulationSpec, table, where="specification")


def _laid_over(base: Mapping[str, Any], table: Mapping[str, Any]) -> dict[str, Any]:
    """Replace the keys of ``base`` by those of ``table``, tables within tables alike."""
    merged = dict(base)
    for key, value in table.items():
        below = base.get(key)
        both = isinstance(below, Mapping) and isinstance(value, Mapping)
        merged[key] = _laid_over(below, value) if both else value  # type: ignore[arg-type]
    if "interval_s" in table and "rate_hz" not in table and "rate_hz" in base:
        merged["rate_hz"] = None
    if "rate_hz" in table and "interval_s" not in table and "interval_s" in base:
        merged["interval_s"] = None
    return merged
