"""Crank edges with their teeth named: what the wheel decoder hands on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crankwise.model.edges import Direction
from crankwise.model.measurement import WheelChoice
from crankwise.model.recording import FloatArray
from crankwise.model.wheel import Wheel

IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class ToothRun:
    """An uninterrupted run of named teeth.

    Attributes
    ----------
    times_s : np.ndarray [shape=(n,)]
        Strictly increasing times of the timing edges, seconds.
    standard_uncertainty_s : np.ndarray [shape=(n,)]
    number : np.ndarray [shape=(n,), dtype int64]
        Counts teeth from a tooth 0 that is a zero; ``number % teeth_per_rev`` is the tooth.
    """

    times_s: FloatArray
    standard_uncertainty_s: FloatArray
    number: IntArray

    def angles_deg(self, wheel: Wheel) -> FloatArray:
        """Nominal cumulative crank angle of each tooth, degrees."""
        revolution, tooth = np.divmod(self.number, wheel.teeth_per_rev)
        return np.asarray(360.0 * revolution + wheel.angles_deg[tooth])

    @property
    def teeth(self) -> int:
        """Number of teeth seen."""
        return len(self.times_s)


@dataclass(frozen=True, slots=True, eq=False)
class Teeth:
    """The decoded crank signal.

    ``runs`` are in time order; between them the count of revolutions is not known.
    ``extra`` and ``missing`` count edges that fit no tooth and teeth without an edge.
    """

    wheel: Wheel
    timing_edge: Direction
    runs: tuple[ToothRun, ...]
    choice: WheelChoice
    extra: int
    missing: int
