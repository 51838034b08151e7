"""Chain geometry and limits against published figures; the source stands beside each number."""

import pytest

from crankwise.drive.elongation import growth_words, limit_words
from crankwise.drive.engine_file import load_engine
from crankwise.drive.geometry import (
    crank_deg_from_mm,
    elongation_limit_percent,
    elongation_percent,
    mm_from_crank_deg,
    one_tooth_deg,
    pitch_diameter_mm,
    polygon_ripple_mm,
    polygon_speed_variation,
    shaft_deg_from_mm,
    whole_chain_growth_mm,
)
from crankwise.drive.growth import shifts_by_elongation
from crankwise.drive.limits import event_shift_deg, limits, published, run_ins
from crankwise.units import deg_to_teeth


@pytest.mark.parametrize(
    ("teeth", "diameter_mm"),
    # tandwiel.info, table of pitch diameters, 1 inch pitch
    [(18, 146.27), (20, 162.37), (25, 202.66), (36, 291.43), (42, 339.89)],
)
def test_pitch_diameter_agrees_with_the_published_table(teeth, diameter_mm):
    assert pitch_diameter_mm(pitch_mm=25.4, teeth=teeth) == pytest.approx(diameter_mm, abs=0.01)


@pytest.mark.parametrize(
    ("pitch_mm", "derived_mm", "tolerance_mm", "maker_mm"),
    [
        # least "gear diameter with chain", cam 97.3 and crank 51.6 mm: Toyota 1ZZ-FE, page 1328
        (8.0, 45.72, 0.03, 97.3 - 51.6),
        # 113.8 and 59.4 mm: Toyota 2RZ-FE, EM-24
        (9.525, 54.435, 0.005, 113.8 - 59.4),
    ],
)
def test_diameters_of_a_cam_and_a_crank_sprocket_differ_as_the_maker_measures(
    pitch_mm, derived_mm, tolerance_mm, maker_mm
):
    difference = pitch_diameter_mm(pitch_mm=pitch_mm, teeth=36) - pitch_diameter_mm(
        pitch_mm=pitch_mm, teeth=18
    )
    assert difference == pytest.approx(derived_mm, abs=tolerance_mm)
    assert difference == pytest.approx(maker_mm, abs=0.1)


@pytest.mark.parametrize(
    ("teeth", "percent"),
    # bs-wiki.de, Polygoneffekt: about 2 % at 16 teeth, about 1.2 % at 20; two digits derived
    [(16, 1.92), (20, 1.23)],
)
def test_polygon_effect_on_the_chain_speed(teeth, percent):
    assert 100 * polygon_speed_variation(teeth) == pytest.approx(percent, abs=0.01)


@pytest.mark.parametrize(
    ("pitch_mm", "driving", "cam", "cam_deg"),
    # derived independently of this code: ripple of the driving sprocket seen at the cam
    [(8.0, 18, 36, 0.0098), (6.35, 23, 46, 0.0047)],
)
def test_polygon_ripple_at_the_cam(pitch_mm, driving, cam, cam_deg):
    ripple = polygon_ripple_mm(pitch_mm=pitch_mm, teeth=driving)
    radius = pitch_diameter_mm(pitch_mm=pitch_mm, teeth=cam) / 2
    at_cam = shaft_deg_from_mm(elongation_mm=ripple, radius_mm=radius)
    assert at_cam == pytest.approx(cam_deg, abs=0.0001)


@pytest.mark.parametrize(
    ("teeth", "percent"),
    # Diamond Chain FAQ: 3 %, and 200/N % above 66 teeth
    [(36, 3.0), (67, 2.985), (80, 2.5), (100, 2.0)],
)
def test_general_elongation_limit(teeth, percent):
    assert elongation_limit_percent(teeth) == pytest.approx(percent, abs=0.001)


