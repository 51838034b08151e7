"""Edges of one channel, with what is known of their quality."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from crankwise.model.recording import BoolArray, FloatArray

Direction = Literal["rising", "falling"]
SensorKind = Literal["hall", "variable-reluctance", "logic"]


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """State changes of one channel at sub-sample times.

    Attributes
    ----------
    channel : str
        Name of the channel.
    sensor : {"hall", "variable-reluctance", "logic"}
        Told from the signal; ``hall`` stands for any sensor with two levels.
    times_s : np.ndarray [shape=(n,)]
        Strictly increasing, seconds on the recording's time base.
    rising : np.ndarray [shape=(n,), dtype bool]
        Direction of each edge; neighbours differ.
    standard_uncertainty_s : np.ndarray [shape=(n,)]
        Standard uncertainty of each time from sampling and noise.
    low, high : float
        Typical low and high level (hall) or peaks (variable reluctance), in the channel's unit.
    noise : float
        Standard deviation of the noise, in the channel's unit; 0 for logic.
    clipped_fraction : float
        Share of samples at a flat extreme that a scope's range limit would make (0 to 1).
    rejected : Mapping of str to int
        Edges taken out, by reason: ``glitch``, ``dropout``, ``too-fast``.
    dead_time_s : float
        Total time for which no samples were usable (NaN).
    height : np.ndarray [shape=(n,)] or empty
        How far the signal went beyond its middle after each edge; empty for logic.
    steepness : np.ndarray [shape=(n,)] or empty
        Slope of a coil's signal at each edge, channel units a sample; empty for other sensors.
    jumps : int
        How often a coil's signal goes over two fifths of its swing within two samples; 0 for other
        sensors.
    codes : int
        Fewest different values that the signal had where it was looked over; 0 where unknown.
    """

    channel: str
    sensor: SensorKind
    times_s: FloatArray
    rising: BoolArray
    standard_uncertainty_s: FloatArray
    low: float
    high: float
    noise: float
    clipped_fraction: float
    rejected: Mapping[str, int]
    dead_time_s: float = 0.0
    height: FloatArray = field(default_factory=lambda: np.empty(0))
    steepness: FloatArray = field(default_factory=lambda: np.empty(0))
    jumps: int = 0
    codes: int = 0

    def of(self, direction: Direction) -> FloatArray:
        """Times of the edges in one direction, seconds."""
        return self.times_s[self.rising if direction == "rising" else ~self.rising]
