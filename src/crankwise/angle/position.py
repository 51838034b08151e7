"""Where an angle lies, counted in teeth from the gap as a technician counts."""

from __future__ import annotations

from crankwise.units import REVOLUTION_DEG


def teeth_in_words(angle_deg: float, *, pitch_deg: float, gap_deg: float, has_gap: bool) -> str:
    """Place of an angle in teeth.

    The first tooth after the gap is tooth 1 after it, the last one before the gap is tooth 1
    before it; between teeth the count goes on in fractions. Inside the gap the distance to the
    first tooth after it is given. Wheels without a gap are counted on from the zero tooth.

    Parameters
    ----------
    angle_deg : float
        Crank angle after the zero, degrees.
    pitch_deg, gap_deg : float
        Regular pitch, and angle from the last tooth before the gap to the zero.
    has_gap : bool
        Whether teeth are counted from a gap.

    Examples
    --------
    The 17th tooth after the gap lies 96 degrees after the first one (Hyundai/Kia service
    information, page 8589470):

    >>> teeth_in_words(96.0, pitch_deg=6.0, gap_deg=18.0, has_gap=True)
    '17.0 after the gap'
    >>> teeth_in_words(318.0, pitch_deg=6.0, gap_deg=18.0, has_gap=True)
    '5.0 before the gap'
    >>> teeth_in_words(351.0, pitch_deg=6.0, gap_deg=18.0, has_gap=True)
    'in the gap, 1.5 before its end'
    """
    turn = angle_deg % REVOLUTION_DEG
    if not has_gap:
        return f"tooth {1.0 + turn / pitch_deg:.1f} from the zero tooth"
    last_deg = REVOLUTION_DEG - gap_deg
    half_rounding = 0.05 * pitch_deg
    if turn >= REVOLUTION_DEG - half_rounding:
        return "1.0 after the gap"
    if turn > last_deg + half_rounding:
        return f"in the gap, {(REVOLUTION_DEG - turn) / pitch_deg:.1f} before its end"
    if turn <= last_deg / 2:
        return f"{1.0 + turn / pitch_deg:.1f} after the gap"
    return f"{1.0 + max(last_deg - turn, 0.0) / pitch_deg:.1f} before the gap"


def from_gap_deg(angle_deg: float) -> float:
    """How far a place lies from the zero, which comes once a revolution, either way.

    >>> from_gap_deg(350.0), from_gap_deg(375.0)
    (10.0, 15.0)
    """
    turn = angle_deg % REVOLUTION_DEG
    return min(turn, REVOLUTION_DEG - turn)
