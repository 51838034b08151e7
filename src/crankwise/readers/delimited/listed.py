"""Take the rows of a recognised list of state changes: a time, and a state for each channel."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import NoReturn

import numpy as np

from crankwise.errors import UnreadableError
from crankwise.model.finding import Finding
from crankwise.model.recording import BoolArray, FloatArray
from crankwise.readers.contract import Source
from crankwise.readers.delimited.cells import is_state, time_of
from crankwise.readers.delimited.changes import Listing, edge_of
from crankwise.readers.delimited.dialect import split
from crankwise.readers.labels import STATES, Label, normal
from crankwise.readers.table import Table

Row = tuple[int, list[str]]
"""Number of the line, and its cells."""

Changes = Mapping[str, tuple[FloatArray, BoolArray]]
"""Times of each channel's changes, and the state after each."""


def to_table(listing: Listing, lines: Sequence[str], source: Source, *, reader: str) -> Table:
    """Bring a list of state changes to a time column and one column of states a channel.

    Parameters
    ----------
    listing : Listing
        How it is written.
    lines : sequence of str
        All lines of the file.
    source : Source
        For messages.
    reader : str
        Name of the reader, for the history.

    Raises
    ------
    UnreadableError
        Naming the first cell that is no time or no state.
    """
    rows = list(_rows(listing, lines))
    findings: tuple[Finding, ...] = ()
    if listing.form == "by-edge":
        unit, changes, findings = _by_edge(listing, rows, source)
        times, states = _together(changes)
    elif listing.form == "by-channel":
        unit, times = _times(listing, rows, source)
        times, states = _together(_by_channel(listing, rows, times, source))
    else:
        unit, times = _times(listing, rows, source)
        take = _bits if listing.form == "bus" else _in_words
        states = take(listing, rows, source)
    return Table(
        reader=reader,
        labels=(Label("time", unit), *(Label(name, None) for name in states)),
        columns=(times, *states.values()),
        time=0,
        place=lambda row: f"{source.name}: change {row + 1}",
        findings=findings,
        settings={"form": listing.form, "names_row": listing.names_line},
    )


def _rows(listing: Listing, lines: Sequence[str]) -> Iterator[Row]:
    """Full rows; a last one that was cut short is left out."""
    for number, line in enumerate(lines[listing.names_line :], start=listing.names_line + 1):
        if line.strip(" \t\r,;|"):
            cells = [cell.strip().strip('"').strip() for cell in split(line, listing.separator)]
            if len(cells) >= len(listing.labels):
                yield number, cells


def _refuse(source: Source, listing: Listing, row: Row, column: int, wanted: str) -> NoReturn:
    number, cells = row
    raise UnreadableError(
        f"{source.name}: row {number}, column '{listing.labels[column].name}': "
        f"'{cells[column]}' is no {wanted}. Correct or remove the row"
    )


def _time(listing: Listing, row: Row, column: int, source: Source) -> tuple[float, bool]:
    try:
        return time_of(row[1][column], listing.decimal)
    except ValueError:
        _refuse(source, listing, row, column, "time")


def _times(listing: Listing, rows: Sequence[Row], source: Source) -> tuple[str | None, FloatArray]:
    """Times of the rows with their unit: that of the cells, else that of the name."""
    column = listing.time or 0
    found = [_time(listing, row, column, source) for row in rows]
    return _one_unit([has_unit for _, has_unit in found], listing.labels[column], source), np.array(
        [number for number, _ in found]
    )


def _one_unit(has_unit: Sequence[bool], label: Label, source: Source) -> str | None:
    if all(has_unit):
        return "s"
    if any(has_unit):
        raise UnreadableError(
            f"{source.name}: some times have a unit and some have none. "
            "Write the unit with all of them, or in the column's name only"
        )
    return label.unit


def _state(listing: Listing, row: Row, column: int, source: Source) -> bool:
    cell = row[1][column]
    if not is_state(cell):
        _refuse(source, listing, row, column, "state")
    return STATES[normal(cell)]


