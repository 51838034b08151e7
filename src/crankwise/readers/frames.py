"""From polars' columns to NumPy's arrays in one copy."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    import polars as pl


def copy_series(series: pl.Series, array: npt.NDArray[Any], *, start: int = 0) -> None:
    """Copy a column of floats into an array from a place on; nulls become NaN.

    Piece by piece into NumPy's own memory, which the system hands out in large pages: several
    times faster than ``Series.to_numpy`` of a column in many pieces.
    """
    for part in series.get_chunks():
        array[start : start + len(part)] = part.to_numpy()
        start += len(part)


def to_array(series: pl.Series) -> npt.NDArray[Any]:
    """Bring a column of numbers or booleans to an array; nulls become NaN."""
    if not series.dtype.is_float():
        return series.to_numpy()
    array = np.empty(len(series), series.head(0).to_numpy().dtype)
    copy_series(series, array)
    return array
