"""What a screen shows of a recording: a stretch of time or of the cycle, summed up in columns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crankwise.levels.scale import Steps
from crankwise.model.recording import BoolArray, FloatArray

Floats = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class SignalStretch:
    """One channel over a stretch of time, in one of two ways.

    Attributes
    ----------
    low, high : np.ndarray [shape=(columns,)]
        Least and greatest step in each column; ``low`` above ``high`` where nothing is known.
        Empty if there are few enough points to draw each.
    times_s, steps : np.ndarray [shape=(points,)]
        The points: samples, or the changes of a logic signal with the state from then on.
    """

    low: Steps
    high: Steps
    times_s: FloatArray
    steps: Steps


@dataclass(frozen=True, slots=True, eq=False)
class SpeedStretch:
    """Speed over a stretch of time: least and greatest, rpm, at or around each time."""

    times_s: FloatArray
    low_rpm: Floats
    high_rpm: Floats


@dataclass(frozen=True, slots=True, eq=False)
class TeethStretch:
    """Timing edges of the crank in a stretch of time; empty if there are too many to draw.

    ``turned_deg`` is the nominal angle of each tooth after the zero, 0 to 360.
    """

    times_s: FloatArray
    turned_deg: Floats


@dataclass(frozen=True, slots=True, eq=False)
class EdgesStretch:
    """Edges of one cam in a stretch; empty if there are too many to draw.

    Attributes
    ----------
    times_s, angle_deg : np.ndarray [shape=(n,)]
        Time, and angle over the cycle (0 to 720).
    cycle : np.ndarray [shape=(n,), dtype int32]
        Counts cycles from the first one recorded.
    rising : np.ndarray [shape=(n,), dtype bool]
    edge : np.ndarray [shape=(n,), dtype int16]
        Which edge of the measured pattern each one is; -1 for none.
    """

    times_s: FloatArray
    angle_deg: Floats
    cycle: npt.NDArray[np.int32]
    rising: BoolArray
    edge: npt.NDArray[np.int16]


@dataclass(frozen=True, slots=True, eq=False)
class TimeWindow:
    """A stretch of time.

    Attributes
    ----------
    from_s, to_s : float
        Ends of the stretch, brought inside the recording.
    signals : tuple of SignalStretch
        In the order of the channels.
    angle_deg : np.ndarray [shape=(n,)]
        Crank angle, onward over the recording, at even steps from ``from_s`` to ``to_s``; NaN
        where the crank was not followed.
    speed : SpeedStretch
    teeth : TeethStretch
    cams : tuple of EdgesStretch
        In the order of the measurement.
    """

    from_s: float
    to_s: float
    signals: tuple[SignalStretch, ...]
    angle_deg: FloatArray
    speed: SpeedStretch
    teeth: TeethStretch
    cams: tuple[EdgesStretch, ...]


@dataclass(frozen=True, slots=True, eq=False)
class AngleWindow:
    """A stretch of the cycle.

    Attributes
    ----------
    from_deg, to_deg : float
        Ends of the stretch, out to the next whole bin.
    bands : np.ndarray [shape=(channels, 4, columns), dtype int16]
        For each channel the least and greatest step of all cycles, and the inner band's both
        ends, in each column; least above greatest where nothing is known.
    cycle : np.ndarray [shape=(4, 721), dtype float32]
        The mean cycle at each whole degree: time after the zero (s), mean, least and greatest
        speed (rpm); NaN where not known.
    cams : tuple of EdgesStretch
        Edges of single cycles, evenly thinned if there are many.
    """

    from_deg: float
    to_deg: float
    bands: npt.NDArray[np.int16]
    cycle: Floats
    cams: tuple[EdgesStretch, ...]
