"""One draw of every hostile kind, and the judge itself: it must see a wrong answer."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from crankwise.wheel import catalogue

ROOT = Path(__file__).parents[1]
SLOW = {"30 to 60 s at 150 rpm"}


@pytest.fixture(scope="module")
def attack():
    # The attacks are no part of the installed package.
    sys.path.insert(0, str(ROOT))
    try:
        from attacks import numbers, numbers_engine  # noqa: PLC0415

        # Few engines share their known-goods, which takes half the time.
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(numbers_engine, "ENGINES", 20)
            yield numbers
    finally:
        sys.path.remove(str(ROOT))


@pytest.fixture(scope="module")
def healthy(attack):
    return attack.case_of(attack.Draw("healthy, as a control", 0, 5))


def test_no_kind_gets_through(attack):
    through = {}
    for kind in attack.KINDS:
        if kind in SLOW:
            continue
        came = attack.tried(attack.Draw(kind, 0, 1))
        if came.is_through:
            through[kind] = came.said
    assert through == {}


def test_a_healthy_recording_is_right(attack, healthy):
    came = attack.outcome_of(healthy)
    assert came.came == "right"
    assert came.edges > 0


def test_the_judge_sees_an_angle_that_is_off(attack, healthy):
    from attacks.numbers_case import turned  # noqa: PLC0415

    (answer,) = healthy.answers
    off = turned(answer, turn_deg=3.0, wheel=answer.wheel)
    came = attack.outcome_of(replace(healthy, answers=(off,)))
    assert came.came == "wrong"
    assert "is off by" in came.said
    # Right by any of several answers is right.
    assert attack.outcome_of(replace(healthy, answers=(off, answer))).came == "right"


def test_the_judge_sees_angles_where_there_are_none(attack, healthy):
    assert attack.outcome_of(replace(healthy, answers=())).came == "wrong"


def test_the_judge_sees_a_wrong_wheel(attack, healthy):
    (answer,) = healthy.answers
    others = [wheel for wheel in catalogue.load().values() if wheel.name != answer.wheel.name]
    came = attack.outcome_of(replace(healthy, answers=(replace(answer, wheel=others[0]),)))
    assert came.came == "wrong"
    assert came.said.startswith("wheel ")


def test_the_judge_sees_a_wrong_shift_and_a_verdict_on_nothing(attack, healthy):
    moved = {name: (role, shift + 4.0) for name, (role, shift) in healthy.shifts.items()}
    assert "shift of the" in attack.outcome_of(replace(healthy, shifts=moved)).said
    assert "nothing can be compared" in attack.outcome_of(replace(healthy, shifts=None)).said


def test_draws_are_shared_out_evenly_and_come_again(attack):
    kinds = list(attack.KINDS)
    drawn = attack.draws(3 * len(kinds), 1, kinds)
    assert len(set(drawn)) == len(drawn)
    assert {draw.number for draw in drawn if draw.kind == kinds[0]} == {0, 1, 2}
    first, second = (attack.case_of(attack.Draw("clipped", 3, 1)).recording for _ in range(2))
    for one, two in zip(first.channels, second.channels, strict=True):
        np.testing.assert_array_equal(one.values, two.values)
