"""A chain's elongation in millimetres, and held against published limits."""

from dataclasses import replace

from crankwise.drive.elongation import growth_words, limit_words
from crankwise.drive.engine_file import shipped
from crankwise.model.engine import Sprocket

T20 = shipped()["tarn-t20"]
T20_ROLES = ("exhaust", "intake")


def test_growth_without_lengths_or_links_says_what_is_known():
    drive = replace(T20.drives[0], spans=(), links=None)
    assert growth_words(replace(T20, drives=(drive,)), drive, percent=0.5) == []
    drive = replace(T20.drives[0], spans=())
    known = growth_words(replace(T20, drives=(drive,)), drive, percent=0.5)
    assert known == ["4.3 mm of the whole chain"]  # 0.5 % of 108 pitches of 8 mm


def test_a_belt_is_not_judged_by_limits_of_chains():
    assert limit_words(replace(T20.drives[0], kind="belt"), percent=5.0) == ""


def test_a_large_sprocket_lowers_the_general_limit():
    drive = replace(
        T20.drives[0], sprockets=(Sprocket("crank", 40), *(Sprocket(r, 80) for r in T20_ROLES))
    )
    assert "beyond the published limit of 2.5 % (" in limit_words(drive, percent=2.6)  # 200/80
    assert "within the published limit of 2.5 % (" in limit_words(drive, percent=2.4)
