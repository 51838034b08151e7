"""What is said of a comparison: one word for one thing, and no number without its uncertainty."""

import re
from dataclasses import replace
from functools import cache

import pytest

from crankwise.comparison.words import direction, motion, shift_in_words
from crankwise.drive.engine_file import load_engine
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
        by = shifts.get(cam.role.replace("-", "_"), 0.0)
        edges = [replace(e, angle_deg=wrap_cycle_deg(e.angle_deg + by)) for e in cam.edges]
        edges.sort(key=lambda edge: edge.angle_deg)
        cams.append(replace(cam, edges=tuple(edges)))
    recording = replace(measurement.recording, name=name, sha256=f"{name:0>64}")
    return replace(measurement, cams=tuple(cams), recording=recording)


# --- one cam in one sentence --------------------------------------------------------------------


def said(shift_deg, uncertainty_deg, subject, known_good, role="exhaust"):
    return shift_in_words(
        role,
        shift_deg=shift_deg,
        uncertainty_deg=uncertainty_deg,
        subject=subject,
        known_good=known_good,
    )


def test_the_sentence_as_a_technician_says_it():
    assert said(-3.0, 0.2, "1.5 after the gap", "2.0 after the gap") == (
        "exhaust cam: 1.5 teeth after the gap, known-good 2.0; it comes 3.0° ± 0.2° earlier"
    )
    assert said(6.0, 0.3, "5.0 before the gap", "6.0 before the gap", role="intake-2") == (
        "intake-2 cam: 5.0 teeth before the gap, known-good 6.0; it comes 6.0° ± 0.3° later"
    )


def test_places_on_two_sides_of_the_gap_are_both_told():
    sentence = said(12.0, 0.3, "1.5 after the gap", "2.0 before the gap")
    assert "1.5 teeth after the gap, known-good 2.0 teeth before the gap" in sentence
    sentence = said(12.0, 0.3, "in the gap, 1.5 before its end", "2.0 before the gap")
    assert sentence.startswith(
        "exhaust cam: in the gap, 1.5 before its end, known-good 2.0 teeth before the gap"
    )


def test_a_wheel_without_a_gap_is_counted_from_its_zero_tooth():
    sentence = said(-2.0, 0.5, "tooth 3.0 from the zero tooth", "tooth 3.2 from the zero tooth")
    assert "tooth 3.0 from the zero tooth, known-good tooth 3.2 from the zero tooth" in sentence


def test_what_is_within_its_uncertainty_is_no_shift():
    for shift in (0.0, 0.2, -0.2):
        sentence = said(shift, 0.2, "2.0 after the gap", "2.0 after the gap")
        assert "no shift can be told" in sentence
        assert "earlier" not in sentence
        assert "later" not in sentence
        assert "± 0.2°" in sentence


@pytest.mark.parametrize("uncertainty", [0.01, 0.013, 0.049, 0.051, 0.094, 0.096, 0.3, 12.0])
def test_no_uncertainty_is_written_as_nought(uncertainty):
    for shift in (0.0, 0.03, -3.0):
        sentence = said(shift, uncertainty, "2.0 after the gap", "2.0 after the gap")
        (written,) = re.findall(r"± ([\d.]+)°", sentence)
        assert float(written) > 0.0
        # Rounded up, by less than one of its last digits.
        step = 0.1 if uncertainty >= 0.095 else 0.01
        assert uncertainty - 1e-9 <= float(written) < uncertainty + step


def test_direction_and_motion_are_the_words_of_the_design():
    assert direction(0.21, 0.2) == "retarded"  # positive = later in rotation = retarded
    assert direction(-0.21, 0.2) == "advanced"
    assert direction(0.2, 0.2) == direction(-0.2, 0.2) == direction(0.0, 0.0) == "unchanged"
    for apart in (120.0, -120.0):
        # The second comes ``apart`` after the first; what makes that larger opens them.
        wider = 1.0 if apart > 0 else -1.0
        assert motion(wider, 0.2, apart_deg=apart) == "opening"
        assert motion(-wider, 0.2, apart_deg=apart) == "closing"
        assert motion(0.1, 0.2, apart_deg=apart) == "unchanged"


def placed(measurement, role, angles_deg):
    """The same measurement with the edges of one cam where one wants them."""
    cams = []
    for cam in measurement.cams:
        edges = cam.edges
        if cam.role == role:
            edges = tuple(
                replace(edge, angle_deg=angle)
                for edge, angle in zip(cam.edges, sorted(angles_deg), strict=True)
            )
        cams.append(replace(cam, edges=edges))
    return replace(measurement, cams=tuple(cams))


