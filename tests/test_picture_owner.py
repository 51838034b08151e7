"""The owner's picture and the strips for paper, read back from their own SVG."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import pytest

from crankwise import document
from crankwise.language import LANGUAGES, using
from crankwise.picture import style
from crankwise.picture.comparison_print import comparison_strips
from crankwise.picture.crank_lane import counted_teeth
from crankwise.picture.layout import Axis, text_width
from crankwise.picture.move_scale import Move, in_words
from crankwise.picture.owner_view import WIDTH, OwnerPicture, marked_edge, owner_view

INPUTS = Path(__file__).parent / "snapshots" / "inputs"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def van():
    return document.load_comparison(INPUTS / "van-compared.json")


@pytest.fixture(scope="module")
def crank(van):
    return van.crank


def move(cam, *, low=-2.0, high=2.0, worn=4.0, far=12.0):
    return Move(cam.shift_deg, cam.uncertainty_deg, "How far", low, high, worn, far)


def drawn(cam, crank, **limits):
    picture = OwnerPicture(cam, crank, "so much", "1 tooth = 6°", move(cam, **limits))
    return ET.fromstring(owner_view(picture))  # noqa: S314  ours


def shifted(cam, shift_deg):
    edges = tuple(replace(edge, shift_deg=shift_deg) for edge in cam.edges)
    return replace(cam, shift_deg=shift_deg, edges=edges)


def points(element):
    return [tuple(map(float, pair.split(","))) for pair in element.get("points").split()]


def teeth_of(root):
    """Left and right ends of the teeth drawn, without the rim below them."""
    rects = [r for r in root.iter(f"{SVG}rect") if r.get("fill") == style.CRANK]
    ends = [(float(r.get("x")), float(r.get("x")) + float(r.get("width"))) for r in rects]
    return [pair for pair in ends if pair[1] - pair[0] < WIDTH / 2]


def lanes_of(root):
    """Signals of the healthy engine and of this one: wide lines, the first one dashed."""
    lines = [p for p in root.iter(f"{SVG}polyline") if float(p.get("stroke-width")) >= 3.0]
    healthy = next(line for line in lines if line.get("stroke-dasharray"))
    own = next(line for line in lines if not line.get("stroke-dasharray"))
    return points(healthy), points(own)


def steps_of(line):
    """Where a signal steps up or down."""
    return [a[0] for a, b in itertools.pairwise(line) if a[0] == b[0] and a[1] != b[1]]


@pytest.mark.parametrize("shift_deg", [-14.0, -4.0, 4.0, 14.0])
def test_the_signals_are_apart_by_the_shift_on_the_scale_of_the_teeth(shift_deg, van, crank):
    root = drawn(shifted(van.cam("intake"), shift_deg), crank)
    teeth = teeth_of(root)
    px_per_deg = (teeth[2][1] - teeth[1][1]) / crank.pitch_deg
    healthy, own = (steps_of(line) for line in lanes_of(root))
    apart = {round((b - a) / px_per_deg, 1) for a in healthy for b in own}
    assert round(shift_deg, 1) in apart


def test_the_teeth_are_those_of_the_wheel_and_the_gap_is_open(van, crank):
    teeth = teeth_of(drawn(van.cam("intake"), crank))
    steps = sorted(round(b[1] - a[1], 1) for a, b in itertools.pairwise(teeth))
    assert steps[-1] == pytest.approx(3 * steps[0], rel=0.02)  # 60-2: the gap is three pitches
    assert steps[0] == pytest.approx(steps[-2], rel=0.02)


def test_the_marked_edge_is_the_one_nearest_to_a_gap(van, crank):
    places = {"intake": 326.0, "exhaust": 26.0}  # 16° before the gap, 26° after it
    for role, angle in places.items():
        assert marked_edge(van.cam(role), crank).known_good_deg == pytest.approx(angle, abs=0.5)
    assert marked_edge(replace(van.cam("intake"), edges=()), crank) is None


def test_a_cam_without_edges_still_has_its_scale(van, crank):
    root = drawn(replace(van.cam("intake"), edges=()), crank)
    words = [text.text for text in root.iter(f"{SVG}text")]
    assert "too far: 12°" in words
    assert "Healthy engine" not in words


@pytest.mark.parametrize("shift_deg", [0.0, 0.5, 3.0, -3.0, 11.0, 13.0, -25.0])
def test_the_mark_on_the_scale_is_where_the_shift_is(shift_deg, van, crank):
    root = drawn(shifted(van.cam("intake"), shift_deg), crank)
    (pointer,) = [p for p in root.iter(f"{SVG}polygon") if p.get("stroke") == "#ffffff"]
    middle = sum(x for x, _ in points(pointer)) / 3
    far = next(
        float(line.get("x1")) for line in root.iter(f"{SVG}line")
        if line.get("stroke-width") == "2.8"
    )  # fmt: skip
    zero = 10.0  # left end and the room for a mark at nought
    assert (middle - zero) / (far - zero) == pytest.approx(abs(shift_deg) / 12.0, abs=0.005)
    assert all(0.0 <= x <= WIDTH for x, _ in points(pointer))


@pytest.mark.parametrize(("healthy", "shown"), [(2.0, True), (4.7, False), (None, True)])
def test_wear_is_looked_for_only_outside_what_is_healthy(healthy, shown, van, crank):
    cam = van.cam("intake")
    limits = {"low": None if healthy is None else -healthy, "high": healthy}
    words = [text.text for text in drawn(cam, crank, **limits).iter(f"{SVG}text")]
    assert ("look for wear: from 4°" in words) is shown
    assert any(word.startswith("healthy: up to") for word in words) is (healthy is not None)
    assert ("From 4° on" in in_words(move(cam, **limits))) is shown


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("shift_deg", [0.0, 0.4, -4.0, 12.0, 40.0])
@pytest.mark.parametrize("high", [0.3, 2.7, 4.7, 11.9, None])
def test_words_of_the_scale_never_lie_over_each_other(shift_deg, high, language, van, crank):
    low = None if high is None else -high
    with using(language):
        root = drawn(shifted(van.cam("intake"), shift_deg), crank, low=low, high=high)
    placed = []
    for text in root.iter(f"{SVG}text"):
        width = text_width(text.text, size=float(text.get("font-size")))
        x, y = float(text.get("x")), float(text.get("y"))
        left = {"start": x, "middle": x - width / 2, "end": x - width}[text.get("text-anchor")]
        assert left >= -1.0
        assert left + width <= WIDTH + 1.0
        placed.append((round(y), left, left + width))
    for y in {row[0] for row in placed}:
        row = sorted(item[1:] for item in placed if item[0] == y)
        assert all(a[1] <= b[0] for a, b in itertools.pairwise(row))


@pytest.mark.parametrize("wheel", ["36-1", "4+1", "no gap"])
def test_other_wheels_have_their_own_teeth(wheel, van, crank):
    intervals = {
        "36-1": (10.0,) * 34 + (20.0,),
        "4+1": (90.0, 90.0, 90.0, 45.0, 45.0),
        "no gap": (45.0,) * 8,
    }[wheel]
    other = replace(
        crank, wheel=wheel, intervals_deg=intervals, pitch_deg=min(intervals),
        has_gap=wheel != "no gap",
    )  # fmt: skip
    root = drawn(van.cam("intake"), other)
    assert len(teeth_of(root)) >= 1
    assert all(0.0 <= left <= right <= WIDTH for left, right in teeth_of(root))


def test_colour_is_not_needed(van, crank):
    """The two engines differ by dashes and width, zones by hatching."""
    root = drawn(van.cam("intake"), crank)
    lines = [p for p in root.iter(f"{SVG}polyline") if float(p.get("stroke-width")) >= 3.0]
    assert {bool(line.get("stroke-dasharray")) for line in lines} == {True, False}
    strokes = [e for e in root.iter(f"{SVG}line") if e.get("stroke") == style.FAINT_INK]
    assert len(strokes) > 10


def test_the_strips_hold_every_edge_once_and_the_gap(van, crank):
    strips = comparison_strips(van, crank=crank)
    assert [strip.title for strip in strips] == [
        "Near the gap", "First revolution of the crank", "Second revolution of the crank",
        "What the shapes mean",
    ]  # fmt: skip
    for cam in van.cams:
        for edge in cam.edges:
            label = re.escape(f"{edge.shift_deg:+.2f}°")
            turn = strips[1 if edge.known_good_deg + edge.shift_deg < 360 else 2].svg
            assert re.search(label, turn)


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_strips_of_four_cams_stay_inside(language, van, crank):
    cams = tuple(replace(van.cams[0], role=f"cam-{n}") for n in range(1, 5))
    with using(language):
        strips = comparison_strips(replace(van, cams=cams), crank=crank)
    for strip in strips:
        root = ET.fromstring(strip.svg)  # noqa: S314  ours
        width = float(root.get("width"))
        (moved,) = [*root.iter(f"{SVG}g")][1:2] or [root]
        shift = -15.0 if moved.get("transform") else 0.0
        for text in root.iter(f"{SVG}text"):
            if text.get("text-anchor") == "start":
                right = float(text.get("x")) + shift
                right += text_width(text.text, size=float(text.get("font-size")))
                assert right <= width + 1.0, text.text


def test_without_cams_there_is_nothing_to_strip(van, crank):
    assert comparison_strips(replace(van, cams=()), crank=crank) == ()


def test_a_kept_crank_counts_teeth_as_the_measured_one(crank):
    measured = document.load(INPUTS / "van.json").crank
    axis = Axis(-20.0, 60.0, 0.0, 100.0)
    assert list(counted_teeth(crank, axis)) == list(counted_teeth(measured, axis))
