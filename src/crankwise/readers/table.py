"""From a table of columns to a :class:`Recording`: the part all table formats share.

A format's reader finds columns and what is written about them; here the time column's unit is
settled, event lists are told from samples, and units are brought to volts and seconds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import isfinite
from typing import Any

import numpy as np
import numpy.typing as npt

from crankwise.errors import UnreadableError
from crankwise.model.finding import Finding, Step
from crankwise.model.recording import FloatArray, Recording, SampledChannel
from crankwise.readers.contract import ReadOptions, Source
from crankwise.readers.events import (
    event_channels,
    interval_unused,
    is_event_list,
    is_logic,
    nothing_changes,
)
from crankwise.readers.labels import Label, scaled, unique_names
from crankwise.readers.limits import check_channels
from crankwise.readers.signals import Signal, unit_findings
from crankwise.readers.timebase import TimeBase, from_interval, from_stamps, reversed_finding
from crankwise.readers.timeunit import scale_s

Setting = str | float | int | bool | None

SHORTEST_STEP_S, LONGEST_STEP_S = 1e-12, 1e4
"""Steps between samples that may be: from a picosecond to hours."""


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """Columns as a reader found them.

    Attributes
    ----------
    reader : str
        Name of the reader, for the history.
    labels : tuple of Label
        One for each column, the time column included.
    columns : tuple of np.ndarray [shape=(n,)]
        Numbers as written, in file order; the time column as float64.
    time : int or None
        Index of the time column.
    interval_s : float or None
        Sampling interval the file states beside the table, seconds.
    start_s : float
        Time of the first sample the file states beside the table; used without a time column.
    place : callable
        File and place of a row by its index, for messages.
    remedy : str
        How to give the sampling interval inside this format, for messages.
    fallback : str
        Word that a nameless channel is called by, followed by its place.
    findings : tuple of Finding
        Remarks made so far.
    settings : Mapping
        Facts about the reading for the history.
    """

    reader: str
    labels: tuple[Label, ...]
    columns: tuple[npt.NDArray[Any], ...]
    time: int | None
    place: Callable[[int], str]
    interval_s: float | None = None
    start_s: float = 0.0
    remedy: str = "name the time column with its unit, for example 'Time [ms]'"
    fallback: str = "column"
    findings: tuple[Finding, ...] = ()
    settings: Mapping[str, Setting] = field(default_factory=dict)

    @property
    def signals(self) -> tuple[int, ...]:
        """Indices of the columns that carry signals."""
        return tuple(
            index
            for index, label in enumerate(self.labels)
            if index != self.time
            and not (label.is_index and counts_rows(self.columns[index]))
            and not self._repeats_time(index)
        )

    def _repeats_time(self, index: int) -> bool:
        """Whether a column is the time once more, as files with one time for each channel have."""
        if self.time is None or not self.labels[index].is_time:
            return False
        first, again = self.columns[self.time], self.columns[index]
        return bool(np.allclose(first, again, rtol=1e-6, atol=0.0, equal_nan=True))


def to_recording(table: Table, source: Source, options: ReadOptions) -> Recording:
    """Turn a table into a recording.

    Raises
    ------
    UnreadableError
        If the time base can't be found or nothing is recorded.
    """
    check_size(table, source)
    table = _clocked(table)
    if table.time is not None:
        times = np.asarray(table.columns[table.time], dtype=np.float64)
        columns = [table.columns[index] for index in table.signals]
        if is_event_list(times, columns) and bool(np.all(np.isfinite(times))):
            return _events(table, source, options, times)
    base, more = time_base(table, source, options)
    channels, signal_findings = _channels(table, source, base)
    return Recording(
        name=source.name,
        sha256=source.sha256(),
        channels=channels,
        start_s=base.start_s,
        duration_s=base.duration_s,
        interval_s=base.interval_s,
        time_s=base.time_s,
        findings=table.findings + more + base.findings + signal_findings,
        history=(read_step(table, kind="samples"),),
    )


def check_size(table: Table, source: Source) -> None:
    """Refuse a table that is no recording.

    Raises
    ------
    UnreadableError
        If it has hardly any rows, no signal, or more than one time.
    """
    check_channels(source.name, len(table.columns))
    rows = len(table.columns[0]) if table.columns else 0
    if rows < 2:
        raise UnreadableError(
            f"{source.name}: {rows} row(s) of numbers; a recording needs many. "
            "Check that the export holds the samples and not only a summary"
        )
    others = [table.labels[index].name for index in table.signals if table.labels[index].is_time]
    if table.time is not None and others:
        raise UnreadableError(
            f"{source.name}: more than one time column, and they differ: "
            f"'{table.labels[table.time].name}' and '{others[0]}'. "
            "Export all channels over one time axis"
        )
    if not table.signals:
        raise UnreadableError(
            f"{source.name}: only one column, and it is the time; there is no signal beside it. "
            "Export the channels too"
        )


def _events(table: Table, source: Source, options: ReadOptions, times: FloatArray) -> Recording:
    """Build the recording of a list of state changes."""
    assert table.time is not None  # noqa: S101 - narrows the type; the caller checked it
    factor, findings, unused = _event_unit_s(table.labels[table.time], times, source, options)
    names = [signal.name for signal in signals_of(table)]
    times_s, channels, more = event_channels(
        scaled(times, factor),
        names,
        [table.columns[index] for index in table.signals],
        place=table.place,
    )
    if not any(len(channel.times_s) for channel in channels):
        raise nothing_changes(source)
    return Recording(
        name=source.name,
        sha256=source.sha256(),
        channels=channels,
        start_s=float(times_s[0]),
        duration_s=float(times_s[-1] - times_s[0]),
        interval_s=None,
        findings=table.findings + findings + more + unused,
        history=(read_step(table, kind="changes"),),
    )


def _clocked(table: Table) -> Table:
    """Take a column that counts a logger's clock as the time of its state changes."""
    index = 0 if table.labels[0].is_index else None
    if table.time is not None or index is None or counts_rows(table.columns[index]):
        return table
    others = [table.columns[place] for place in table.signals if place != index]
    runs_on = bool(np.all(np.diff(table.columns[index]) > 0.0))
    return (
        replace(table, time=index) if runs_on and others and all(map(is_logic, others)) else table
    )