def test_the_whole_way_to_the_sentence():
    # Tooth 2 after the gap of a 60-2 lies 6 degrees after the zero, "1.5" at 3 degrees.
    places = (6.0, 106.0, 186.0, 286.0, 426.0, 466.0, 606.0, 646.0)
    good = placed(engine(), "exhaust", places)
    van = placed(engine(), "exhaust", [place - 3.0 for place in places])
    cam = compare(van, [good], same_vehicle=True).cam("exhaust")
    assert re.fullmatch(
        r"exhaust cam: 1\.5 teeth after the gap, known-good 2\.0; it comes "
        r"3\.0\d?° ± 0\.\d+° earlier",
        cam.words,
    )
    assert cam.shift_deg == pytest.approx(-3.0)
    assert cam.shift_teeth == pytest.approx(-0.5)


# --- the whole verdict --------------------------------------------------------------------------


@cache
def comparisons():
    """One comparison of each kind that is judged, by name."""
    good, other = engine(), engine(seed=2)
    tarn = load_engine("tarn-t20")
    goods = [
        moved(engine(seed=seed), f"good-{seed}", intake=by, exhaust=by)
        for seed, by in ((1, 0.0), (2, 0.5), (3, -0.6))
    ]
    bad = moved(engine(seed=4), "bad", intake=9.0, exhaust=9.0)
    unnamed = replace(
        good,
        cams=tuple(
            replace(cam, role=f"cam-{place}") for place, cam in enumerate(good.cams, start=1)
        ),
    )
    nameless = replace(
        unnamed,
        cams=(
            *unnamed.cams[:1],
            replace(
                unnamed.cams[1],
                edges=tuple(
                    replace(edge, angle_deg=edge.angle_deg + 13.0) for edge in unnamed.cams[1].edges
                ),
            ),
        ),
    )
    moving = replace(
        good,
        findings=(
            *good.findings,
            Finding("phaser-moving", "caution", "The intake cam moved while recording."),
        ),
    )
    unsure = replace(
        good, findings=(*good.findings, Finding("wheel-unsure", "caution", "It may be 36-1."))
    )
    fell = engine("fell-v6")
    return {
        "itself": compare(other, [good]),
        "in time": compare(moved(other), [good], engine=tarn, same_vehicle=True),
        "drifting": compare(moved(other, intake=1.6), [good], engine=tarn, same_vehicle=True),
        "worn": compare(moved(other, intake=5.6), goods, engine=tarn),
        "near the limit": compare(moved(other, exhaust=10.0), [good]),
        "beyond": compare(moved(other, intake=13.0, exhaust=13.0), [good], engine=tarn),
        "crank side": compare(moved(other, intake=-6.0, exhaust=-6.0), [good], same_vehicle=True),
        "service figure": compare(moved(other, intake=4.0), [good], service_limit_deg=3.0),
        "one bad": compare(moved(other), [*goods, engine(seed=5), bad]),
        "bank": compare(
            moved(fell, intake_2=9.5, exhaust_2=9.5), [fell], engine=load_engine("fell-v6")
        ),
        "nameless": compare(nameless, [unnamed]),
        "phaser": compare(moved(moving, intake=3.0), [good], engine=tarn),
        "wheel": compare(moved(unsure, intake=3.0), [good], engine=tarn),
        "repair": compare(
            moved(other, intake=1.5), [good], engine=tarn, before=moved(other, intake=8.0)
        ),
    }


def verdict_texts(result):
    verdict = result.verdict
    yield verdict.summary
    yield from (*verdict.reasons, *verdict.advice, *verdict.would_change)
    yield from (*verdict.cautions, *verdict.codes)
    yield result.limits.text
    yield from (cam.words for cam in result.cams)
    yield from (change.words for change in result.separations)
    yield from (item.text for item in result.findings)
    if result.ripple is not None:
        yield result.ripple.words
    if result.repair is not None:
        yield from (*result.repair.remains, result.repair.why)


# What may stand without an uncertainty: a limit, a bound of an interval, an assumed spread, the
# turn that the match added, a width of the wheel.
_LIMIT = re.compile(
    r"(limit|limit of|limit is|limit for it is|from|to|up to|of|within|beyond|than|At|over|least|"
    r"edge at|deviation|spread|spread among them|turned by|half a tooth|width of a tooth) \(?$"
)


def bare_numbers(text):
    """Degrees in a text that neither carry an uncertainty nor are a limit."""
    found = []
    for number in re.finditer(r"[-+]?\d+(?:\.\d+)?°", text):
        before, after = text[: number.start()], text[number.end() :]
        if after.startswith(" ±") or before.endswith(("± ", "±")):
            continue
        if _LIMIT.search(before):
            continue
        found.append(number.group())
    return found


