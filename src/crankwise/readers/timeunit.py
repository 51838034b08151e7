"""The unit of a time column: as written, as an interval stated beside it proves, or refused."""

from __future__ import annotations

import numpy as np

from crankwise.errors import UnreadableError
from crankwise.model.finding import Finding
from crankwise.model.recording import FloatArray
from crankwise.readers.contract import Source
from crankwise.readers.labels import Label, time_unit_s

SHORTEST_S, LONGEST_S = 0.01, 3600.0
"""A recording of a turning engine lasts between these."""

FINEST_S = 1e-9
"""No scope steps finer than this in a recording that long."""


def scale_s(
    label: Label,
    times: FloatArray,
    *,
    stated_s: float | None,
    source: Source,
    is_events: bool = False,
    count: int | None = None,
) -> tuple[float, tuple[Finding, ...]]:
    """Seconds in one unit of a time column.

    Parameters
    ----------
    label : Label
        The column's label.
    times : np.ndarray [shape=(n,)]
        Its finite numbers as written.
    stated_s : float or None
        Sampling interval stated elsewhere in the file, seconds.
    source : Source
        For messages.
    is_events : bool
        Whether the rows are state changes instead of samples.
    count : int, optional
        How many numbers there are where ``times`` are only the first and the last of them.

    Returns
    -------
    factor : float
    findings : tuple of Finding

    Raises
    ------
    UnreadableError
        If the unit is not one of time, or none is written and seconds would be a guess.
    """
    count = count or len(times)
    if label.unit is not None:
        factor = time_unit_s(label.unit)
        if factor is None:
            raise UnreadableError(
                f"{source.name}: the time column '{label.name}' has the unit '{label.unit}', "
                "which is not a unit of time known here. Write s, ms, µs or ns in its header, or "
                "give the sampling interval with --interval, in seconds"
            )
        return factor, ()
    if stated_s is not None:
        proved = _proved(times, count, stated_s)
        if proved is not None:
            text = (
                f"The time column has no unit; the sampling interval of {stated_s:.6g} s stated "
                "in the file shows it."
            )
            return proved, (Finding("time-unit-proved", "note", text),)
    if not _could_be_seconds(times, count, is_events=is_events):
        name = f"the time column '{label.name}'" if label.name else "the first column, the time,"
        asked = "the length of one count" if is_events else "the sampling interval"
        raise UnreadableError(
            f"{source.name}: {name} has no unit, and its numbers are no likely seconds "
            f"({times[0]:.6g} to {times[-1]:.6g}). Write the unit in its header, for example "
            f"'Time [ms]', or give {asked} with --interval, in seconds"
        )
    text = (
        "The time column has no unit; seconds were assumed. Angles don't depend on it, "
        "but speeds do: check that the speed shown is right."
    )
    return 1.0, (Finding("time-unit-assumed", "caution", text),)


def _proved(times: FloatArray, count: int, stated_s: float) -> float | None:
    """Return the unit in which the steps equal the stated interval, if one does."""
    step = abs(float(times[-1] - times[0])) / (count - 1)
    for factor in (1.0, 1e-3, 1e-6, 1e-9):
        if abs(step * factor - stated_s) <= 0.01 * stated_s:
            return factor
    return None


def _could_be_seconds(times: FloatArray, count: int, *, is_events: bool) -> bool:
    """Whether the numbers, taken as seconds, fit a recording of a turning engine.

    Samples 0.5 ms apart or more over minutes, and changes 0.2 s apart, would be too slow to
    show teeth: such numbers are rather milliseconds.
    """
    duration_s = abs(float(times[-1] - times[0]))
    if not SHORTEST_S <= duration_s <= LONGEST_S:
        return False
    if is_events:
        return float(np.median(np.abs(np.diff(times)))) <= 0.2
    mean_s = duration_s / (count - 1)
    return FINEST_S <= mean_s <= (2e-3 if duration_s <= 300.0 else 5e-4)


def assumed_unit_s(
    label: Label, times: FloatArray, *, stated_s: float | None, source: Source
) -> float:
    """Seconds in one unit while only the first times are known; :func:`scale_s` judges it.

    Raises
    ------
    UnreadableError
        If the unit is not one of time.
    """
    if label.unit is not None:
        return scale_s(label, times, stated_s=stated_s, source=source)[0]
    proved = _proved(times, len(times), stated_s) if stated_s is not None else None
    return proved or 1.0
