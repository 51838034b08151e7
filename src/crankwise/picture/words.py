"""How a measured number is written: never without its uncertainty, never with false digits.

What is ready to be read is in the language spoken.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from crankwise.language import told
from crankwise.units import CYCLE_DEG

if TYPE_CHECKING:
    from crankwise.model.measurement import SpeedRange

_MOST_DECIMALS = 4


def decimals_for(uncertainty: float) -> int:
    """Decimals to write, from 1 to 4, for the first digits of the uncertainty to show.

    JCGM 100:2008, 7.2.6, advises at most two significant digits.

    >>> decimals_for(0.35), decimals_for(0.06), decimals_for(2.0), decimals_for(0.004)
    (2, 2, 1, 3)
    """
    if uncertainty >= 1:
        return 1
    if uncertainty <= 0:
        return _MOST_DECIMALS
    return min(max(2, -math.floor(math.log10(uncertainty))), _MOST_DECIMALS)


def rounded_up(uncertainty: float, *, decimals: int) -> str:
    """Round an uncertainty up, so that what is shown never promises more than was measured.

    >>> rounded_up(0.0612, decimals=2), rounded_up(0.06, decimals=2)
    ('0.07', '0.06')
    """
    scale = 10**decimals
    return f"{math.ceil(round(uncertainty * scale, 6)) / scale:.{decimals}f}"


def shown_angle(angle_deg: float, *, decimals: int) -> str:
    """Round an angle of the cycle without ever showing 720, which is 0.

    >>> shown_angle(719.998, decimals=2)
    '0.00'
    """
    return f"{round(angle_deg, decimals) % CYCLE_DEG:.{decimals}f}"


def angle_words(angle_deg: float, uncertainty_deg: float) -> str:
    """Write an angle with its expanded uncertainty.

    >>> angle_words(150.0213, 0.06)
    '150.02° ± 0.06°'
    """
    decimals = decimals_for(uncertainty_deg)
    margin = rounded_up(uncertainty_deg, decimals=decimals)
    return told(f"{shown_angle(angle_deg, decimals=decimals)}° ± {margin}°")


def speed_words(speed_rpm: SpeedRange) -> str:
    """Write the speed with the range it moved in, which is far wider than its uncertainty."""
    return told(f"{speed_rpm.mean:.0f} rpm ({speed_rpm.min:.0f} to {speed_rpm.max:.0f})")


def shift_words(shift_deg: float, uncertainty_deg: float) -> str:
    """Write a shift with its sign and its expanded uncertainty; later is positive.

    >>> shift_words(4.213, 0.25), shift_words(-0.001, 0.1)
    ('+4.21° ± 0.25°', '0.00° ± 0.10°')
    """
    decimals = decimals_for(uncertainty_deg)
    margin = rounded_up(uncertainty_deg, decimals=decimals)
    return told(f"{signed(shift_deg, decimals=decimals)}° ± {margin}°")


def bounds_words(low_deg: float, high_deg: float) -> str:
    """Write between which shifts something lies.

    >>> bounds_words(-3.14, 3.0)
    '-3.1° to +3.0°'
    """
    return told(f"{signed(low_deg, decimals=1)}° to {signed(high_deg, decimals=1)}°")


def signed(value: float, *, decimals: int) -> str:
    """Write a number with its sign, and zero without one.

    >>> signed(0.5, decimals=1), signed(-0.04, decimals=1)
    ('+0.5', '0.0')
    """
    shown = f"{value:+.{decimals}f}"
    return shown.lstrip("+-") if float(shown) == 0.0 else shown
