"""What is read of every row."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from crankwise.readers.delimited.dialect import NO_SEPARATOR, Dialect


@dataclass(frozen=True, slots=True)
class Layout:
    """Which cells of a row to read, and as what.

    Attributes
    ----------
    dialect : Dialect
        How rows are written.
    columns : tuple of int
        Indices of the cells to read, ascending.
    names : tuple of str
        What each of them is called in messages.
    time : int or None
        Index of the cell with the time, which is read in double precision.
    file : str
        File name for messages.
    """

    dialect: Dialect
    columns: tuple[int, ...]
    names: tuple[str, ...]
    time: int | None
    file: str

    @property
    def separator(self) -> str:
        """Character between cells once runs of blanks have become one."""
        return "\x1f" if self.dialect.separator == NO_SEPARATOR else self.dialect.separator

    def kind(self, index: int) -> type[np.floating[Any]]:
        """Kind of number that a cell is kept as: time needs double precision."""
        return np.float64 if index == self.time else np.float32
