"""Text tables as scopes and loggers write them: CSV, TSV and their many dialects."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from crankwise.errors import UnreadableError
from crankwise.model.finding import Finding
from crankwise.model.recording import FloatArray, Recording
from crankwise.readers.contract import (
    HEAD_BYTES,
    LIKELY,
    NOT_MINE,
    PLAUSIBLE,
    ReadOptions,
    Source,
)
from crankwise.readers.delimited import dialect as dialects
from crankwise.readers.delimited import text
from crankwise.readers.delimited.changes import find_listing
from crankwise.readers.delimited.clock import first_column_is_clock
from crankwise.readers.delimited.dialect import Dialect
from crankwise.readers.delimited.header import Header, read_header
from crankwise.readers.delimited.layout import Layout
from crankwise.readers.delimited.listed import to_table
from crankwise.readers.delimited.parse import Parsed, parse, parse_each
from crankwise.readers.labels import Label, find_time, unique_names
from crankwise.readers.others import what_else
from crankwise.readers.table import Setting, Table, to_recording

_CLOCK = re.compile(r"\d:\d\d(?::\d\d)?[.,:]?\d*[\s,;|\t]+[+-]?\d")
_LONGEST_PREAMBLE = 1 << 21
_SEPARATOR_WORDS = {
    "\t": "tab",
    ",": "comma",
    ";": "semicolon",
    "|": "bar",
    dialects.WHITESPACE: "blanks",
    dialects.NO_SEPARATOR: "none",
}


class DelimitedReader:
    """CSV, TSV and other text tables; sampled or lists of state changes."""

    name = "text table"
    suffixes = (".csv", ".tsv", ".txt", ".dat", ".asc", ".prn")

    def sniff(self, head: bytes, path: Path) -> int:  # noqa: ARG002 - content decides
        """Text is plausible; text with rows of several numbers is likely."""
        if what_else(head) is not None or not text.is_text(head):
            return NOT_MINE
        form = text.detect(head)
        found = dialects.detect(text.lines(head, form, is_whole=len(head) < HEAD_BYTES))
        return LIKELY if found and len(found.used) > 1 else PLAUSIBLE

    def read(self, source: Source, options: ReadOptions) -> Recording:
        """Read the table."""
        listed = _listed(source)
        if listed is not None:
            return to_recording(listed, source, options)
        plan = _plan(source)
        parsed = parse(
            _chunks(source, plan.top, options),
            plan.layout,
            first_line=plan.first_line,
            total_bytes=plan.total_bytes,
        )
        return to_recording(plan.table(parsed, source), source, options)

    def parts(self, source: Source, options: ReadOptions) -> Iterator[Table]:
        """Read the table chunk by chunk; a list of state changes whole."""
        listed = _listed(source)
        if listed is not None:
            yield listed
            return
        plan = _plan(source)
        for parsed, _ in parse_each(
            _chunks(source, plan.top, options),
            plan.layout,
            first_line=plan.first_line,
            total_bytes=plan.total_bytes,
        ):
            yield plan.table(parsed, source)


@dataclass(frozen=True, slots=True)
class _Top:
    """The beginning of the file, understood."""

    form: text.TextFormat
    lines: list[str]
    dialect: Dialect


@dataclass(frozen=True, slots=True)
class _Plan:
    """What the beginning of the file says about all rows."""

    top: _Top
    header: Header
    labels: tuple[Label, ...]
    layout: Layout
    total_bytes: int

    @property
    def first_line(self) -> int:
        """Number of the first row's line, from 1."""
        return self.top.dialect.first_row + 1

    def table(self, parsed: Parsed, source: Source) -> Table:
        """Numbers with what is written about them."""
        layout = self.layout
        return Table(
            reader=DelimitedReader.name,
            labels=self.labels,
            columns=parsed.columns,
            time=None if layout.time is None else layout.columns.index(layout.time),
            interval_s=self.header.interval_s,
            place=_place(source, self.top),
            findings=self.header.findings + _incomplete(parsed.incomplete_line),
            settings=_settings(self.top, self.header) | {"careful_chunks": parsed.careful_chunks},
        )


def _listed(source: Source) -> Table | None:
    """Table of a list of state changes that is written in another way than as numbers."""
    with source.path.open("rb") as file:
        head = file.read(HEAD_BYTES)
        form = text.detect(head)
        is_whole = len(head) < HEAD_BYTES
        listing = find_listing(text.lines(head, form, is_whole=is_whole))
        if listing is None:
            return None
        lines = text.lines(head + file.read(), form, is_whole=True)
    return to_table(listing, lines, source, reader=DelimitedReader.name)


def _plan(source: Source) -> _Plan:
    top = _read_top(source)
    header = read_header(top.lines, top.dialect)
    _check_names(top, header, source)
    labels, time, columns = _choose_columns(top, header)
    layout = Layout(
        dialect=top.dialect,
        columns=columns,
        names=unique_names([label.name for label in labels], fallback="column"),
        time=time,
        file=source.name,
    )
    return _Plan(top, header, labels, layout, source.path.stat().st_size)


