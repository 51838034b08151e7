"""The mark each fault leaves on the cams, as columns of a linear model.

The shifts of the cams under one fault are ``matrix @ sizes``: each column says what one unit of
one free size does to every cam, and each size has the range it may lie in. Nothing here is
probability; priors over the faults belong to the policy.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from crankwise.model.recording import FloatArray

FaultCode = Literal[
    "elongated",
    "guide-worn",
    "slack-side",
    "jumped",
    "phaser-off-stop",
    "crank-target",
    "cam-target",
]
Unit = Literal["%", "mm", "teeth", "crank deg"]


@dataclass(frozen=True, slots=True)
class FreeSize:
    """One free size of a fault.

    Attributes
    ----------
    name : str
        What grows, in words.
    unit : {"%", "mm", "teeth", "crank deg"}
    shift_deg : Mapping of str to float
        Shift of each cam for one unit, crank degrees, positive is later; cams not named stay.
    low, high : float
        Range of the size. ``low`` 0 is the sign constraint: it only grows.
    typical : float
        Scale of its prior: the standard deviation about 0, or the scale of a half-normal where
        ``low`` or ``high`` is 0.
    least : float
        Sizes closer to 0 than this don't occur.
    whole : bool
        Whether only whole numbers occur.
    """

    name: str
    unit: Unit
    shift_deg: Mapping[str, float]
    low: float
    high: float
    typical: float
    least: float = 0.0
    whole: bool = False

    def steps(self) -> tuple[float, ...]:
        """Every size there can be where only whole numbers occur, else empty."""
        if not self.whole:
            return ()
        numbers = range(int(np.ceil(self.low)), int(np.floor(self.high)) + 1)
        return tuple(float(n) for n in numbers if abs(n) >= self.least)

    def allows(self, size: float) -> bool:
        """Whether the fault may have this size."""
        in_range = self.low <= size <= self.high and abs(size) >= self.least
        return in_range and (not self.whole or size in self.steps())


@dataclass(frozen=True, slots=True)
class Signature:
    """What one fault does to the cams.

    Attributes
    ----------
    fault : str
        Kind of fault, kebab-case.
    key : str
        The fault and where it is; unique among the signatures of one engine and the same for
        the same engine file.
    name : str
        In words, for people.
    sizes : tuple of FreeSize
        Empty for a fault that shifts nothing and only lets the cams scatter.
    scatter_factor : Mapping of str to float
        Hint: by how much the cycle-to-cycle scatter of a cam typically grows; 1 where not named.
    is_moving : bool
        Whether the shift may change while recording.
    about : str
        Why the cams move so, in a sentence.
    """

    fault: FaultCode
    key: str
    name: str
    sizes: tuple[FreeSize, ...]
    about: str
    scatter_factor: Mapping[str, float] = field(default_factory=dict)
    is_moving: bool = False

    def matrix(self, roles: Sequence[str]) -> FloatArray:
        """Shift of each cam for one unit of each size.

        Parameters
        ----------
        roles : sequence of str
            Cams that were measured, in the caller's order.

        Returns
        -------
        np.ndarray [shape=(len(roles), len(sizes))]
            Crank degrees for one unit.
        """
        rows = [[size.shift_deg.get(role, 0.0) for size in self.sizes] for role in roles]
        return np.array(rows, dtype=np.float64).reshape(len(roles), len(self.sizes))

    def shifts_deg(self, roles: Sequence[str], *, sizes: Sequence[float]) -> dict[str, float]:
        """Shift of each cam at given sizes, crank degrees; positive is later.

        ``sizes`` are in the order and the units of the signature's own.
        """
        turned = self.matrix(roles) @ np.asarray(sizes, dtype=np.float64)
        return dict(zip(roles, (float(value) for value in turned), strict=True))

    @property
    def never_advances(self) -> bool:
        """Whether no size makes a cam earlier, as with everything that lengthens a strand."""
        return all(
            size.low >= 0 and all(shift >= 0 for shift in size.shift_deg.values())
            for size in self.sizes
        )
