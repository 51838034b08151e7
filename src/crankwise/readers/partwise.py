"""A table that comes in parts, handed on part by part in bounded memory.

This is :func:`crankwise.readers.table.to_recording` for what nearly every long recording is:
samples in the order of time, as the first rows show already. Whatever can't be told without all
rows at hand raises :class:`~crankwise.readers.signals.NotPlainError`, and the file is read whole.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import Any

import numpy as np
import numpy.typing as npt

from crankwise.model.finding import Finding
from crankwise.model.recording import FloatArray, Recording, SampledChannel
from crankwise.readers.contract import ReadOptions, SampleSink, Source
from crankwise.readers.events import is_event_list, is_logic
from crankwise.readers.labels import scaled
from crankwise.readers.signals import NotPlainError
from crankwise.readers.stamps import EvenStamps, NotEvenError, RoundedStamps, UnevenStamps
from crankwise.readers.table import (
    Table,
    check_base,
    check_size,
    check_stamps,
    counts_rows,
    disagreement,
    judged,
    read_step,
    signals_of,
    time_base,
    to_recording,
)
from crankwise.readers.timebase import (
    HEAD_ROWS,
    TimeBase,
    from_clock,
    from_stamps,
    goes_back,
    last_digit_s,
)
from crankwise.readers.timeunit import assumed_unit_s, scale_s

Columns = Sequence[npt.NDArray[Any]]


def pass_on(
    begin: Callable[[], Iterator[Table]], source: Source, options: ReadOptions, sink: SampleSink
) -> Recording:
    """Hand a table's samples to a sink as they come.

    Stamps are first taken for an even clock's, then for one written with few digits, then as they
    are; for each the table is read anew, and the sink begins anew.

    Parameters
    ----------
    begin : callable
        Begins to read: tables that continue each other. Labels count from the first, findings
        and settings from the last.
    source, options : Source, ReadOptions
    sink : SampleSink

    Returns
    -------
    Recording
        Its channels hold no samples any more, unless the table was short.

    Raises
    ------
    NotPlainError
        The whole table has to be at hand.
    UnreadableError
        As :func:`crankwise.readers.table.to_recording` does.
    """
    for kind in (EvenStamps, RoundedStamps, UnevenStamps):
        head, rest = _beginning(begin())
        if rest is None:
            return in_one_go(to_recording(head, source, options), sink)
        try:
            return _Pass(head, kind, source, options).run(rest, sink)
        except NotEvenError:
            continue
    raise NotPlainError


def in_one_go(recording: Recording, sink: SampleSink) -> Recording:
    """Hand all samples of a recording to a sink; a list of state changes has none."""
    if recording.interval_s is not None:
        sink.begin(recording.channel_names, interval_s=recording.interval_s)
        channels = [item for item in recording.channels if isinstance(item, SampledChannel)]
        sink.feed([channel.values for channel in channels], recording.time_s)
    return recording


def joined(tables: Sequence[Table]) -> Table:
    """One table from those that continue each other."""
    first, last = tables[0], tables[-1]
    columns = zip(*(table.columns for table in tables), strict=True)
    return replace(
        first,
        columns=tuple(np.concatenate(parts) if len(parts) > 1 else parts[0] for parts in columns),
        findings=last.findings,
        settings=last.settings,
    )


def _beginning(tables: Iterator[Table]) -> tuple[Table, Iterator[Table] | None]:
    """First rows of a table and what follows; or all of it, and nothing, if it is short.

    So many rows, however they come: what they show must not depend on the size of the parts.
    """
    taken: list[Table] = []
    rows = 0
    for table in tables:
        taken.append(table)
        rows += _rows(table)
        if rows > HEAD_ROWS:
            whole = joined(taken)
            rest = _part(whole, slice(HEAD_ROWS, None))
            return _part(whole, slice(HEAD_ROWS)), chain([rest], tables)
    if not taken:
        raise NotPlainError
    return joined(taken), None


def _part(table: Table, rows: slice) -> Table:
    return replace(table, columns=tuple(column[rows] for column in table.columns))


def _rows(table: Table) -> int:
    return len(table.columns[0]) if table.columns else 0


@dataclass(slots=True)
class _Logic:
    """Signals of two values each, which may turn out to be a list of state changes."""

    low: list[float]
    high: list[float]
    rows: int = 0
    changing: int = 0
    is_so: bool = True

    def add(self, columns: Columns) -> None:
        """Take in the next rows."""
        changed = np.zeros(len(columns[0]) - 1, dtype=np.bool_)
        for column, low, high in zip(columns, self.low, self.high, strict=True):
            self.is_so &= bool(np.all((column == low) | (column == high)))
            changed |= column[1:] != column[:-1]
        self.rows += len(columns[0])
        self.changing += int(np.count_nonzero(changed))

    def may_be_changes(self) -> bool:
        """Whether the rows would be taken for changes if all were at hand, at even steps."""
        return self.is_so and self.changing > 0.8 * self.rows


class _Pass:
    """One reading of the table from its first to its last part."""

    def __init__(
        self,
        head: Table,
        kind: type[EvenStamps | RoundedStamps | UnevenStamps],
        source: Source,
        options: ReadOptions,
    ) -> None:
        check_size(head, source)
        self._head, self._source, self._options = head, source, options
        self._used = head.signals
        self._signals = signals_of(head)
        self._rows = 0
        self._last: Columns = ()
        self._factor = 1.0
        self._base, self._findings = self._base_of_head()
        self._stamps = self._stamps_of_head(kind) if self._has_clock else None
        self._logic = self._logic_of_head()

    @property
    def _has_clock(self) -> bool:
        return self._head.time is not None and self._options.interval_s is None

    def _base_of_head(self) -> tuple[TimeBase, tuple[Finding, ...]]:
        """Time base as the first rows show it."""
        head = self._head
        if self._has_clock:
            label, times = head.labels[head.time or 0], self._times(head.columns)
            check_stamps(head, times)
            self._factor = assumed_unit_s(
                label, times, stated_s=head.interval_s, source=self._source
            )
            base = from_stamps(self._seconds(times), place=head.place)
            check_base(base, self._source)
            findings: tuple[Finding, ...] = ()
        else:
            base, findings = time_base(head, self._source, self._options)
        if base.is_reversed or base.keep is not None:
            raise NotPlainError
        return base, findings

    def _stamps_of_head(
        self, kind: type[EvenStamps | RoundedStamps | UnevenStamps]
    ) -> EvenStamps | RoundedStamps | UnevenStamps:
        if kind is UnevenStamps:
            return UnevenStamps(self._base.interval_s)
        if self._base.time_s is not None:
            raise NotEvenError
        times_s = self._seconds(self._times(self._head.columns))
        if kind is RoundedStamps:
            digit_s = last_digit_s(times_s)
            return RoundedStamps(float(times_s[0]), self._base.interval_s, digit_s=digit_s)
        return EvenStamps(float(times_s[0]), self._base.interval_s)

    def _logic_of_head(self) -> _Logic | None:
        columns = self._signal_columns(self._head.columns)
        if self._head.time is None or not all(is_logic(column) for column in columns):
            return None
        times = self._times(self._head.columns)
        if type(self._stamps) is not EvenStamps or is_event_list(times, columns):
            raise NotPlainError
        low = [float(column.min()) for column in columns]
        return _Logic(low, [float(column.max()) for column in columns])

    def run(self, rest: Iterator[Table], sink: SampleSink) -> Recording:
        """Take all parts, and say in the end what the recording was."""
        names = [signal.name for signal in self._signals]
        sink.begin(names, interval_s=self._base.interval_s)
        last = self._head
        for table in chain([self._head], rest):
            last = table
            if _rows(table):
                sink.feed(*self._taken(table.columns))
        return self._recording(last)

    def _taken(self, columns: Columns) -> tuple[Columns, FloatArray | None]:
        """Values of the next rows, and their stamps where each sample keeps its own."""
        self._check_columns_left_out(columns)
        times_s = self._stamped(columns) if self._stamps is not None else None
        if self._logic is not None:
            self._logic.add(self._signal_columns(columns))
        values = [
            signal.take(column)
            for signal, column in zip(self._signals, self._signal_columns(columns), strict=True)
        ]
        self._rows += len(columns[0])
        self._last = [column[-1:] for column in columns]
        return values, times_s

    def _stamped(self, columns: Columns) -> FloatArray | None:
        """Take the next stamps in."""
        times = self._times(columns)
        check_stamps(self._head, times, first_row=self._rows)
        times_s = self._seconds(times)
        if not isinstance(self._stamps, UnevenStamps):
            assert self._stamps is not None  # noqa: S101  the caller asked
            self._stamps.add(times_s)
            return None
        before_s = self._seconds(self._times(self._last)) if self._last else times_s[:0]
        steps = np.diff(np.concatenate((before_s, times_s)))
        if np.any(steps < 0.0):
            at = int(np.argmax(steps < 0.0)) + 1 - len(before_s)
            known = np.concatenate((before_s, times_s))[at - 1 + len(before_s) :]
            row = self._head.place(self._rows + at)
            raise goes_back(row, float(known[0]), float(known[1]))
        if np.any(steps == 0.0):
            raise NotPlainError
        self._stamps.add(times_s)
        return times_s

    def _check_columns_left_out(self, columns: Columns) -> None:
        """Columns that count rows or repeat the time must go on doing so."""
        for index, column in enumerate(columns):
            if index in self._used or index == self._head.time:
                continue
            if self._head.labels[index].is_index:
                before = [last[index] for last in [self._last] if last]
                goes_on = counts_rows(np.concatenate((*before, column)))
            else:
                times = self._times(columns)
                goes_on = np.allclose(times, column, rtol=1e-6, atol=0.0, equal_nan=True)
            if not goes_on:
                raise NotPlainError

    def _recording(self, last: Table) -> Recording:
        """What the recording was, without its samples."""
        if self._logic is not None and self._logic.may_be_changes():
            raise NotPlainError
        base, time_findings = self._whole_base()
        kept, signal_findings = judged(self._signals, self._source)
        channels = tuple(
            SampledChannel(signal.name, signal.unit, np.empty(0, dtype=np.float32))
            for signal in self._signals
            if signal.name in kept
        )
        return Recording(
            name=self._source.name,
            sha256=self._source.sha256(),
            channels=channels,
            start_s=base.start_s,
            duration_s=base.duration_s,
            interval_s=base.interval_s,
            findings=last.findings + time_findings + base.findings + signal_findings,
            history=(read_step(replace(self._head, settings=last.settings), kind="samples"),),
        )

    def _whole_base(self) -> tuple[TimeBase, tuple[Finding, ...]]:
        """Time base of all samples."""
        stamps, head = self._stamps, self._head
        if stamps is None:
            duration_s = (self._rows - 1) * self._base.interval_s
            return replace(self._base, duration_s=duration_s), self._findings
        ends = np.concatenate((self._times(head.columns)[:1], self._times(self._last)))
        factor, findings = scale_s(
            head.labels[head.time or 0],
            ends,
            stated_s=head.interval_s,
            source=self._source,
            count=self._rows,
        )
        if factor != self._factor:
            raise NotPlainError
        if isinstance(stamps, UnevenStamps):
            return stamps.base(), findings
        base = from_clock(stamps)
        if base is None:
            raise NotEvenError
        return base, findings + disagreement(head.interval_s, base.interval_s, "the time column")

    def _times(self, columns: Columns) -> FloatArray:
        return np.asarray(columns[self._head.time or 0], dtype=np.float64)

    def _seconds(self, times: FloatArray) -> FloatArray:
        return times if self._factor == 1.0 else scaled(times, self._factor)

    def _signal_columns(self, columns: Columns) -> Columns:
        return [columns[index] for index in self._used]