def _read_top(source: Source) -> _Top:
    """Read so much of the beginning that the rows of numbers are found."""
    size = source.path.stat().st_size
    wanted = HEAD_BYTES
    while True:
        with source.path.open("rb") as file:
            head = file.read(wanted)
        form = text.detect(head)
        lines = text.lines(head, form, is_whole=len(head) >= size)
        for number, line in enumerate(lines, start=1):
            if len(line) > text.LONGEST_LINE:
                raise text.too_long(source.name, f"row {number}")
        found = dialects.detect(lines)
        if found is not None and (found.first_row < len(lines) - 2 or len(head) >= size):
            return _Top(form, lines, found)
        if len(head) >= size or wanted >= _LONGEST_PREAMBLE:
            raise UnreadableError(_no_numbers(source.name, lines))
        wanted *= 8


def _no_numbers(name: str, lines: list[str]) -> str:
    first = next((line.strip() for line in lines if line.strip()), "")
    shown = first if len(first) <= 50 else first[:47] + "…"
    if any(_CLOCK.search(line) for line in lines[:1000]):
        return (
            f"{name}: no rows of numbers found, but clock times or dates. "
            "Export the time as seconds"
        )
    return (
        f"{name}: no rows of numbers found; it begins with '{shown}'. Export the recording as "
        "CSV with a row of names, a time column, and numbers without thousands separators; a list "
        "of state changes needs the time and each channel's state, or time, channel and state"
    )


def _check_names(top: _Top, header: Header, source: Source) -> None:
    """Refuse rows with more cells than there are names: commas may be decimal marks."""
    if header.names_line is None or top.dialect.separator != ",":
        return
    names = dialects.split(top.lines[header.names_line - 1], ",")
    if len(names) < len(top.dialect.used):
        raise UnreadableError(
            f"{source.name}: row {header.names_line} names {len(names)} column(s), but the rows "
            f"below have {len(top.dialect.used)} numbers. If commas are decimal marks here, "
            "export with semicolons between the cells"
        )


def _choose_columns(
    top: _Top, header: Header
) -> tuple[tuple[Label, ...], int | None, tuple[int, ...]]:
    """Columns to read with their labels, and which of the file's cells is the time."""
    columns = tuple(
        index
        for index in range(top.dialect.cells)
        if index in top.dialect.used or header.labels[index].name
    )
    labels = [header.labels[index] for index in columns]
    place = find_time(labels)
    if place is None and not labels[0].is_index and len(columns) > 1:
        rows = _first_rows(top, columns)
        if _counts_up(rows[:, 0]) and not labels[0].name:
            labels[0] = Label("#", None)
        elif first_column_is_clock(rows, is_named=bool(labels[0].name)):
            place = 0
    if place is not None and labels[place].unit is None and not labels[place].is_index:
        labels[place] = Label(labels[place].name or "", None)
    return tuple(labels), None if place is None else columns[place], columns


def _first_rows(top: _Top, columns: tuple[int, ...]) -> FloatArray:
    """Return the first rows of numbers, NaN where a cell is none."""
    rows = []
    for line in top.lines[top.dialect.first_row :][: dialects.ENOUGH_ROWS]:
        cells = dialects.split(line, top.dialect.separator)
        if len(cells) == top.dialect.cells:
            rows.append([_number(cells[index], top.dialect.decimal) for index in columns])
    return np.array(rows)


def _number(cell: str, decimal: str) -> float:
    try:
        return float(cell.strip().strip('"').replace("\u2212", "-").replace(decimal, "."))
    except ValueError:
        return float("nan")


def _counts_up(values: FloatArray) -> bool:
    """Whether a column counts rows: whole numbers, one more each time."""
    return len(values) > 1 and bool(np.all(np.diff(values) == 1.0)) and values[0] in (0.0, 1.0)


def _chunks(source: Source, top: _Top, options: ReadOptions) -> Iterator[text.Chunk]:
    return text.chunks(
        source.path,
        source.name,
        top.form,
        skip_lines=top.dialect.first_row,
        chunk_bytes=options.chunk_bytes or text.CHUNK_BYTES,
        progress=options.progress,
    )


def _incomplete(line: int | None) -> tuple[Finding, ...]:
    if line is None:
        return ()
    text = f"The last row (row {line}) is incomplete and was left out."
    return (Finding("last-row-incomplete", "note", text),)


def _place(source: Source, top: _Top) -> Callable[[int], str]:
    """Find the line number of a row again, for messages; blank lines are no rows."""

    def place(row: int) -> str:
        number = top.dialect.first_row
        for chunk in _chunks(source, top, ReadOptions(None, lambda _: None)):
            for line in chunk.data.removesuffix(b"\n").split(b"\n"):
                number += 1
                if line.strip(b" \t\r,;|"):
                    if row == 0:
                        return f"{source.name}: row {number}"
                    row -= 1
        return f"{source.name}: the last row"

    return place


def _settings(top: _Top, header: Header) -> dict[str, Setting]:
    return {
        "encoding": top.form.encoding,
        "separator": _SEPARATOR_WORDS[top.dialect.separator],
        "decimal_mark": top.dialect.decimal,
        "names_row": header.names_line,
        "units_row": header.units_line,
        "first_row": top.dialect.first_row + 1,
        "stated_interval_s": header.interval_s,
    }
