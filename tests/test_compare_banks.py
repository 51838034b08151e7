"""Without a known-good: bank against bank, and clear words where that can't be."""

from dataclasses import replace

import pytest

from crankwise.drive.engine_file import load_engine
from crankwise.errors import UsageError
from crankwise.pipeline import compare, measure
from crankwise.testing.simulate import preset, simulate

V6 = preset("fell-v6")


def v6(*, seed=1, **late_deg):
    cams = tuple(
        replace(cam, shift_deg=cam.shift_deg + late_deg.get(cam.role.replace("-", "_"), 0.0))
        for cam in V6.cams
    )
    return measure(simulate(replace(V6, cams=cams), seed=seed).recording)


@pytest.fixture(scope="module")
def healthy():
    return v6()


def test_healthy_banks_agree(healthy):
    result = compare(healthy, [])
    (change,) = result.separations
    assert change.between == ("bank-1", "bank-2")
    # 0.1 degrees: what the invented targets of the two banks themselves differ by.
    assert abs(change.change_deg) < change.uncertainty_deg + 0.1
    assert result.verdict.level == "not-judged"
    assert result.limits.basis == "bank-against-bank"
    assert result.causes == ()


@pytest.mark.parametrize("role", ["intake_2", "exhaust_1"])
@pytest.mark.parametrize("late", [5.0, -6.0])
def test_a_cam_that_moved_inside_its_bank_shows(role, late):
    result = compare(v6(**{role: late}), [])
    (change,) = result.separations
    # Exhaust less intake of bank 2, less the same of bank 1.
    assert change.change_deg == pytest.approx(-late, abs=change.uncertainty_deg + 0.1)
    assert result.verdict.level == "worn"


def test_a_bank_that_moved_as_a_whole_does_not_show_and_the_limits_say_so():
    result = compare(v6(intake_2=4.0, exhaust_2=4.0), [])
    assert result.verdict.level == "not-judged"
    assert "moved as a whole does not show" in result.limits.text


def test_one_bank_needs_a_known_good():
    subject = measure(simulate(preset("t20-fresh-chain"), seed=1).recording)
    with pytest.raises(UsageError, match="--reference"):
        compare(subject, [])


def test_the_summary_and_the_advice_promise_no_more_than_was_seen():
    verdict = compare(v6(intake_2=4.0, exhaust_2=4.0), []).verdict
    assert verdict.summary.startswith("Not judged: ")
    assert "a bank that moved as a whole does not show" in verdict.summary
    assert "Nothing to do inside the banks" in verdict.advice[0]
    assert "No action" not in " ".join(verdict.advice)
    assert "known-good" in verdict.would_change[0]


def test_cams_without_a_name_are_asked_for_by_their_channels(healthy):
    nameless = tuple(
        replace(cam, role=f"cam-{number}", channel=f"CH{number}")
        for number, cam in enumerate(healthy.cams, 1)
    )
    with pytest.raises(UsageError, match="CH1, CH2, CH3, CH4: name them"):
        compare(replace(healthy, cams=nameless), [])


def test_a_file_of_another_engine_is_noticed_by_its_cams(healthy):
    result = compare(healthy, [], engine=load_engine("tarn-t20"))
    said = next(item for item in result.findings if item.level == "caution")
    assert said.code == "engine-file"
    assert "does not list: " in said.text
    assert "intake-1" in said.text
