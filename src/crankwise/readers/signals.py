"""One signal on its way from a file's column to a channel, whole or part by part."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from crankwise.model.finding import Finding
from crankwise.readers.labels import Label, signal_unit

_EXACT_BELOW = 1 << 24
"""Whole numbers that single precision holds exactly."""


class NotPlainError(Exception):
    """Only the whole table shows what it is; kept inside this package."""


@dataclass(slots=True)
class Signal:
    """A signal's values brought to their base unit, and what has been seen of them.

    Attributes
    ----------
    name : str
    unit : str
        Base unit.
    is_unit_known : bool
        Whether the file says it.
    factor : float
        From the column's numbers to ``unit``.
    low, high : float
        Least and greatest value so far; NaN once one was missing.
    count, missing, beyond : int
        Values so far, those of them missing, and those beyond the scope's range.
    """

    name: str
    unit: str
    is_unit_known: bool
    factor: float
    low: float = np.inf
    high: float = -np.inf
    count: int = 0
    missing: int = 0
    beyond: int = 0
    _kind: np.dtype[Any] | None = None

    @classmethod
    def of(cls, name: str, label: Label) -> Self:
        """Begin with a signal that is labelled so."""
        unit, factor = signal_unit(label.unit)
        return cls(name, unit, label.unit is not None, factor)

    def take(self, column: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Convert the next values; all parts of a signal become numbers of one kind.

        Raises
        ------
        NotPlainError
            These values don't fit the kind of number that those before asked for.
        """
        values = as_channel_values(column)
        self._kind = self._kind or values.dtype
        if values.dtype.itemsize > self._kind.itemsize:
            raise NotPlainError
        values = values.astype(self._kind, copy=False)
        if self.factor != 1.0:
            values = values * values.dtype.type(self.factor)
        low, high = values.min(), values.max()
        if not (np.isfinite(low) and np.isfinite(high)):
            self.missing += int(np.count_nonzero(np.isnan(values)))
            self.beyond += int(np.count_nonzero(np.isinf(values)))
        self.low, self.high = float(np.minimum(self.low, low)), float(np.maximum(self.high, high))
        self.count += len(values)
        return values

    @property
    def is_empty(self) -> bool:
        """Whether it holds no number at all."""
        return self.missing == self.count

    @property
    def is_constant(self) -> bool:
        """Whether it never changes."""
        return self.low == self.high

    def findings(self) -> tuple[Finding, ...]:
        """Remark on missing samples and on those beyond the scope's range."""
        if self.is_empty:
            text = f"'{self.name}' holds no numbers and was left out."
            return (Finding("channel-empty", "note", text),)
        findings = []
        if self.missing:
            text = f"'{self.name}' has {self.missing} missing sample(s) of {self.count}."
            findings.append(Finding("samples-missing", "caution", text))
        if self.beyond:
            text = (
                f"'{self.name}' was beyond the scope's range in {self.beyond} sample(s) of "
                f"{self.count}; choose a larger range next time."
            )
            findings.append(Finding("range-exceeded", "caution", text))
        return tuple(findings)


def as_channel_values(values: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Bring a column to float32 or float64 without losing digits.

    Floats keep their type (half precision widens); whole numbers become float32 where that is
    exact, below 2**24, else float64; booleans become 0 and 1.
    """
    if values.dtype in (np.float32, np.float64):
        return values.astype(values.dtype.newbyteorder("="), copy=False)
    if values.dtype.kind == "b" or values.dtype.itemsize < 3 or values.dtype == np.float16:
        return values.astype(np.float32)
    if len(values) and max(abs(int(values.min())), abs(int(values.max()))) < _EXACT_BELOW:
        return values.astype(np.float32)
    return values.astype(np.float64)


def unit_findings(signals: list[Signal]) -> tuple[Finding, ...]:
    """Remark on signals whose unit the file doesn't give."""
    unknown = [signal.name for signal in signals if not signal.is_unit_known]
    if not unknown:
        return ()
    some = ", ".join(f"'{name}'" for name in unknown)
    which = "any channel" if len(unknown) == len(signals) else some
    text = f"The file gives no unit for {which}; the numbers are kept as they stand."
    return (Finding("unit-unknown", "note", text),)
