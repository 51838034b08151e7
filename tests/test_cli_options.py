"""How what is typed becomes values, and how nonsense is refused before any work."""

from __future__ import annotations

import pytest

from crankwise.cli.options import check_outputs, parse_cams, parse_interval
from crankwise.errors import UsageError


@pytest.mark.parametrize(
    ("typed", "interval_s"),
    [
        ("0.00001", 1e-5),
        ("1e-5", 1e-5),
        ("10us", 1e-5),
        ("10 µs", 1e-5),  # the micro sign
        ("10μs", 1e-5),  # the Greek letter, which looks the same
        ("0.01ms", 1e-5),
        ("10000ns", 1e-5),
        (".5ms", 5e-4),
        ("3us", 3e-6),
    ],
)
def test_an_interval_is_read_to_the_last_bit(typed, interval_s):
    assert parse_interval(typed) == interval_s


@pytest.mark.parametrize(
    "typed",
    ["", "ten", "10", "-1us", "0", "0us", "1e999", "10uss", "0,00001", "5 s", "nan", "inf",
     "1e5000us", "10 kHz", "1" * 400],
)  # fmt: skip
def test_no_interval_is_ever_guessed(typed):
    with pytest.raises(UsageError, match="--interval"):
        parse_interval(typed)


def test_roles_are_read_in_order():
    assert parse_cams(["intake-1=A", "exhaust-2=B=C", "cam-3=x y"]) == {
        "intake-1": "A",
        "exhaust-2": "B=C",
        "cam-3": "x y",
    }
    assert parse_cams([]) is None


@pytest.mark.parametrize(
    "pairs",
    [["CH2"], ["=CH2"], ["intake="], ["inlet=CH2"], ["crank=CH2"], ["intake-0=A"], ["cam=A"],
     ["intake=A", "intake=B"], ["intake=A", "exhaust=A"], ["intake\n=A"]],
)  # fmt: skip
def test_pairs_that_make_no_sense_are_named(pairs):
    with pytest.raises(UsageError, match="--cam"):
        parse_cams(pairs)


def test_results_never_go_over_the_recording(tmp_path):
    recording = tmp_path / "van.csv"
    recording.touch()
    (tmp_path / "sub").mkdir()
    same = tmp_path / "sub" / ".." / "van.csv"
    link = tmp_path / "van.svg"
    link.symlink_to(recording)
    with pytest.raises(UsageError, match="is a file to read from"):
        check_outputs([tmp_path / "other.csv", recording], output=same, picture=None)
    with pytest.raises(UsageError, match="is a file to read from"):
        check_outputs([tmp_path / "other.csv", recording], output=None, picture=link)


@pytest.mark.parametrize(
    ("output", "picture", "said"),
    [
        (None, "van.pdf", "end the name in .svg or .png"),
        (None, "van", "end the name in .svg or .png"),
        ("x.svg", "x.svg", "two names"),
        ("no/x.json", None, "folder does not exist"),
        (None, "no/x.svg", "folder does not exist"),
    ],
)
def test_places_that_can_not_work_are_refused_before_measuring(tmp_path, output, picture, said):
    with pytest.raises(UsageError, match=said):
        check_outputs(
            [tmp_path / "van.csv"],
            output=output and tmp_path / output,
            picture=picture and tmp_path / picture,
        )
