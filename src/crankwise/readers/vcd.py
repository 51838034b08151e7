"""VCD: value change dumps of IEEE 1364-2005, clause 18, as logic analysers write them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from crankwise.errors import UnreadableError
from crankwise.model.finding import Finding, Step
from crankwise.model.recording import EventChannel, Recording
from crankwise.readers.contract import CERTAIN, LIKELY, NOT_MINE, ReadOptions, Source
from crankwise.readers.events import interval_unused, nothing_changes
from crankwise.readers.labels import scaled, unique_names
from crankwise.readers.limits import check_channels

_KEYWORDS = re.compile(rb"\$(?:timescale|scope|var|enddefinitions)\b")
_TIMESCALE = re.compile(r"^(1|10|100)\s*(s|ms|us|ns|ps|fs)$")
_UNITS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "ps": 1e-12, "fs": 1e-15}
_KNOWN = {"0": False, "1": True}
_MOST_DIGITS = 18
"""Of a time in ticks: they fit 64 bits."""


@dataclass(slots=True)
class _Wire:
    """One variable and the changes seen so far, in ticks."""

    name: str
    scope: str
    ticks: list[int] = field(default_factory=list)
    states: list[bool] = field(default_factory=list)


@dataclass(slots=True)
class _Dump:
    """The file as it is read."""

    tick_s: float | None = None
    scopes: list[str] = field(default_factory=list)
    wires: dict[str, list[_Wire]] = field(default_factory=dict)
    unused: list[str] = field(default_factory=list)
    unknown_states: int = 0
    first_tick: int | None = None
    last_tick: int = 0

    def all_wires(self) -> list[_Wire]:
        """Return the variables in file order; several may share an identifier."""
        return [wire for wires in self.wires.values() for wire in wires]


class VcdReader:
    """Value change dumps; single bits become channels, other variables are left aside."""

    name = "VCD"
    suffixes = (".vcd",)

    def sniff(self, head: bytes, path: Path) -> int:  # noqa: ARG002 - content decides
        """Look for the keywords of the declarations."""
        found = {match.group() for match in _KEYWORDS.finditer(head)}
        if len(found) > 1 and head.lstrip()[:1] == b"$":
            return CERTAIN
        return LIKELY if b"$var" in found else NOT_MINE

    def read(self, source: Source, options: ReadOptions) -> Recording:
        """Read declarations, then changes."""
        size = source.path.stat().st_size
        dump = _Dump()
        with source.path.open(encoding="utf-8", errors="replace") as file:
            numbered = enumerate(file, start=1)
            _declarations(numbered, dump, source)
            _changes(numbered, dump, source)
        options.progress(1.0 if size else 0.0)
        return _recording(dump, source, options)


def _declarations(lines: Iterable[tuple[int, str]], dump: _Dump, source: Source) -> None:
    """Read keyword sections up to ``$enddefinitions``."""
    words: list[str] = []
    for _, line in lines:
        for word in line.split():
            if word != "$end":
                words.append(word)
                continue
            _declare(words, dump, source)
            if words and words[0] == "$enddefinitions":
                return
            words = []
    raise UnreadableError(
        f"{source.name}: the declarations have no end ($enddefinitions). The file is cut short; "
        "export it again"
    )


def _declare(words: list[str], dump: _Dump, source: Source) -> None:
    """Take in one section: timescale, scope or variable."""
    keyword = words[0] if words else ""
    if keyword == "$timescale":
        match = _TIMESCALE.match(" ".join(words[1:]))
        if not match:
            raise UnreadableError(
                f"{source.name}: the timescale '{' '.join(words[1:4])}' is not one of 1, 10 or 100 "
                "and a unit from s to fs. Correct it or export again"
            )
        dump.tick_s = scaled(float(match[1]), _UNITS[match[2]])
    elif keyword == "$scope" and len(words) > 2:
        dump.scopes.append(words[2])
    elif keyword == "$upscope" and dump.scopes:
        dump.scopes.pop()
    elif keyword == "$var" and len(words) > 4:
        kind, width, identifier, name = words[1:5]
        if kind == "real" or width != "1":
            dump.unused.append(name)
        else:
            dump.wires.setdefault(identifier, []).append(_Wire(name, ".".join(dump.scopes)))


def _changes(lines: Iterator[tuple[int, str]], dump: _Dump, source: Source) -> None:
    """Read time marks and value changes."""
    tick = 0
    for number, line in lines:
        first = line[:1]
        if first == "#":
            tick = _tick(line, number, source, before=tick)
            dump.last_tick = tick
            if dump.first_tick is None:
                dump.first_tick = tick
            if len(line.split(None, 1)) == 1:
                continue
            line = line.split(None, 1)[1]  # noqa: PLW2901 - changes may follow on the line
            first = line[:1]
        if first in "01xXzZ" and first:
            for change in line.split():
                _change(dump, change[1:], change[0], tick)
        elif first in "bB" and first:
            value, _, identifier = line[1:].strip().partition(" ")
            _change(dump, identifier.strip(), value[-1:], tick)
        elif line.startswith("$comment") and "$end" not in line:
            _skip_comment(lines)


def _tick(line: str, number: int, source: Source, *, before: int) -> int:
    """Read a time mark."""
    word = line[1:].split(None, 1)[0] if line[1:].strip() else ""
    if not word.isdecimal() or len(word) > _MOST_DIGITS:
        raise UnreadableError(
            f"{source.name}: row {number}: '#{word}' is no time. Correct it or export again"
        )
    tick = int(word)
    if tick < before:
        raise UnreadableError(
            f"{source.name}: row {number}: time goes back from {before} to {tick}. "
            "The file is mixed up; export it again"
        )
    return tick


def _change(dump: _Dump, identifier: str, value: str, tick: int) -> None:
    """Note a change of all variables with this identifier."""
    wires = dump.wires.get(identifier)
    if wires is None:
        return
    state = _KNOWN.get(value)
    if state is None:
        dump.unknown_states += 1
        return
    for wire in wires:
        if wire.ticks and wire.ticks[-1] == tick:
            wire.states[-1] = state
        else:
            wire.ticks.append(tick)
            wire.states.append(state)


def _skip_comment(lines: Iterator[tuple[int, str]]) -> None:
    for _, line in lines:
        if "$end" in line:
            return


def _recording(dump: _Dump, source: Source, options: ReadOptions) -> Recording:
    wires = dump.all_wires()
    check_channels(source.name, len(wires))
    if dump.tick_s is None:
        raise UnreadableError(
            f"{source.name}: no $timescale, so the time unit is unknown. Add it, for example "
            "'$timescale 1 us $end', or export again"
        )
    if not wires:
        raise UnreadableError(
            f"{source.name}: no single-bit variables inside. Export the logic channels"
        )
    plain = [wire.name for wire in wires]
    full = [
        f"{wire.scope}.{wire.name}" if plain.count(wire.name) > 1 else wire.name for wire in wires
    ]
    channels = tuple(
        _channel(wire, name, dump.tick_s)
        for wire, name in zip(wires, unique_names(full, fallback="channel"), strict=True)
    )
    if not any(len(channel.times_s) for channel in channels):
        raise nothing_changes(source)
    start_s = scaled(float(dump.first_tick or 0), dump.tick_s)
    return Recording(
        name=source.name,
        sha256=source.sha256(),
        channels=channels,
        start_s=start_s,
        duration_s=scaled(float(dump.last_tick), dump.tick_s) - start_s,
        interval_s=None,
        findings=_findings(dump, options),
        history=(Step("read", {"reader": "VCD", "kind": "changes", "tick_s": dump.tick_s}),),
    )


def _channel(wire: _Wire, name: str, tick_s: float) -> EventChannel:
    """Leave out changes that change nothing; the first value known is the initial state."""
    ticks = np.array(wire.ticks, dtype=np.float64)
    states = np.array(wire.states, dtype=bool)
    times_s = scaled(ticks, tick_s)
    initial = bool(states[0]) if len(states) else False
    changed = np.flatnonzero(states[1:] != states[:-1]) + 1
    return EventChannel(name, times_s[changed], states[changed], initial)


def _findings(dump: _Dump, options: ReadOptions) -> tuple[Finding, ...]:
    findings = []
    if dump.unused:
        names = ", ".join(f"'{name}'" for name in dump.unused[:6])
        text = f"Not single bits and left aside: {names}."
        findings.append(Finding("channels-unused", "note", text))
    if dump.unknown_states:
        text = (
            f"{dump.unknown_states} change(s) to an unknown or floating state (x, z) were left "
            "out; the state before was kept."
        )
        findings.append(Finding("states-unknown", "note", text))
    return (*findings, *interval_unused(options))
