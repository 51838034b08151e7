"""A toothed target on the crankshaft, as the spacing of its timing edges."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from crankwise.model.recording import FloatArray


@dataclass(frozen=True)
class Wheel:
    """Spacing of the timing edges over one crank revolution.

    Attributes
    ----------
    name : str
        Trade notation where there is one: ``60-2`` = 60 pitches, 2 missing.
    intervals_deg : tuple of float
        Angle from each timing edge to the next, from the zero on, closing at 360. The last
        interval is the gap, so the zero is the first tooth after it.
    pitch_deg : float
        Regular tooth pitch, by which a technician counts.
    has_gap : bool
        Whether the last interval is a gap that can be seen; else counting starts at a chosen
        tooth.
    width_deg : tuple of float, optional
        High part of each tooth, for wheels whose code is in the widths (empty otherwise).
    found_in : str
        Where such wheels are met, in general words.
    source : str
        Where the geometry was read, or ``from memory``.
    learned : bool
        Whether it was learned from the recording instead of the catalogue.
    """

    name: str
    intervals_deg: tuple[float, ...]
    pitch_deg: float
    has_gap: bool = True
    width_deg: tuple[float, ...] = ()
    found_in: str = ""
    source: str = ""
    learned: bool = False

    @property
    def teeth_per_rev(self) -> int:
        """Real teeth (timing edges) in one crank revolution."""
        return len(self.intervals_deg)

    @cached_property
    def angles_deg(self) -> FloatArray:
        """Angle of each timing edge after the zero, shape (teeth_per_rev,), degrees."""
        return np.concatenate(([0.0], np.cumsum(self.intervals_deg)[:-1]))

    @cached_property
    def repeats(self) -> int:
        """How often the pattern repeats within one revolution (1 = unique zero)."""
        steps = np.asarray(self.intervals_deg)
        widths = np.asarray(self.width_deg or (0.0,) * len(steps))
        for shift in range(1, len(steps)):
            if len(steps) % shift == 0 and (
                np.allclose(np.roll(steps, shift), steps, atol=1e-6)
                and np.allclose(np.roll(widths, shift), widths, atol=1e-6)
            ):
                return len(steps) // shift
        return 1