@pytest.mark.parametrize(
    ("mm", "pitch_mm", "teeth", "deg", "tolerance_deg"),
    [
        # derived from 2 dL/r
        (1.0, 8.0, 36, 2.497, 0.001),
        (1.0, 9.525, 42, 1.798, 0.001),
        (1.0, 6.35, 46, 2.463, 0.001),
        # 3.175 mm: Chrysler standard procedure "measuring timing chain wear"; degrees derived
        (3.175, 9.525, 42, 5.709, 0.002),
        (3.175, 9.525, 36, 6.658, 0.002),
        (3.175, 8.0, 36, 7.927, 0.002),
    ],
)
def test_crank_degrees_of_a_longer_strand(mm, pitch_mm, teeth, deg, tolerance_deg):
    got = crank_deg_from_mm(elongation_mm=mm, pitch_mm=pitch_mm, teeth=teeth)
    assert got == pytest.approx(deg, abs=tolerance_deg)


def test_five_degrees_as_millimetres_percent_and_growth_of_the_chain():
    # derived: 8 mm pitch, 36 teeth, 250 mm tight strand, 122 links
    mm = mm_from_crank_deg(shift_deg=5.0, pitch_mm=8.0, teeth=36)
    assert mm == pytest.approx(2.0025, abs=0.001)
    percent = elongation_percent(elongation_mm=mm, tight_length_mm=250.0)
    assert percent == pytest.approx(0.801, abs=0.001)
    growth = whole_chain_growth_mm(percent=percent, pitch_mm=8.0, links=122)
    assert growth == pytest.approx(7.818, abs=0.002)


@pytest.mark.parametrize(
    ("percent", "deg"),
    # derived: 8 mm pitch, 36 teeth, 250 mm tight strand
    [(0.1, 0.62), (0.2, 1.25), (0.3, 1.87), (0.5, 3.12), (1.0, 6.24)],
)
def test_an_engine_file_gives_the_same_degrees_for_an_elongation(percent, deg):
    engine = load_engine(
        """
        [[drive]]
        kind = "chain"
        pitch_mm = 8
        links = 122
        sprocket = [{ shaft = "crank", teeth = 18 }, { shaft = "cam-1", teeth = 36 }]
        span = [{ between = ["crank", "cam-1"], length_mm = 250 }]
        """
    )
    drive = engine.drives[0]
    shift = shifts_by_elongation(engine, drive, percent=percent)["cam-1"]
    assert shift == pytest.approx(deg, abs=0.006)
    assert growth_words(engine, drive, percent=percent) == [
        f"{2.5 * percent:.1f} mm of the tight strands",
        f"{percent / 100 * 8 * 122:.1f} mm of the whole chain",
    ]


@pytest.mark.parametrize(
    ("teeth", "deg"),
    # derived: 720/z
    [(36, 20.0), (38, 18.947), (40, 18.0), (42, 17.143), (46, 15.652)],
)
def test_one_tooth_of_a_cam_sprocket(teeth, deg):
    assert one_tooth_deg(teeth) == pytest.approx(deg, abs=0.001)


def test_degrees_in_tooth_pitches_of_the_crank_wheel():
    # derived: 6 degrees a pitch on 60-2
    assert deg_to_teeth(12.0, pitch_deg=6.0) == pytest.approx(2.0, abs=0.001)
    assert deg_to_teeth(5.0, pitch_deg=6.0) == pytest.approx(0.833, abs=0.001)


def test_published_valve_events_of_a_run_in_engine_are_two_degrees_late():
    # Mercedes service manual, job 05-215: 617.950 all four events, 617.951 IC, EO and EC
    assert run_ins()["mercedes-om617.950"].shifts_deg() == {"IO": 2, "IC": 2, "EO": 2, "EC": 2}
    assert run_ins()["mercedes-om617.951"].shifts_deg() == {"IC": 2, "EO": 2, "EC": 2}


@pytest.mark.parametrize(
    ("new", "used"),
    # the same, 617.950, typed in here a second time
    [
        ("11.5 ATDC", "13.5 ATDC"),
        ("13.5 ABDC", "15.5 ABDC"),
        ("21 BBDC", "19 BBDC"),
        ("19 BTDC", "17 BTDC"),
    ],
)
def test_a_valve_event_nearer_after_or_further_from_before_is_later(new, used):
    assert event_shift_deg(new=new, used=used) == 2.0
    assert event_shift_deg(new=used, used=new) == -2.0


