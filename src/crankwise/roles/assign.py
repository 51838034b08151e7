"""Find the roles: by what the user said, else by names, always checked against the signals."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from crankwise.errors import NotMeasurableError, UsageError
from crankwise.model.edges import Edges
from crankwise.model.finding import Finding
from crankwise.model.teeth import Teeth
from crankwise.model.wheel import Wheel
from crankwise.roles.names import NameHint, hint
from crankwise.wheel.decode import decode

_MIN_EDGES = 8
_MANY_MORE = 2.5
_TRIED = 4


@dataclass(frozen=True, slots=True, eq=False)
class Roles:
    """The crank found, and who may be a cam.

    Attributes
    ----------
    crank : str
        Channel.
    teeth : Teeth
        The crank's decoded teeth.
    fixed : Mapping of str to str
        Cam roles the user gave, role to channel.
    hints : Mapping of str to NameHint
        What the other channels' names suggest.
    why : Mapping of str to str
        For each channel already decided, its role and the reason in words.
    findings : tuple of Finding
    """

    crank: str
    teeth: Teeth
    fixed: Mapping[str, str]
    hints: Mapping[str, NameHint]
    why: Mapping[str, str]
    findings: tuple[Finding, ...] = field(default_factory=tuple)


def assign(
    edges: Mapping[str, Edges],
    wheels: Iterable[Wheel],
    *,
    crank: str | None = None,
    cams: Mapping[str, str] | None = None,
) -> Roles:
    """Choose the crank channel and decode it.

    Parameters
    ----------
    edges : mapping of channel name to Edges
        In file order.
    wheels : iterable of Wheel
    crank : str, optional
        Channel the user named.
    cams : mapping of role to channel, optional
        Cams the user named.

    Raises
    ------
    UsageError
        A named channel does not exist, or has two roles.
    NotMeasurableError
        No channel can be decoded as a crank.
    """
    fixed = dict(cams or {})
    _check_names(edges, crank, fixed)
    hints = {name: hint(name) for name in edges}
    wheels = list(wheels)
    if crank is not None:
        _refuse_too_fast(edges, [crank])
        teeth = decode(edges[crank], wheels, _others(edges, crank, hints, fixed))
        why = {crank: "crank: named by you"}
        return Roles(crank, teeth, fixed, hints, why, ())
    return _from_signals(edges, wheels, hints, fixed)


def _check_names(edges: Mapping[str, Edges], crank: str | None, fixed: Mapping[str, str]) -> None:
    taken: dict[str, str] = {}
    named = ([("crank", crank)] if crank is not None else []) + list(fixed.items())
    for role, channel in named:
        if channel not in edges:
            known = ", ".join(f"'{name}'" for name in edges)
            raise UsageError(f"there is no channel '{channel}' for {role}; channels are {known}")
        if channel in taken:
            raise UsageError(f"channel '{channel}' is named both {taken[channel]} and {role}")
        taken[channel] = role


def _refuse_too_fast(edges: Mapping[str, Edges], names: list[str]) -> None:
    """Without the crank's teeth a cam would pass for a crank: better no answer than that one."""
    for name in names:
        changes = edges[name].rejected.get("too-fast", 0)
        if changes:
            raise NotMeasurableError(
                f"channel '{name}' changes every sample or two ({changes} times): the scope was "
                "too slow for its teeth; sample at least ten times faster, or leave the channel "
                "out if it carries only noise"
            )


def _others(
    edges: Mapping[str, Edges],
    crank: str,
    hints: Mapping[str, NameHint],
    fixed: Mapping[str, str],
) -> list[Edges]:
    """Channels that may be cams: those named so if any are, else all but the known others."""
    if fixed:
        return [edges[channel] for channel in fixed.values()]
    rest = [name for name in edges if name != crank and len(edges[name].times_s)]
    named = [name for name in rest if hints[name].kind == "cam"]
    return [edges[name] for name in named or rest if hints[name].kind != "other"]


def _from_signals(
    edges: Mapping[str, Edges],
    wheels: list[Wheel],
    hints: Mapping[str, NameHint],
    fixed: Mapping[str, str],
) -> Roles:
    _refuse_too_fast(edges, [name for name in edges if hints[name].kind in {"crank", ""}])
    candidates = [
        name
        for name in edges
        if len(edges[name].times_s) >= _MIN_EDGES
        and name not in fixed.values()
        and hints[name].kind != "other"
    ]
    by_count = sorted(candidates, key=lambda name: -len(edges[name].times_s))
    named = [name for name in by_count if hints[name].kind == "crank"]
    order = named + [name for name in by_count if name not in named]
    problems: list[str] = []
    for name in order[:_TRIED]:
        try:
            teeth = decode(edges[name], wheels, _others(edges, name, hints, fixed))
        except NotMeasurableError as error:
            problems.append(str(error))
            continue
        rival = _rival(name, teeth, order, edges, wheels, hints=hints, fixed=fixed)
        if rival is not None:
            return rival
        why = "its name says so and" if name in named else "of all channels it has the most edges;"
        reason = f"crank: {why} its spacing is that of {teeth.wheel.name}"
        if named and name not in named:
            return _swapped(name, named[0], teeth, fixed, hints)
        return Roles(name, teeth, fixed, hints, {name: reason})
    raise NotMeasurableError(_nothing_found(edges, problems))


def _rival(
    name: str,
    teeth: Teeth,
    order: list[str],
    edges: Mapping[str, Edges],
    wheels: list[Wheel],
    *,
    hints: Mapping[str, NameHint],
    fixed: Mapping[str, str],
) -> Roles | None:
    """A channel not named crank that is far more like one than the channel that is."""
    if hints[name].kind != "crank" or (teeth.wheel.has_gap and teeth.choice.confidence > 0.9):
        return None
    for other in order:
        if other == name or len(edges[other].times_s) < _MANY_MORE * len(edges[name].times_s):
            continue
        try:
            decoded = decode(edges[other], wheels, [edges[name]])
        except NotMeasurableError:
            continue
        if decoded.wheel.learned or decoded.choice.confidence < 0.9:
            continue
        return _swapped(other, name, decoded, fixed, hints)
    return None


def _swapped(
    crank: str,
    misnamed: str,
    teeth: Teeth,
    fixed: Mapping[str, str],
    hints: Mapping[str, NameHint],
) -> Roles:
    """The crank stands under another name than the channel that is named so."""
    finding = Finding(
        "crank-cam-swapped",
        "caution",
        f"'{misnamed}' is named like a crank signal, but '{crank}' carries the crank wheel "
        f"({teeth.wheel.name}). The signals were believed; check which probe sat where.",
    )
    why = {crank: f"crank: its spacing is that of {teeth.wheel.name}, whatever its name"}
    told = dict(hints)
    told[misnamed] = NameHint("", "", None)
    return Roles(crank, teeth, fixed, told, why, (finding,))


def _nothing_found(edges: Mapping[str, Edges], problems: list[str]) -> str:
    if problems:
        return problems[0]
    counts = ", ".join(f"'{name}' {len(item.times_s)}" for name, item in edges.items())
    return (
        f"no channel has enough edges for a crank signal (edges found: {counts}); check the probes "
        "and the scope's range, and record while the engine turns"
    )
