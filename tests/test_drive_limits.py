"""Published limits as data: how a value is judged and a code set, and what is refused."""

import pytest

from crankwise.drive.limits import (
    Band,
    PublishedLimit,
    event_shift_deg,
    limits,
    limits_on,
    published,
)
from crankwise.errors import UsageError


def limit(**changes):
    values = {
        "key": "x",
        "quantity": "shift",
        "low": -5.0,
        "high": 5.0,
        "is_open": False,
        "within": "well",
        "beyond": "not well",
        "bands": (),
        "cycles": None,
        "conditions": "",
        "source": "made up",
        "is_weak": False,
    }
    return PublishedLimit(**{**values, **changes})


def test_the_ends_are_inside_unless_the_limit_is_open():
    assert [limit().judge(v).within for v in (-5.0, 5.0, 5.01)] == [True, True, False]
    assert [limit(is_open=True).judge(v).within for v in (-5.0, 4.99, 5.0)] == [False, True, False]


def test_a_band_goes_before_the_window_and_brings_its_own_judgement():
    banded = limit(bands=(Band(4.0, 8.0, well=False, says="worn"),))
    assert [(banded.judge(v).within, banded.judge(v).says) for v in (3.9, 4.0, 8.0, 8.1)] == [
        (True, "well"),
        (False, "worn"),
        (False, "worn"),
        (False, "not well"),
    ]


def test_not_a_number_is_never_within():
    assert not limit().judge(float("nan")).within


def test_without_a_rule_on_cycles_one_outside_is_enough():
    assert limit().sets_code([0.0, 6.0])
    assert not limit().sets_code([0.0, 5.0])
    assert not limit().sets_code([])


def test_cycles_count_within_any_window_also_a_short_one():
    three_of_four = limit(cycles=(3, 4))
    assert three_of_four.sets_code([9.0, 0.0, 9.0, 9.0, 0.0])
    assert three_of_four.sets_code([9.0, 9.0, 9.0])
    assert not three_of_four.sets_code([9.0, 9.0, 0.0, 0.0, 9.0, 9.0])
    assert not three_of_four.sets_code([9.0, 9.0])


def test_limits_are_found_by_what_they_limit():
    assert {found.key for found in limits_on("movement")} == {"chrysler-sprocket-movement"}
    quantities = {found.quantity for found in limits().values()}
    assert sum(len(limits_on(quantity)) for quantity in quantities) == len(limits())


@pytest.mark.parametrize("found", limits().values(), ids=lambda found: found.key)
def test_every_limit_accepts_its_middle_and_refuses_what_is_far_off(found):
    low = found.low if found.low > -1e9 else found.high - 1.0
    assert found.judge((low + found.high) / 2).within
    assert not found.judge(found.high + 100.0).within


def test_a_limit_that_is_not_there_is_said_with_those_that_are():
    with pytest.raises(UsageError, match=r"no published limit 'x'; there are gm-four-cylinder"):
        published("x")


@pytest.mark.parametrize("text", ["19", "19 TDC", "-3 BTDC", "x BTDC", "19 BTDC or so", ""])
def test_a_valve_event_written_otherwise_is_refused(text):
    with pytest.raises(UsageError, match="is no valve event; write for example 19 BTDC"):
        event_shift_deg(new="19 BTDC", used=text)


def test_valve_events_from_different_dead_centres_are_refused():
    with pytest.raises(UsageError, match="different dead centres"):
        event_shift_deg(new="19 BTDC", used="17 BBDC")


def test_a_valve_event_may_cross_its_dead_centre():
    assert event_shift_deg(new="1.5 BTDC", used="0.5° atdc") == 2.0