def _by_channel(
    listing: Listing, rows: Sequence[Row], times: FloatArray, source: Source
) -> Changes:
    """Give each channel the rows that name it."""
    channel, state = listing.channel or 0, listing.state or 0
    states = np.array([_state(listing, row, state, source) for row in rows])
    names = np.array([row[1][channel] for row in rows])
    heading = listing.labels[channel].name
    return {
        f"{heading} {name}" if name.isdigit() else name: (
            times[names == name],
            states[names == name],
        )
        for name in sorted(set(names.tolist()))
    }


def _by_edge(
    listing: Listing, rows: Sequence[Row], source: Source
) -> tuple[str | None, Changes, tuple[Finding, ...]]:
    """Times of each column, joined where one lists the rising and one the falling edges."""
    found: dict[str, list[tuple[float, bool | None]]] = {}
    unit_shown: list[bool] = []
    for column, label in enumerate(listing.labels):
        name, state = edge_of(label.name)
        filled = [row for row in rows if row[1][column]]
        times = [_time(listing, row, column, source) for row in filled]
        unit_shown += [has_unit for _, has_unit in times]
        found.setdefault(name, []).extend((time, state) for time, _ in times)
    changes, is_assumed = {}, False
    for name, edges in found.items():
        kinds = {state for _, state in edges}
        if kinds in ({True}, {False}):
            raise UnreadableError(
                f"{source.name}: only the {'rising' if True in kinds else 'falling'} edges of "
                f"'{name}' are listed. Export both edges"
            )
        edges.sort(key=lambda edge: edge[0])
        states = [
            index % 2 == 0 if state is None else state for index, (_, state) in enumerate(edges)
        ]
        is_assumed |= None in kinds
        changes[name] = np.array([time for time, _ in edges]), np.array(states)
    text = (
        "The file lists edge times without their direction; the first of each channel was taken "
        "as rising. Shifts don't depend on it."
    )
    findings = (Finding("edge-direction-assumed", "note", text),) if is_assumed else ()
    return _one_unit(unit_shown, listing.labels[0], source), changes, findings


def _together(changes: Changes) -> tuple[FloatArray, dict[str, FloatArray]]:
    """State of every channel at every change; before its first row a channel was the opposite.

    The earliest change of all is where the list begins.
    """
    times = np.unique(np.concatenate([at for at, _ in changes.values()]))
    states = {}
    for name, (at, state) in changes.items():
        order = np.argsort(at, kind="stable")
        place = np.searchsorted(at[order], times, side="right") - 1
        known = state[order][np.maximum(place, 0)]
        states[name] = np.where(place < 0, ~known, known).astype(np.float64)
    return times, states


def _in_words(listing: Listing, rows: Sequence[Row], source: Source) -> dict[str, FloatArray]:
    """States of each column."""
    return {
        label.name: np.array(
            [_state(listing, row, column, source) for row in rows], dtype=np.float64
        )
        for column, label in enumerate(listing.labels)
        if column != listing.time and not label.is_index
    }


def _bits(listing: Listing, rows: Sequence[Row], source: Source) -> dict[str, FloatArray]:
    """One channel for each bit that changes."""
    column = next(
        index
        for index, label in enumerate(listing.labels)
        if index != listing.time and not label.is_index
    )
    width = re.search(r"\[(\d+)", listing.labels[column].name)
    binary = width is not None and all(
        set(row[1][column]) <= {"0", "1"} and len(row[1][column]) == int(width[1]) + 1
        for row in rows
    )
    words = np.array([_word(listing, row, column, source, binary=binary) for row in rows])
    bits = {f"bit {bit}": (words >> bit) & 1 for bit in range(64)}
    return {
        name: state.astype(np.float64) for name, state in bits.items() if state.min() != state.max()
    }


def _word(listing: Listing, row: Row, column: int, source: Source, *, binary: bool) -> int:
    """Read a word with a prefix, an h behind it, or bare: then hexadecimal, unless binary."""
    cell = row[1][column].casefold()
    base = 2 if binary or cell.startswith("0b") else 16
    try:
        word = int(cell.removesuffix("h"), base)
    except ValueError:
        _refuse(source, listing, row, column, "hexadecimal number")
    if word >= 1 << 63:
        _refuse(source, listing, row, column, "word of less than 64 bits")
    return word
