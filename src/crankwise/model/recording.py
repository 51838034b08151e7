"""A recording: channels over one time base, or lists of state changes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from crankwise.model.finding import Finding, Step

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class SampledChannel:
    """One signal sampled on the recording's time base.

    Attributes
    ----------
    name : str
        As written in the file; unique within the recording.
    unit : str
        ``"V"`` after conversion from mV, ``"A"``, ``""`` where unknown or a logic state.
    values : np.ndarray [shape=(n,), dtype float32 or float64]
        In ``unit``. NaN marks a missing sample, ``inf``/``-inf`` one beyond the scope's range.
    """

    name: str
    unit: str
    values: npt.NDArray[Any]


@dataclass(frozen=True, slots=True, eq=False)
class EventChannel:
    """One logic signal as its changes.

    Attributes
    ----------
    name : str
        As written in the file; unique within the recording.
    times_s : np.ndarray [shape=(m,), dtype float64]
        Strictly increasing times of the changes, in seconds.
    states : np.ndarray [shape=(m,), dtype bool]
        The state from that time on; neighbours differ.
    initial_state : bool
        The state before the first change.
    """

    name: str
    times_s: FloatArray
    states: BoolArray
    initial_state: bool


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """What the scope saved.

    Attributes
    ----------
    name : str
        File name without its folder.
    sha256 : str
        Hex digest of the original file's bytes (of the file itself, also when compressed).
    channels : tuple of SampledChannel or tuple of EventChannel
        In file order, without the time column. Never mixed.
    start_s : float
        Time of the first sample or row.
    duration_s : float
        From the first to the last sample or row.
    interval_s : float or None
        Sampling interval; ``None`` for an event list.
    time_s : np.ndarray [shape=(n,)] or None
        Only where the steps of a sampled recording are truly unequal (not merely written with
        too few digits); strictly increasing. ``None`` means ``start_s + i * interval_s``.
    findings : tuple of Finding
        What the reader had to assume or repair.
    history : tuple of Step
        How it was read.
    """

    name: str
    sha256: str
    channels: tuple[SampledChannel, ...] | tuple[EventChannel, ...]
    start_s: float
    duration_s: float
    interval_s: float | None
    time_s: FloatArray | None = None
    findings: tuple[Finding, ...] = ()
    history: tuple[Step, ...] = ()

    @property
    def is_event_list(self) -> bool:
        """Whether the file lists state changes instead of samples."""
        return self.interval_s is None

    @property
    def channel_names(self) -> tuple[str, ...]:
        """Names of the channels in file order."""
        return tuple(channel.name for channel in self.channels)

    def channel(self, name: str) -> SampledChannel | EventChannel:
        """Return the channel called ``name``; raises KeyError."""
        for channel in self.channels:
            if channel.name == name:
                return channel
        raise KeyError(name)
