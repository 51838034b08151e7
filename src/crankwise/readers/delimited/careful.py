"""The careful way through a chunk: marks, quotes, stray blanks, and errors with their place."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.errors import UnreadableError
from crankwise.readers.delimited.dialect import split
from crankwise.readers.delimited.layout import Layout
from crankwise.readers.delimited.numbers import looks_grouped, mark_value

if TYPE_CHECKING:
    import polars as pl


def parse_carefully(data: bytes, layout: Layout, *, first_line: int) -> pl.DataFrame:
    """Read a chunk cell by cell where need be.

    Parameters
    ----------
    data : bytes
        Whole lines, UTF-8, blanks normalised.
    layout : Layout
        What to read.
    first_line : int
        Line number of the first line, from 1, for messages.

    Returns
    -------
    polars.DataFrame
        The layout's columns as numbers; null where a cell is blank.

    Raises
    ------
    UnreadableError
        If a cell is neither a number, a known mark nor blank, or a row has too many cells.
    """
    import polars as pl  # noqa: PLC0415

    columns = []
    for index, series in _strings(data, layout, first_line=first_line).items():
        text = series.str.strip_chars(" \t\r\"'\u00a0")
        clean = text.str.replace("\u2212", "-", literal=True)
        if layout.dialect.decimal == ",":
            # A point beside decimal commas is a thousands separator; make it fail below.
            clean = clean.str.replace_all(".", "?", literal=True)
            clean = clean.str.replace(",", ".", literal=True)
        numbers = clean.cast(pl.Float64, strict=False)
        doubtful = (numbers.is_null() & text.is_not_null() & (text != "")).arg_true()
        if len(doubtful):
            cells = text.gather(doubtful)
            marks = {cell: mark_value(cell) for cell in cells.unique(maintain_order=True)}
            bad = next((cell for cell, value in marks.items() if value is None), None)
            if bad is not None:
                row = int(doubtful[cells.to_list().index(bad)])
                raise _bad_cell(data, layout, index=index, row=row, first_line=first_line)
            values = cells.replace_strict(marks, return_dtype=pl.Float64)
            numbers = numbers.scatter(doubtful, values)
        columns.append(numbers.alias(str(index)))
    return pl.DataFrame(columns)


def _strings(data: bytes, layout: Layout, *, first_line: int) -> dict[int, pl.Series]:
    """Return the wanted columns as text."""
    import polars as pl  # noqa: PLC0415

    separator = layout.separator
    if layout.dialect.decimal == "," and separator == ",":
        data, separator = _commas_to_semicolons(data), ";"
    try:
        frame = pl.read_csv(
            data,
            has_header=False,
            separator=separator,
            schema={str(index): pl.String for index in range(layout.dialect.cells)},
            columns=list(layout.columns),
            quote_char=None,
        )
    except pl.exceptions.PolarsError as error:
        raise _bad_row(data, layout, first_line=first_line) from error
    return {index: frame[str(index)] for index in layout.columns}


def _commas_to_semicolons(data: bytes) -> bytes:
    """Separate by semicolons instead of the commas outside quotes, and drop the quotes."""
    parts = data.split(b'"')
    parts[::2] = [part.replace(b",", b";") for part in parts[::2]]
    return b"".join(parts)


def _bad_cell(
    data: bytes, layout: Layout, *, index: int, row: int, first_line: int
) -> UnreadableError:
    """Say which cell is no number, and why, as far as it can be told."""
    line = _line(data, row)
    cells = split(line, layout.dialect.separator)
    cell = cells[index].strip() if index < len(cells) else ""
    name = layout.names[layout.columns.index(index)]
    shown = cell if len(cell) <= 40 else cell[:37] + "…"
    where = f"{layout.file}: row {first_line + row}, column '{name}'"
    if looks_grouped(cell):
        return UnreadableError(
            f"{where}: '{shown}' has a thousands separator or a second decimal mark. "
            "Export numbers without thousands separators"
        )
    if ":" in cell:
        return UnreadableError(
            f"{where}: '{shown}' is a clock time or date. Export the time as seconds"
        )
    return UnreadableError(
        f"{where}: '{shown}' is not a number. Correct or remove the row, or export again"
    )


def _bad_row(data: bytes, layout: Layout, *, first_line: int) -> UnreadableError:
    """Find the row with too many cells."""
    for number, line in enumerate(data.decode(errors="replace").split("\n"), start=first_line):
        cells = len(split(line, layout.dialect.separator))
        if cells > layout.dialect.cells:
            return UnreadableError(
                f"{layout.file}: row {number} has {cells} cells where the rows before have "
                f"{layout.dialect.cells}. Correct or remove it; if commas are decimal marks, "
                "export with semicolons between the cells"
            )
    return UnreadableError(
        f"{layout.file}: the rows after row {first_line} can't be split into cells. "
        "Look for unpaired quotes there"
    )


def _line(data: bytes, row: int) -> str:
    return data.split(b"\n", row + 1)[row].decode(errors="replace").rstrip("\r")
