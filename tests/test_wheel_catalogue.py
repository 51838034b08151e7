"""The catalogue file: what a technician may write, and what is said when it is wrong."""

import pytest

from crankwise.errors import UnreadableError
from crankwise.wheel import catalogue

GOOD = """
[[wheel]]
name = "10-1"
pattern = "8x36 72"
pitch_deg = 36
"""


def write(folder, text):
    path = folder / "wheels.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_shop_wheel_joins_the_built_in_ones(tmp_path):
    wheels = catalogue.load(write(tmp_path, GOOD))
    wheel = wheels["10-1"]
    assert wheel.intervals_deg == (36.0,) * 8 + (72.0,)
    assert wheel.teeth_per_rev == 9
    assert wheel.has_gap
    assert wheel.source == "from memory"
    assert "60-2" in wheels


def test_a_shop_wheel_of_a_known_name_wins(tmp_path):
    text = GOOD.replace("10-1", "60-2")
    assert catalogue.load(write(tmp_path, text))["60-2"].teeth_per_rev == 9
    assert catalogue.load()["60-2"].teeth_per_rev == 58


def test_all_keys(tmp_path):
    text = """
[[wheel]]
name = "coded"
pattern = "3x90 2x45"
pitch_deg = 90
has_gap = false
width_deg = [10, 20, 10, 20, 10]
found_in = "a test bench"
source = "measured"
"""
    wheel = catalogue.load(write(tmp_path, text))["coded"]
    assert wheel.width_deg == (10.0, 20.0, 10.0, 20.0, 10.0)
    assert not wheel.has_gap
    assert (wheel.found_in, wheel.source) == ("a test bench", "measured")


def test_an_empty_file_adds_nothing(tmp_path):
    assert catalogue.load(write(tmp_path, "")) == catalogue.load()


WRONG = {
    "name missing": (GOOD.replace('name = "10-1"', ""), "'name' is missing"),
    "pattern missing": (GOOD.replace('pattern = "8x36 72"', ""), "'pattern' is missing"),
    "pattern a number": (GOOD.replace('"8x36 72"', "36"), "'pattern'"),
    "pitch missing": (GOOD.replace("pitch_deg = 36", ""), "'pitch_deg' is missing"),
    "pitch in words": (GOOD.replace("= 36", '= "36"'), "'pitch_deg'"),
    "not closing": (GOOD.replace("8x36 72", "8x36 70"), "add up to 358"),
    "one step": (GOOD.replace("8x36 72", "360"), "must close at 360"),
    "not a step": (GOOD.replace("8x36 72", "8*36 72"), "'8*36' is not a step"),
    "negative step": (GOOD.replace("8x36 72", "9x50 -90"), "'-90' is not a step"),
    "unknown key": (GOOD + "teeth = 9\n", "unknown key 'teeth'"),
    "too few widths": (GOOD + "width_deg = [3, 4]\n", "'width_deg' needs one positive width"),
    "a width of nothing": (GOOD + "width_deg = [1, 1, 1, 1, 1, 1, 1, 1, 0]\n", "'width_deg' needs"),
    "widths in words": (GOOD + 'width_deg = ["a"]\n', "wheel 1 (10-1)"),
    "zero pitch": (GOOD.replace("pitch_deg = 36", "pitch_deg = 0"), "pitch_deg"),
    "negative pitch": (GOOD.replace("pitch_deg = 36", "pitch_deg = -36"), "pitch_deg"),
    "has_gap in words": (GOOD + 'has_gap = "no"\n', "has_gap"),
    "width not a list": (GOOD + "width_deg = 5\n", "width_deg"),
    "same name twice": (GOOD + GOOD, "10-1"),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_entry_is_named(tmp_path, name):
    text, words = WRONG[name]
    path = write(tmp_path, text)
    with pytest.raises(UnreadableError) as caught:
        catalogue.load(path)
    message = str(caught.value)
    assert words in message
    assert str(path) in message
    assert "\n" not in message
    assert caught.value.exit_code == 3


def test_the_second_entry_is_counted(tmp_path):
    text = GOOD + GOOD.replace("10-1", "bent").replace("72", "71")
    with pytest.raises(UnreadableError, match=r"wheel 2 \(bent\)"):
        catalogue.load(write(tmp_path, text))


@pytest.mark.parametrize("text", ["[[wheel]\n", "wheel = 3\n", 'wheel = ["60-2"]\n', "[wheel]\n"])
def test_not_a_list_of_wheels(tmp_path, text):
    with pytest.raises(UnreadableError) as caught:
        catalogue.load(write(tmp_path, text))
    assert "wheels.toml" in str(caught.value)


def test_misspelt_table_is_not_silently_nothing(tmp_path):
    with pytest.raises(UnreadableError, match="wheels"):
        catalogue.load(write(tmp_path, GOOD.replace("[[wheel]]", "[[wheels]]")))


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(UnreadableError, match="check the path"):
        catalogue.load(tmp_path / "none.toml")


def test_a_file_that_is_not_text(tmp_path):
    path = tmp_path / "wheels.toml"
    path.write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(UnreadableError, match="can't be read"):
        catalogue.load(path)