def _event_unit_s(
    label: Label, times: FloatArray, source: Source, options: ReadOptions
) -> tuple[float, tuple[Finding, ...], tuple[Finding, ...]]:
    """Seconds in one unit of the times; where they count a clock, the caller's interval.

    Returns
    -------
    factor : float
    findings, unused : tuple of Finding
        Remarks on the unit, and on an interval that was of no use.
    """
    is_count = label.is_index or (label.unit is None and bool(np.all(times == np.rint(times))))
    if is_count and options.interval_s is not None:
        return options.interval_s, (), ()
    if label.is_index:
        raise UnreadableError(
            f"{source.name}: the column '{label.name}' counts the logger's clock. "
            "Give the length of one count with --interval: 41.67ns at 24 MHz"
        )
    factor, findings = scale_s(label, times, stated_s=None, source=source, is_events=True)
    return factor, findings, interval_unused(options)


def time_base(
    table: Table, source: Source, options: ReadOptions
) -> tuple[TimeBase, tuple[Finding, ...]]:
    """Time base of the samples: the caller's interval, else the time column, else as stated.

    Raises
    ------
    UnreadableError
        If it can't be found.
    """
    count = len(table.columns[0])
    if table.time is None:
        interval_s = options.interval_s or table.interval_s
        if interval_s is None:
            raise UnreadableError(
                f"{source.name}: no time column and no sampling interval in the file. "
                f"Give it with --interval, in seconds, or {table.remedy}"
            )
        base = from_interval(count, interval_s=interval_s, start_s=table.start_s)
        check_base(base, source)
        return base, disagreement(table.interval_s, interval_s, "the interval given")
    times = table.columns[table.time]
    if options.interval_s is not None:
        return _given_interval(table, times, options.interval_s)
    check_stamps(table, times)
    factor, findings = scale_s(
        table.labels[table.time], times, stated_s=table.interval_s, source=source
    )
    base = from_stamps(times if factor == 1.0 else scaled(times, factor), place=table.place)
    check_base(base, source)
    if base.time_s is None:
        findings += disagreement(table.interval_s, base.interval_s, "the time column")
    return base, findings


