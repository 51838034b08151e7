"""Before and after a repair: is it right, what remains, may it become a known-good."""

import re
from dataclasses import replace
from functools import cache

import pytest

from crankwise.errors import NotMeasurableError
from crankwise.model.finding import Finding
from crankwise.pipeline import compare, measure
from crankwise.testing.simulate import ScopeSpec, preset, simulate
from crankwise.units import wrap_cycle_deg

SCOPE = ScopeSpec(duration_s=1.5, kind="events", resolution_s=1e-6)


@cache
def engine(name="t20-fresh-chain", seed=1):
    spec = replace(preset(name), scope=SCOPE)
    return measure(simulate(spec, seed=seed).recording)


def moved(measurement, name="van", **shifts):
    cams = []
    for cam in measurement.cams:
        by = shifts.get(cam.role, 0.0)
        if by is None:
            continue
        edges = [replace(e, angle_deg=wrap_cycle_deg(e.angle_deg + by)) for e in cam.edges]
        edges.sort(key=lambda edge: edge.angle_deg)
        cams.append(replace(cam, edges=tuple(edges)))
    recording = replace(measurement.recording, name=name, sha256=f"{name:0>64}")
    return replace(measurement, cams=tuple(cams), recording=recording)


def plain(measurement, *codes):
    """Only the findings wanted."""
    found = tuple(Finding(code, "caution", "Something was seen.") for code in codes)
    return replace(measurement, findings=found)


GOOD = plain(moved(engine(), "good"))
BEFORE = plain(moved(engine(), "before", intake=8.0, exhaust=5.0))


def repair(after, **how):
    return compare(plain(after, *how.pop("codes", ())), [GOOD], before=BEFORE, **how)


def test_without_a_recording_from_before_there_is_no_repair():
    assert compare(moved(engine()), [GOOD]).repair is None


def test_a_right_repair_may_become_a_known_good():
    check = repair(moved(engine(), intake=0.1, exhaust=-0.1), same_vehicle=True).repair
    assert check.is_right
    assert check.may_become_known_good
    assert "phasers stood at their stops" in check.why
    assert "second recording" in check.why
    assert {cam.role: cam.shift_deg for cam in check.before} == pytest.approx(
        {"intake": 8.0, "exhaust": 5.0}
    )
    assert len(check.remains) == 2
    for text in check.remains:
        assert re.search(
            r"^(intake|exhaust) cam: before \+[85]\.0\d?° ± 0\.\d+°, "
            r"now [-+]0\.1\d?° ± 0\.\d+°, within the healthy limits$",
            text,
        )


@pytest.mark.parametrize(
    ("by", "level"), [(1.5, "drifting"), (6.0, "worn"), (-6.0, "worn"), (20.0, "out-of-time")]
)
def test_what_remains_is_named(by, level):
    result = repair(moved(engine(), intake=by), same_vehicle=True)
    assert result.verdict.level == level
    check = result.repair
    assert not check.is_right
    assert not check.may_become_known_good
    assert level in check.why
    (intake,) = [text for text in check.remains if text.startswith("intake cam")]
    assert "still beyond" in intake
    (exhaust,) = [text for text in check.remains if text.startswith("exhaust cam")]
    assert "within" in exhaust


def test_what_remains_between_the_cams_is_named():
    # Each cam is within what two vehicles differ by, the angle between them is not.
    result = repair(moved(engine(), intake=2.0, exhaust=-2.0))
    assert result.verdict.level != "in-time"
    assert not result.repair.is_right
    cams = [text for text in result.repair.remains if re.match(r"(intake|exhaust) cam:", text)]
    assert all("within" in text for text in cams)
    assert any(
        "beyond" in text and "intake" in text and "exhaust" in text
        for text in result.repair.remains
    )


def test_the_repair_does_not_change_the_judgement_of_what_is_there():
    after = plain(moved(engine(), intake=1.5))
    alone = compare(after, [GOOD], same_vehicle=True)
    both = compare(after, [GOOD], before=BEFORE, same_vehicle=True)
    assert both.verdict == alone.verdict
    assert both.cams == alone.cams


@pytest.mark.parametrize("code", ["damaged-tooth", "too-short", "wide-scatter"])
def test_a_spoiled_recording_is_no_known_good(code):
    check = repair(moved(engine()), codes=(code,), same_vehicle=True).repair
    assert check.is_right
    assert not check.may_become_known_good
    assert check.why


@pytest.mark.parametrize("code", ["phaser-moving", "wheel-unsure"])
def test_what_is_not_judged_is_not_right(code):
    check = repair(moved(engine()), codes=(code,), same_vehicle=True).repair
    assert not check.is_right
    assert not check.may_become_known_good


def test_a_known_goods_own_findings_do_not_spoil_the_repair():
    short = plain(GOOD, "too-short")
    result = compare(plain(moved(engine())), [short], before=BEFORE, same_vehicle=True)
    assert result.repair.may_become_known_good


def test_what_the_numbers_from_before_are_worth_is_said():
    moving = plain(BEFORE, "phaser-moving")
    result = compare(plain(moved(engine())), [GOOD], before=moving, same_vehicle=True)
    assert result.repair.is_right
    assert any("before" in text and "phaser" in text for text in result.repair.remains)


def test_a_cam_that_was_not_recorded_before():
    part = plain(moved(engine(), "before", intake=None, exhaust=5.0))
    result = compare(plain(moved(engine())), [GOOD], before=part, same_vehicle=True)
    (intake,) = [text for text in result.repair.remains if text.startswith("intake cam")]
    assert "before not measured" in intake


def test_another_engine_before_is_refused():
    with pytest.raises(NotMeasurableError) as caught:
        compare(moved(engine()), [GOOD], before=engine("fell-v6"))
    assert caught.value.exit_code == 4
    assert "\n" not in str(caught.value)