def test_the_rule_on_bare_numbers_can_fail():
    assert bare_numbers("The cam moved by +3.0°.") == ["+3.0°"]
    assert bare_numbers("P0016 would be expected at +20.0°.") == ["+20.0°"]
    assert bare_numbers("it would count as worn (now 5.6°)") == ["5.6°"]
    assert bare_numbers("The cam moved by +3.0° ± 0.2°, the code limit is 12°.") == []


COMPARISONS = (
    "itself", "in time", "drifting", "worn", "near the limit", "beyond", "crank side",
    "service figure", "one bad", "bank", "nameless", "phaser", "wheel", "repair",
)  # fmt: skip


@pytest.mark.parametrize("name", COMPARISONS)
def test_no_bare_number(name):
    bare = {text: bare_numbers(text) for text in verdict_texts(comparisons()[name])}
    assert {text: numbers for text, numbers in bare.items() if numbers} == {}


@pytest.mark.parametrize("name", COMPARISONS)
def test_no_nought_that_is_none(name):
    for text in verdict_texts(comparisons()[name]):
        assert not re.search(r"± 0(\.0+)?°", text), text
        assert not re.search(r"-0(\.0+)?°", text), text


# One thing, one word (design, words): the first is ours.
SYNONYMS = {
    "known-good": r"golden|golden sample|baseline|master\b|reference recording|reference engine",
    "shift": r"\bdeviation of the cam|\boffset\b|\bdisplacement\b",
    "wheel": r"reluctor|tone ring|trigger wheel|phonic",
    "recording": r"\bcapture\b|\bwaveform\b|\btrace\b",
    "scatter": r"\bjitter\b",
    "retarded": r"\bdelayed timing\b|\bslow timing\b",
    "crank": r"crankshaft position sensor signal|\bCKP\b|\bCMP\b",
    "channel": r"\bprobe [A-D]\b",
}


@pytest.mark.parametrize("name", COMPARISONS)
def test_one_thing_has_one_word(name):
    for text in verdict_texts(comparisons()[name]):
        for word, others in SYNONYMS.items():
            assert not re.search(others, text, re.IGNORECASE), f"say '{word}': {text}"


MAKERS = (
    "mercedes|volvo|hyundai|kia|toyota|ford|suzuki|chrysler|porsche|bosch|audi|volkswagen|bmw"
    "|pico|gm documents"
)


@pytest.mark.parametrize("name", COMPARISONS)
def test_no_maker_is_named_but_as_a_source(name):
    for text in verdict_texts(comparisons()[name]):
        if text.startswith("Code limit"):  # says where the limit was published
            continue
        assert not re.search(rf"\b({MAKERS})\b", text, re.IGNORECASE), text


@pytest.mark.parametrize("name", COMPARISONS)
def test_every_text_is_a_clean_sentence(name):
    result = comparisons()[name]
    verdict = result.verdict
    sentences = (verdict.summary, *verdict.reasons, *verdict.advice, *verdict.would_change)
    for text in (*sentences, *verdict.cautions, *verdict.codes):
        assert text == text.strip()
        assert text.endswith("."), text
        assert text[0].isupper(), text
        assert "\n" not in text
        assert "  " not in text
        assert ".." not in text
        assert not re.search(r"\b(None|nan|inf|True|False)\b|\{|\}", text), text
        assert "cam cam" not in text
        assert not re.search(r"\bcam-\d cam\b", text), text
    assert len(set(sentences)) == len(sentences)


@pytest.mark.parametrize("name", COMPARISONS)
def test_the_summary_and_reasons_hold_the_verdict(name):
    result = comparisons()[name]
    if result.verdict.level == "not-judged":
        assert result.verdict.summary.startswith("Not judged: ")
        return
    # The number on which the verdict rests stands in it with its uncertainty.
    assert re.search(r"[-+]?\d+\.\d+° ± \d+\.\d+°", result.verdict.summary)
    said = " ".join(result.verdict.reasons)
    for cam in result.cams:
        assert cam.words[1:] in said
    assert f"{result.limits.code_limit_deg:g}°" in said
    assert result.limits.code_limit_source in said


def test_the_limits_are_told_with_where_they_come_from():
    said = {name: " ".join(comparisons()[name].verdict.reasons) for name in COMPARISONS}
    assert "this very vehicle at an earlier time" in said["in time"]
    assert "one other vehicle" in said["beyond"]
    assert "assumed" in said["beyond"]
    assert "3 known-goods of the family" in said["worn"]
    assert "service information" in said["service figure"]
    assert "99.7%" in said["worn"] or "99.7 %" in said["worn"]