def check_base(base: TimeBase, source: Source) -> None:
    """Refuse times that no clock shows.

    Raises
    ------
    UnreadableError
        The steps are absurd, or the times beyond all numbers.
    """
    sound = isfinite(base.start_s) and isfinite(base.duration_s)
    if not (sound and SHORTEST_STEP_S <= base.interval_s <= LONGEST_STEP_S):
        raise UnreadableError(
            f"{source.name}: its times step by {base.interval_s:.3g} s, which no scope does. "
            "Correct the time or the rate in the file, or give the sampling interval with "
            "--interval, in seconds"
        )


def _given_interval(
    table: Table, times: FloatArray, interval_s: float
) -> tuple[TimeBase, tuple[Finding, ...]]:
    """Use the caller's interval instead of the time column, and say so if they differ."""
    step = float(np.nanmedian(np.diff(times)))
    is_reversed = step < 0.0
    base = from_interval(len(times), interval_s=interval_s)
    findings: tuple[Finding, ...] = ()
    if is_reversed:
        findings = (reversed_finding(),)
        base = TimeBase(base.start_s, base.duration_s, interval_s, is_reversed=True)
    label = table.labels[table.time or 0]
    text = (
        f"The interval given ({interval_s:.6g} s) was used and the column "
        f"'{label.name}' was left aside."
    )
    return base, (*findings, Finding("time-column-unused", "note", text))


def check_stamps(table: Table, times: FloatArray, *, first_row: int = 0) -> None:
    """Refuse rows without a time.

    Parameters
    ----------
    table : Table
    times : np.ndarray [shape=(n,)]
        Its stamps from ``first_row`` on.
    first_row : int

    Raises
    ------
    UnreadableError
        Naming the first such row.
    """
    usable = np.isfinite(times)
    if not np.all(usable):
        row = first_row + int(np.argmin(usable))
        raise UnreadableError(
            f"{table.place(row)}, column '{table.labels[table.time or 0].name}': no time is "
            "written there. Complete or remove the row, or give the sampling interval with "
            "--interval"
        )


def disagreement(stated_s: float | None, used_s: float, used: str) -> tuple[Finding, ...]:
    """Remark on a stated interval that differs from the one used by more than 0.1 %."""
    if stated_s is None or abs(stated_s - used_s) <= 1e-3 * used_s:
        return ()
    text = (
        f"The file states a sampling interval of {stated_s:.6g} s, but {used} "
        f"({used_s:.6g} s) was used; check which one is right."
    )
    return (Finding("interval-disagrees", "caution", text),)


def _channels(
    table: Table, source: Source, base: TimeBase
) -> tuple[tuple[SampledChannel, ...], tuple[Finding, ...]]:
    """Bring the signals to their base units, in the order of the time base."""
    channels: list[SampledChannel] = []
    signals = signals_of(table)
    for signal, index in zip(signals, table.signals, strict=True):
        values = table.columns[index]
        if base.keep is not None:
            values = values[base.keep]
        if base.is_reversed:
            values = values[::-1]
        values = signal.take(values)
        channels.append(SampledChannel(signal.name, signal.unit, np.ascontiguousarray(values)))
    kept, findings = judged(signals, source)
    return tuple(channel for channel in channels if channel.name in kept), findings


def judged(signals: Sequence[Signal], source: Source) -> tuple[frozenset[str], tuple[Finding, ...]]:
    """Names of the signals to keep once all their values are seen, and what to remark on them.

    Raises
    ------
    UnreadableError
        If nothing changes in any of them.
    """
    kept = [signal for signal in signals if not signal.is_empty]
    if all(signal.is_constant for signal in kept):
        raise nothing_changes(source)
    findings = tuple(finding for signal in signals for finding in signal.findings())
    return frozenset(signal.name for signal in kept), findings + unit_findings(kept)


def signals_of(table: Table) -> list[Signal]:
    """Signals of a table; a nameless one is called by its place in the file."""
    names = unique_names([label.name for label in table.labels], fallback=table.fallback)
    return [Signal.of(names[index], table.labels[index]) for index in table.signals]


def counts_rows(column: npt.NDArray[Any]) -> bool:
    """Whether a column goes up by one from row to row."""
    return bool(np.all(np.diff(column) == 1.0))


def read_step(table: Table, *, kind: str) -> Step:
    """Tell the history how the table was read."""
    return Step("read", {"reader": table.reader, "kind": kind, **table.settings})
