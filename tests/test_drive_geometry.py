"""Laws of the drive geometry."""

from math import pi, sin

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crankwise.drive.geometry import (
    belt_pitch_diameter_mm,
    crank_deg_from_mm,
    elongation_limit_percent,
    mm_from_crank_deg,
    one_tooth_deg,
    pitch_diameter_mm,
    polygon_bias_deg,
    polygon_ripple_mm,
    polygon_speed_variation,
)

TEETH = st.integers(12, 80)
PITCH = st.floats(4.0, 15.0)
MM = st.floats(-20.0, 20.0)


@given(MM, PITCH, TEETH)
def test_millimetres_and_degrees_are_inverse(mm, pitch_mm, teeth):
    deg = crank_deg_from_mm(elongation_mm=mm, pitch_mm=pitch_mm, teeth=teeth)
    back = mm_from_crank_deg(shift_deg=deg, pitch_mm=pitch_mm, teeth=teeth)
    assert back == pytest.approx(mm, abs=1e-12)


@given(st.floats(0.0, 10.0), st.floats(0.01, 10.0), PITCH, TEETH)
def test_more_elongation_retards_more(mm, more, pitch_mm, teeth):
    first, second = (
        crank_deg_from_mm(elongation_mm=length, pitch_mm=pitch_mm, teeth=teeth)
        for length in (mm, mm + more)
    )
    assert 0 <= first < second


@given(PITCH, TEETH)
def test_a_larger_sprocket_turns_less_for_the_same_length(pitch_mm, teeth):
    small, large = (
        crank_deg_from_mm(elongation_mm=1.0, pitch_mm=pitch_mm, teeth=z) for z in (teeth, teeth + 1)
    )
    assert large < small


@given(PITCH, TEETH)
def test_a_whole_pitch_is_a_tooth_to_first_order(pitch_mm, teeth):
    # A chain lies on a polygon, whose circumscribed circle is slightly longer than z pitches.
    turned = crank_deg_from_mm(elongation_mm=pitch_mm, pitch_mm=pitch_mm, teeth=teeth)
    assert turned == pytest.approx(one_tooth_deg(teeth), rel=0.015)
    assert turned < one_tooth_deg(teeth)


@given(PITCH, TEETH)
def test_a_belt_lies_on_a_circle_inside_the_chains(pitch_mm, teeth):
    belt = belt_pitch_diameter_mm(pitch_mm=pitch_mm, teeth=teeth)
    chain = pitch_diameter_mm(pitch_mm=pitch_mm, teeth=teeth)
    assert 0.98 * chain < belt < chain


@given(TEETH)
def test_a_jump_on_the_crank_is_a_jump_on_a_cam_of_twice_the_teeth(teeth):
    assert one_tooth_deg(teeth, crank_turns=1.0) == one_tooth_deg(2 * teeth)


@given(TEETH)
def test_the_elongation_limit_never_rises_with_teeth(teeth):
    assert elongation_limit_percent(teeth + 1) <= elongation_limit_percent(teeth) <= 3.0


@given(PITCH, TEETH)
def test_polygon_effect_falls_with_teeth_and_its_bound_holds(pitch_mm, teeth):
    assert polygon_speed_variation(teeth + 1) < polygon_speed_variation(teeth)
    ripple = polygon_ripple_mm(pitch_mm=pitch_mm, teeth=teeth)
    assert 0 < polygon_ripple_mm(pitch_mm=pitch_mm, teeth=teeth + 1) < ripple
    alone = crank_deg_from_mm(elongation_mm=ripple, pitch_mm=pitch_mm, teeth=2 * teeth)
    assert polygon_bias_deg(pitch_mm=pitch_mm, driving_teeth=teeth, cam_teeth=2 * teeth) > alone


def test_polygon_ripple_is_the_largest_there_is():
    # by looking at every angle instead of at the place of the maximum
    radius, z, p = pitch_diameter_mm(pitch_mm=8.0, teeth=18) / 2, 18, 8.0
    angles = [k * (pi / z) / 10_000 for k in range(10_001)]
    largest = max(radius * sin(a) - p * z / (2 * pi) * a for a in angles)
    assert polygon_ripple_mm(pitch_mm=8.0, teeth=18) == pytest.approx(largest, rel=1e-6)
