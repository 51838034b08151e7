"""Geometry of chain and belt drives: diameters, shift for a length, tooth steps, elongation.

A strand that grows by ``elongation_mm`` lets the sprocket it pulls fall behind by that length at
its pitch radius (geometry). Only the free strand counts: to first order the links that lie on
the teeth ride higher when worn and turn nothing. The strand's elastic stretch and worn teeth are
left out.
"""

from __future__ import annotations

from math import acos, cos, degrees, pi, radians, sin
from typing import TYPE_CHECKING

from crankwise.units import CYCLE_DEG, REVOLUTION_DEG, cam_deg_to_crank_deg, crank_deg_to_cam_deg

if TYPE_CHECKING:
    from crankwise.model.engine import DriveKind

GENERAL_LIMIT_PERCENT = 3.0
"""Wear limit of roller chains in general; ``limits.toml``, entry ``roller-chain-general``."""


def pitch_diameter_mm(*, pitch_mm: float, teeth: int) -> float:
    """Pitch diameter of a chain sprocket: the chain lies on it as a polygon, d = p / sin(π/z).

    Source: ISO 606:2015 annex A.

    >>> round(pitch_diameter_mm(pitch_mm=25.4, teeth=18), 2)
    146.27
    """
    return pitch_mm / sin(pi / teeth)


def belt_pitch_diameter_mm(*, pitch_mm: float, teeth: int) -> float:
    """Pitch diameter of a toothed pulley: the belt's cord lies on it as a circle, d = p·z/π.

    >>> round(belt_pitch_diameter_mm(pitch_mm=8.0, teeth=36), 3)
    91.673
    """
    return pitch_mm * teeth / pi


def pitch_radius_mm(*, kind: DriveKind, pitch_mm: float, teeth: int) -> float:
    """Pitch radius of a sprocket or pulley, mm."""
    diameter = pitch_diameter_mm if kind == "chain" else belt_pitch_diameter_mm
    return diameter(pitch_mm=pitch_mm, teeth=teeth) / 2.0


def shaft_deg_from_mm(*, elongation_mm: float, radius_mm: float) -> float:
    """Degrees by which a shaft falls behind when the strand that pulls it is longer."""
    return degrees(elongation_mm / radius_mm)


def crank_deg_from_mm(*, elongation_mm: float, pitch_mm: float, teeth: int) -> float:
    """Crank degrees by which a chain-driven camshaft falls behind; ``teeth`` are its sprocket's.

    >>> round(crank_deg_from_mm(elongation_mm=1.0, pitch_mm=8.0, teeth=36), 3)
    2.497
    """
    radius = pitch_diameter_mm(pitch_mm=pitch_mm, teeth=teeth) / 2.0
    return cam_deg_to_crank_deg(shaft_deg_from_mm(elongation_mm=elongation_mm, radius_mm=radius))


def mm_from_crank_deg(*, shift_deg: float, pitch_mm: float, teeth: int) -> float:
    """Invert :func:`crank_deg_from_mm`: growth of the tight strand behind a camshaft's shift.

    >>> round(mm_from_crank_deg(shift_deg=5.0, pitch_mm=8.0, teeth=36), 4)
    2.0025
    """
    radius = pitch_diameter_mm(pitch_mm=pitch_mm, teeth=teeth) / 2.0
    return radians(crank_deg_to_cam_deg(shift_deg)) * radius


def one_tooth_deg(teeth: int, *, crank_turns: float = CYCLE_DEG / REVOLUTION_DEG) -> float:
    """Crank degrees of one tooth of a sprocket whose shaft takes ``crank_turns`` for one turn.

    The default is the four-stroke camshaft's two turns: 720/z.

    >>> one_tooth_deg(36), one_tooth_deg(18, crank_turns=1.0)
    (20.0, 20.0)
    """
    return REVOLUTION_DEG * crank_turns / teeth


def elongation_percent(*, elongation_mm: float, tight_length_mm: float) -> float:
    """Elongation of the tight strand, percent of its length when new.

    >>> round(elongation_percent(elongation_mm=2.0025, tight_length_mm=250.0), 3)
    0.801
    """
    return 100.0 * elongation_mm / tight_length_mm


def whole_chain_growth_mm(*, percent: float, pitch_mm: float, links: int) -> float:
    """Growth of a whole chain whose links have all worn by ``percent``, mm.

    >>> round(whole_chain_growth_mm(percent=0.801, pitch_mm=8.0, links=122), 3)
    7.818
    """
    return percent / 100.0 * pitch_mm * links


def elongation_limit_percent(teeth: int) -> float:
    """Wear limit of a roller chain for its largest sprocket: 3 %, on many teeth 200/N %.

    Source: Diamond Chain FAQ; Regal KA-01616 after ANSI B29.1. Engine makers set far smaller
    limits, as a length or a gap.

    >>> elongation_limit_percent(36), elongation_limit_percent(80)
    (3.0, 2.5)
    """
    return min(GENERAL_LIMIT_PERCENT, 200.0 / teeth)


def polygon_speed_variation(teeth: int) -> float:
    """Chain speed variation as a fraction of its highest: 1 - cos(π/z) (polygon effect).

    >>> round(100 * polygon_speed_variation(16), 2)
    1.92
    """
    return 1.0 - cos(pi / teeth)


def polygon_ripple_mm(*, pitch_mm: float, teeth: int) -> float:
    """Largest distance of the chain from even motion as it runs onto one sprocket, ± mm.

    Within one tooth the chain moves by r·sin α where even motion would be (p·z/2π)·α; the
    difference is largest where cos α = (z/π)·sin(π/z).

    >>> round(polygon_ripple_mm(pitch_mm=8.0, teeth=18), 4)
    0.0078
    """
    radius = pitch_diameter_mm(pitch_mm=pitch_mm, teeth=teeth) / 2.0
    even_radius = belt_pitch_diameter_mm(pitch_mm=pitch_mm, teeth=teeth) / 2.0
    angle = acos(even_radius / radius)
    return radius * sin(angle) - even_radius * angle


def polygon_bias_deg(*, pitch_mm: float, driving_teeth: int, cam_teeth: int) -> float:
    """Bound of the polygon effect on a cam's angle, ± crank degrees.

    Both ends of the strand at their worst. The effect is locked to the crank: a fixed bias of
    each cam edge, the same in every cycle and in subject and known-good, and no scatter.

    >>> round(polygon_bias_deg(pitch_mm=8.0, driving_teeth=18, cam_teeth=36), 3)
    0.024
    """
    ripple = sum(polygon_ripple_mm(pitch_mm=pitch_mm, teeth=z) for z in (driving_teeth, cam_teeth))
    return crank_deg_from_mm(elongation_mm=ripple, pitch_mm=pitch_mm, teeth=cam_teeth)
