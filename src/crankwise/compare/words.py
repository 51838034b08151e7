"""Shifts in the words that technicians use."""

from __future__ import annotations

from crankwise.model.comparison import Direction, Motion


def direction(shift_deg: float, uncertainty_deg: float) -> Direction:
    """Which way a cam has moved; ``unchanged`` within the uncertainty.

    >>> direction(-3.0, 0.2), direction(0.1, 0.2)
    ('advanced', 'unchanged')
    """
    if abs(shift_deg) <= uncertainty_deg:
        return "unchanged"
    return "retarded" if shift_deg > 0 else "advanced"


def signed(value_deg: float) -> str:
    """A change with its sign and one decimal; nought has no sign.

    >>> signed(-0.04), signed(3.56), signed(-2.0)
    ('0.0°', '+3.6°', '-2.0°')
    """
    text = f"{value_deg:+.1f}"
    return "0.0°" if text in {"+0.0", "-0.0"} else f"{text}°"


def shift_in_words(
    role: str, *, shift_deg: float, uncertainty_deg: float, subject: str, known_good: str
) -> str:
    """One sentence for one cam; places as counted in teeth.

    >>> shift_in_words("exhaust", shift_deg=-3.0, uncertainty_deg=0.2,
    ...                subject="1.5 after the gap", known_good="2.0 after the gap")
    'exhaust cam: 1.5 teeth after the gap, known-good 2.0; it comes 3.0° ± 0.2° earlier'
    """
    way = direction(shift_deg, uncertainty_deg)
    place = f"{role} cam: {_teeth(subject)}, known-good {_short(known_good, subject)}"
    if way == "unchanged":
        return f"{place}; no shift can be told (within ± {uncertainty_deg:.1f}°)"
    word = "later" if way == "retarded" else "earlier"
    return f"{place}; it comes {abs(shift_deg):.1f}° ± {uncertainty_deg:.1f}° {word}"


def _teeth(place: str) -> str:
    number, _, rest = place.partition(" ")
    return f"{number} teeth {rest}" if number.replace(".", "").isdigit() else place


def _short(known_good: str, subject: str) -> str:
    """Only the number where both lie on the same side of the gap."""
    number, _, side = known_good.partition(" ")
    same = side and subject.endswith(side) and number.replace(".", "").isdigit()
    return number if same else _teeth(known_good)


def motion(change_deg: float, uncertainty_deg: float, *, apart_deg: float) -> Motion:
    """Whether two cams close or open: ``apart_deg`` leads from the first to the second, -360..360.

    >>> motion(-3.6, 0.3, apart_deg=100.0), motion(-3.6, 0.3, apart_deg=-100.0)
    ('closing', 'opening')
    """
    if abs(change_deg) <= uncertainty_deg:
        return "unchanged"
    return "opening" if (change_deg > 0) == (apart_deg >= 0) else "closing"
