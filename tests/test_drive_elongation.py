"""A shift told as the chain that would make it, and held against published limits."""

from dataclasses import replace

import pytest

from crankwise.drive.elongation import against_limits, equivalent
from crankwise.drive.engine_file import shipped
from crankwise.model.engine import Sprocket

T20 = shipped()["tarn-t20"]
T20_ROLES = ("exhaust", "intake")


def test_equivalent_elongation_of_a_cam_in_words_a_shop_uses():
    found = equivalent(T20, T20.drives[0], role="intake", shift_deg=4.794, uncertainty_deg=0.2)
    assert found.percent == pytest.approx(0.5, abs=0.001)
    assert found.growth_mm == pytest.approx(1.92, abs=0.001)  # 0.5 % of 48 pitches of 8 mm
    assert found.growth_uncertainty_mm == pytest.approx(0.2 / 2.497, abs=0.001)
    assert found.whole_mm == pytest.approx(4.32, abs=0.005)  # 0.5 % of 108 pitches


def test_equivalent_elongation_without_lengths_has_no_percent():
    drive = replace(T20.drives[0], spans=())
    engine = replace(T20, drives=(drive,))
    found = equivalent(engine, drive, role="intake", shift_deg=4.0, uncertainty_deg=0.2)
    assert found.growth_mm == pytest.approx(1.602, abs=0.001)
    assert found.percent is None
    assert found.whole_mm is None


def test_a_belt_is_not_judged_by_limits_of_chains():
    assert against_limits(replace(T20.drives[0], kind="belt"), percent=5.0) == ()


def test_a_large_sprocket_lowers_the_general_limit():
    drive = replace(
        T20.drives[0], sprockets=(Sprocket("crank", 40), *(Sprocket(r, 80) for r in T20_ROLES))
    )
    at = {limit.key: judged for limit, judged in against_limits(drive, percent=2.6)}
    assert not at["roller-chain-general"].within  # 200/80 = 2.5 %
