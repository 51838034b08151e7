"""Read the policy (TOML): the shipped one, or a workshop's own on top of it."""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import TYPE_CHECKING

from crankwise.drive.engine_writer import toml_value
from crankwise.drive.tables import Table
from crankwise.errors import UnreadableError
from crankwise.given import text_of
from crankwise.model.policy import (
    CAUSES,
    FORMAT,
    CausePolicy,
    LimitPolicy,
    Policy,
    RefusalPolicy,
    SpreadPolicy,
)

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

Entry = tuple[float, str]

_MOST = {
    "limits.code_limit_deg": 90.0,
    "limits.worn_share": 1.0,
    "limits.coverage": 0.999999,
    "spread.cam_deg": 30.0,
    "spread.separation_deg": 30.0,
    "spread.build_dof": 1e6,
    "spread.visit_deg": 30.0,
    "spread.visit_dof": 1e6,
    "spread.edge_deg": 30.0,
    "spread.delay_s": 1e-2,
    "spread.ripple_idle_deg": 90.0,
    "spread.ripple_starter_deg": 90.0,
    **{f"causes.priors.{cause}": 1e6 for cause in CAUSES},
    "causes.pair_factor": 1e3,
    "causes.scatter_spread": 5.0,
    "causes.scatter_spread_unknown": 5.0,
    "causes.moving_if_loose": 0.999999,
    "causes.moving_otherwise": 0.999999,
    "causes.wear_deg": 30.0,
    "causes.wrong_common_deg": 90.0,
    "causes.wrong_each_deg": 90.0,
    "causes.none_deg": 90.0,
    "causes.settled_from": 1.0,
    "refusal.edge_residual_deg": 90.0,
    "refusal.largest_shift_deg": 180.0,
}
"""Every key and the most that its value may be."""

_LEAST = 1e-9
"""All values are above this, which is as good as 0: smaller ones vanish in a product."""

_GROUPS = tuple(dict.fromkeys(key.rpartition(".")[0] for key in _MOST))


def load_policy(path: Path | None) -> Policy:
    """Read a policy.

    Parameters
    ----------
    path : Path or None
        A file whose values replace the shipped ones of the same key; ``None`` for these alone.

    Raises
    ------
    UnreadableError
        It can't be read, or holds an unknown key or an impossible value; names file, table, key
        and what is allowed.

    Examples
    --------
    >>> load_policy(None).limits.code_limit_deg
    12.0
    """
    if path is None:
        return _policy(_shipped())
    try:
        text = text_of(path)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it isn't UTF-8 text"
        raise UnreadableError(
            f"{path}: the policy can't be read ({reason}); check the path, or leave it out to "
            "use the shipped policy"
        ) from error
    return parse_policy(text, where=path.name)


def parse_policy(text: str, *, where: str) -> Policy:
    """Read the text of a policy on top of the shipped one.

    Parameters
    ----------
    text : str
    where : str
        What to call it in messages.

    Raises
    ------
    UnreadableError
        As :func:`load_policy`.
    """
    entries = {**_shipped(), **_entries(text, where)}
    loose, otherwise = (entries[f"causes.moving_{w}"][0] for w in ("if_loose", "otherwise"))
    if loose <= otherwise:
        raise UnreadableError(
            f"{where}: causes.moving_if_loose is {loose:g} and causes.moving_otherwise "
            f"{otherwise:g}; a loose phaser must be seen to move more often than a locked one"
        )
    cam, separation = (entries[f"spread.{w}_deg"][0] for w in ("cam", "separation"))
    if separation > 2 * cam:
        raise UnreadableError(
            f"{where}: spread.separation_deg is {separation:g} and spread.cam_deg {cam:g}; the "
            "separation of two cams can't spread by more than twice what each does"
        )
    return _policy(entries)


def shipped_entries() -> Mapping[str, Entry]:
    """Return every value of the shipped policy with its source, by full key."""
    return _shipped()


def own_entries(text: str, *, where: str) -> Mapping[str, Entry]:
    """Return the values that the text of a policy holds itself, with their sources, by full key.

    Raises
    ------
    UnreadableError
        As :func:`load_policy`.
    """
    parse_policy(text, where=where)
    return _entries(text, where)


def policy_toml(entries: Mapping[str, Entry]) -> str:
    """Write values with their sources as the text of a policy."""
    lines = [f'format = "{FORMAT}"']
    for key, (value, source) in entries.items():
        lines += ["", f"[{key}]", f"value = {value!r}", f"source = {toml_value(source)}"]
    return "\n".join(lines) + "\n"


@cache
def _shipped() -> Mapping[str, Entry]:
    text = resources.files("crankwise.judge").joinpath("policy.toml").read_text("utf-8")
    entries = _entries(text, "policy.toml")
    for key in _MOST:
        if key not in entries:
            raise UnreadableError(f"policy.toml: '{key}' is missing; reinstall the package")
    return entries


def _entries(text: str, where: str) -> dict[str, Entry]:
    """Values with their sources by full key, of those keys that the text holds."""
    top = Table.of_text(text, where=where)
    stated = top.text("format")
    if stated not in {"", FORMAT}:
        raise top.refuse(f"'format' is '{stated}'; this version reads {FORMAT}")
    found: dict[str, Entry] = {}
    _walk(top, "", found)
    return found


def _walk(table: Table, group: str, found: dict[str, Entry]) -> None:
    """Take a group's values, then the groups inside it; refuse the rest."""
    for key, most in _MOST.items():
        inside, _, name = key.rpartition(".")
        entry = table.table(name) if inside == group else None
        if entry is not None:
            found[key] = _entry(entry, most)
    for other in _GROUPS:
        parent, _, name = other.rpartition(".")
        below = table.table(name) if parent == group else None
        if below is not None:
            _walk(below, other, found)
    table.finish()


def _entry(table: Table, most: float) -> Entry:
    value, source = table.number("value", above=0.0, most=most), table.text("source")
    table.finish()
    if value is None:
        raise table.refuse(f"'value' is missing; give a number above 0 and at most {most:g}")
    if value < _LEAST:
        raise table.refuse(f"'value' is {value:g}, which is as good as 0; leave the table out")
    if not source:
        raise table.refuse("'source' is missing; say in words where the value comes from")
    return value, source


def _policy(entries: Mapping[str, Entry]) -> Policy:
    def group(name: str) -> dict[str, float]:
        prefix = f"{name}."
        inside = {k.removeprefix(prefix): v for k, v in entries.items() if k.startswith(prefix)}
        return {key: value for key, (value, _) in inside.items() if "." not in key}

    return Policy(
        limits=LimitPolicy(
            **group("limits"), code_limit_source=entries["limits.code_limit_deg"][1]
        ),
        spread=SpreadPolicy(**group("spread")),
        causes=CausePolicy(**group("causes"), priors=group("causes.priors")),
        refusal=RefusalPolicy(**group("refusal")),
        sources={key: source for key, (_, source) in entries.items()},
    )
