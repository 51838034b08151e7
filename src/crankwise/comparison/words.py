"""Shifts in the words that technicians use."""

from __future__ import annotations

import math

from crankwise.model.comparison import Direction, Motion
from crankwise.roles.naming import cam_name


def direction(shift_deg: float, uncertainty_deg: float) -> Direction:
    """Which way a cam has moved; ``unchanged`` within the uncertainty.

    >>> direction(-3.0, 0.2), direction(0.1, 0.2)
    ('advanced', 'unchanged')
    """
    if abs(shift_deg) <= uncertainty_deg:
        return "unchanged"
    return "retarded" if shift_deg > 0 else "advanced"


def signed(value_deg: float, *, decimals: int = 1) -> str:
    """A change with its sign; nought has no sign.

    >>> signed(-0.04), signed(3.56), signed(-2.0)
    ('0.0°', '+3.6°', '-2.0°')
    """
    text = f"{value_deg:+.{decimals}f}"
    return f"{text[1:]}°" if float(text) == 0.0 else f"{text}°"


def with_uncertainty(value_deg: float, uncertainty_deg: float, *, sign: bool = True) -> str:
    """A change and its expanded uncertainty, both to the same decimals.

    Two decimals where the uncertainty is below a tenth, so that it is never written as nought; it
    is rounded up, so that what is written is never less than what is meant (GUM 7.2.6).

    >>> with_uncertainty(-3.04, 0.21), with_uncertainty(0.036, 0.042, sign=False)
    ('-3.0° ± 0.3°', '0.04° ± 0.05°')
    """
    decimals = 1 if uncertainty_deg >= 0.095 else 2
    value = signed(value_deg, decimals=decimals) if sign else f"{abs(value_deg):.{decimals}f}°"
    scale = 10.0**decimals
    shown = math.ceil(uncertainty_deg * scale - 1e-9) / scale
    return f"{value} ± {shown:.{decimals}f}°"


def shift_in_words(
    role: str, *, shift_deg: float, uncertainty_deg: float, subject: str, known_good: str
) -> str:
    """One sentence for one cam; places as counted in teeth.

    >>> shift_in_words("exhaust", shift_deg=-3.0, uncertainty_deg=0.2,
    ...                subject="1.5 after the gap", known_good="2.0 after the gap")
    'exhaust cam: 1.5 teeth after the gap, known-good 2.0; it comes 3.0° ± 0.2° earlier'
    """
    way = direction(shift_deg, uncertainty_deg)
    place = f"{cam_name(role)}: {_teeth(subject)}, known-good {_short(known_good, subject)}"
    if way == "unchanged":
        amount = with_uncertainty(shift_deg, uncertainty_deg)
        return f"{place}; no shift can be told ({amount})"
    amount = with_uncertainty(shift_deg, uncertainty_deg, sign=False)
    return f"{place}; it comes {amount} {'later' if way == 'retarded' else 'earlier'}"


def separation_in_words(
    one: str, other: str, *, motion: Motion, change_deg: float, uncertainty_deg: float
) -> str:
    """One sentence for the angle between two cams.

    >>> separation_in_words("intake", "exhaust", motion="opening", change_deg=-3.6,
    ...                     uncertainty_deg=0.3)
    'intake and exhaust cam open by 3.6° ± 0.3°'
    """
    both = both_cams(one, other)
    amount = with_uncertainty(change_deg, uncertainty_deg, sign=False)
    if motion == "unchanged":
        return f"{both} keep their distance ({with_uncertainty(change_deg, uncertainty_deg)})"
    if motion == "changed":
        return f"the angle between {both} changed by {amount}"
    return f"{both} {'open' if motion == 'opening' else 'close'} by {amount}"


def both_cams(one: str, other: str) -> str:
    """How two cams are called in a sentence.

    >>> both_cams("exhaust", "intake")
    'exhaust and intake cam'
    """
    return f"{one} and {cam_name(other)}"


def _teeth(place: str) -> str:
    number, _, rest = place.partition(" ")
    return f"{number} teeth {rest}" if number.replace(".", "").isdigit() else place


def _short(known_good: str, subject: str) -> str:
    """Only the number where both lie on the same side of the gap."""
    number, _, side = known_good.partition(" ")
    same = side and subject.endswith(side) and number.replace(".", "").isdigit()
    return number if same else _teeth(known_good)


def motion(change_deg: float, uncertainty_deg: float, *, apart_deg: float | None) -> Motion:
    """Whether two cams close or open.

    ``apart_deg`` leads from the first to the second, -180..180; None where the patterns don't
    tell which way round is the shorter.

    >>> motion(-3.6, 0.3, apart_deg=100.0), motion(-3.6, 0.3, apart_deg=-100.0)
    ('closing', 'opening')
    """
    if abs(change_deg) <= uncertainty_deg:
        return "unchanged"
    if apart_deg is None:
        return "changed"
    return "opening" if (change_deg > 0) == (apart_deg >= 0) else "closing"