@pytest.mark.parametrize(
    ("key", "accepted", "refused"),
    [
        # GM 171028 and 134405: -11 to +14
        ("gm-four-cylinder", (-10.9, 13.9), (-11.1, 14.1)),
        # GM 164910: 9 below, 12 above
        ("gm-captiva", (-9.0, 12.0), (-9.1, 12.1)),
        # Hyundai/Kia 9043733
        ("hyundai-kia-2016", (-15.0, 15.0), (-15.1, 15.1)),
        # Toyota charts P0016: Camry Hybrid 25 to 51, E120 24 to 46
        ("toyota-2az-fxe", (25.1, 50.9), (24.9, 51.1)),
        ("toyota-e120", (24.1, 45.9), (23.9, 46.1)),
        # VW, edition 04.2015: segment ratio above 2.75 or below 0.36, offset -24 to +49
        ("vw-segment-ratio", (1.0, 2.75, 0.36), (2.76, 0.35)),
        ("vw-cam-offset", (-24.0, 49.0), (-24.1, 49.1)),
        # Volvo parameter pages: 0 +/- 8; after repair +/- 7
        ("volvo-adaptation", (-8.0, 8.0), (-8.1, 8.1)),
        ("volvo-after-repair", (-7.0, 7.0), (-7.1, 7.1)),
        # Chrysler, Sebring 1998: one tooth or more
        ("chrysler-tooth", (0.0, 0.99), (1.0, -1.0)),
        # Chrysler standard procedure: more than 3.175 mm (1/8 inch)
        ("chrysler-sprocket-movement", (3.1, 3.175), (3.2,)),
        # Dodge 4.7, Dakota 2002: less than 15 mm; Jeep 2.4 2021: above 20.5 mm
        ("dodge-tensioner", (14.9,), (15.0,)),
        ("jeep-tensioner", (20.5,), (20.6,)),
    ],
)
def test_published_windows(key, accepted, refused):
    limit = published(key)
    assert all(limit.judge(value).within for value in accepted)
    assert not any(limit.judge(value).within for value in refused)


def test_the_published_ratio_is_its_own_reciprocal():
    # VW, edition 04.2015: 2.75 and 0.36; 1/2.75 = 0.3636
    limit = published("vw-segment-ratio")
    assert limit.low == pytest.approx(1 / limit.high, abs=0.005)


@pytest.mark.parametrize(
    ("key", "wanted", "window"),
    # GM 164910: 24 of 30; GM 122699: 25 of 35
    [("gm-captiva", 24, 30), ("gm-northstar", 25, 35)],
)
def test_a_code_needs_enough_cycles_outside(key, wanted, window):
    limit = published(key)
    good, bad = 0.0, 20.0
    assert limit.sets_code([bad] * wanted + [good] * (window - wanted))
    assert not limit.sets_code([bad] * (wanted - 1) + [good] * (window - wanted + 1))
    # The cycles must lie within one window, wherever it is.
    assert limit.sets_code([good] * 50 + [bad] * wanted + [good] * 50)
    spread_out = ([bad] * (wanted // 2) + [good] * window) * 4
    assert not limit.sets_code(spread_out)


@pytest.mark.parametrize(
    ("shift_deg", "says"),
    # Mercedes TSB 05/093, November 1995: 3 to 10 replace the chain, beyond look for contact
    [
        (2.9, "below the band for a stretched chain"),
        (3.0, "the chain is stretched: replace it"),
        (10.0, "the chain is stretched: replace it"),
        (10.1, "look for valve contact before fitting a chain"),
    ],
)
def test_published_bands_of_a_stretched_chain(shift_deg, says):
    judged = published("mercedes-chain").judge(shift_deg)
    assert judged.says == says
    assert judged.within == (shift_deg < 3)


def test_every_published_limit_names_its_source():
    assert len(limits()) > 25
    assert all(limit.source and limit.beyond for limit in limits().values())


def test_elongation_against_published_limits():
    # Regal KA-01616: 1.5 % with fixed centres; Diamond Chain FAQ: 3 %
    drive = load_engine("tarn-t20").drives[0]
    words = limit_words(drive, percent=1.6)
    assert "within the published limit of 3 % (Diamond Chain FAQ" in words
    assert "beyond the published limit of 1.5 % (Regal KA-01616)" in words
