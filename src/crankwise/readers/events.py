"""Tables with a row only where a state changes: recognise them, and take them apart."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from crankwise.errors import UnreadableError
from crankwise.model.finding import Finding
from crankwise.model.recording import BoolArray, EventChannel, FloatArray
from crankwise.readers.contract import ReadOptions, Source
from crankwise.readers.timebase import reversed_finding

Columns = Sequence[npt.NDArray[Any]]


def is_event_list(times: FloatArray, columns: Columns) -> bool:
    """Whether rows stand where states change, instead of at a sampling clock's ticks.

    Every column must have two values at most. Then the rows are changes if nearly all of them
    change something; if most do and the steps are uneven; or if the steps are wild.

    Parameters
    ----------
    times : np.ndarray [shape=(n,)]
        Time stamps in any unit.
    columns : sequence of np.ndarray [shape=(n,)]
        The channels.

    Examples
    --------
    >>> is_event_list(np.array([0.0, 1.5, 1.6, 3.0]), [np.array([0.0, 1.0, 0.0, 1.0])])
    True
    >>> is_event_list(np.array([0.0, 1.0, 2.0, 3.0]), [np.array([0.0, 2.4, 4.9, 5.0])])
    False
    """
    if len(times) < 2 or not all(is_logic(column) for column in columns):
        return False
    changed = np.zeros(len(times) - 1, dtype=bool)
    for column in columns:
        changed |= column[1:] != column[:-1]
    share_changing = float(np.mean(changed))
    steps = np.abs(np.diff(times))
    typical = float(np.median(steps))
    share_even = float(np.mean(np.abs(steps - typical) <= 0.2 * typical))
    every_row = share_changing > 0.9 and (len(times) >= 16 or share_even < 0.9)
    return every_row or (share_even < 0.9 and share_changing > 0.5) or share_even < 0.5


def is_logic(column: npt.NDArray[Any]) -> bool:
    """Whether a column has at most two values and none missing; quick on analogue signals."""
    if column.dtype == bool:
        return True
    if len(set(column[:200].tolist())) > 2:
        return False
    low, high = column.min(), column.max()
    return bool(np.isfinite(low) and np.isfinite(high)) and bool(
        np.all((column == low) | (column == high))
    )


def event_channels(
    times_s: FloatArray,
    names: Sequence[str],
    columns: Columns,
    *,
    place: Callable[[int], str],
) -> tuple[FloatArray, tuple[EventChannel, ...], tuple[Finding, ...]]:
    """Give each channel its own changes.

    Rows running backwards are turned. Of rows at the same time the last one counts.

    Parameters
    ----------
    times_s : np.ndarray [shape=(n,)]
        Finite stamps in file order, seconds.
    names, columns : sequence
        The channels; each column has two values at most.
    place : callable
        File and place of a row by its index, for messages.

    Returns
    -------
    times_s : np.ndarray [shape=(m,)]
        Strictly increasing stamps of the rows that count.
    channels : tuple of EventChannel
    findings : tuple of Finding

    Raises
    ------
    UnreadableError
        If time goes back within the list.
    """
    findings: list[Finding] = []
    order = np.arange(len(times_s))
    if times_s[-1] < times_s[0]:
        order = order[::-1]
        findings.append(reversed_finding())
    ordered = times_s[order]
    back = np.flatnonzero(np.diff(ordered) < 0.0)
    if len(back):
        at = int(back[0]) + 1
        raise UnreadableError(
            f"{place(int(order[at]))}: time goes back from {ordered[at - 1]:.9g} s to "
            f"{ordered[at]:.9g} s in a list of state changes. Put the rows in order"
        )
    last_of_time = np.concatenate((np.diff(ordered) > 0.0, [True]))
    repeats = len(ordered) - int(np.count_nonzero(last_of_time))
    if repeats:
        text = f"{repeats} row(s) stand at the time of another; the last of each time counts."
        findings.append(Finding("time-repeated", "note", text))
        order, ordered = order[last_of_time], ordered[last_of_time]
    channels = tuple(
        changes(name, ordered, states(column)[order])
        for name, column in zip(names, columns, strict=True)
    )
    return ordered, channels, tuple(findings)


def states(column: npt.NDArray[Any]) -> BoolArray:
    """States of a two-valued column; one that never changes is high if it isn't 0."""
    if column.dtype == bool:
        return column
    low, high = float(column.min()), float(column.max())
    threshold = (low + high) / 2.0 if high > low else 0.0
    return np.asarray(column > threshold)


def changes(name: str, times_s: FloatArray, state: BoolArray) -> EventChannel:
    """Return the rows at which one channel differs from the row before.

    >>> channel = changes("crank", np.array([0.0, 1.0, 2.0]), np.array([True, True, False]))
    >>> channel.times_s, channel.states, channel.initial_state
    (array([2.]), array([False]), True)
    """
    at = np.flatnonzero(state[1:] != state[:-1]) + 1
    return EventChannel(name, times_s[at].astype(np.float64), state[at], bool(state[0]))


def interval_unused(options: ReadOptions) -> tuple[Finding, ...]:
    """Remark that an interval the caller gave has no use in a list of state changes."""
    if options.interval_s is None:
        return ()
    text = "The file lists state changes with their times; the interval given was not used."
    return (Finding("interval-unused", "note", text),)


def nothing_changes(source: Source) -> UnreadableError:
    """Refusal of a recording of a standing engine, or of unconnected leads."""
    return UnreadableError(
        f"{source.name}: nothing changes in any channel. Check the hook-up and that the engine "
        "was turning while recording"
    )
