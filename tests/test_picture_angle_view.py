"""The angle view, read back from its own SVG: things are where the angles say."""

from __future__ import annotations

import dataclasses
import itertools
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from crankwise import document
from crankwise.errors import MissingPackageError, UsageError
from crankwise.picture import angle_view, crank_lane, png, save_picture, style, svg
from crankwise.picture.layout import Axis, text_width
from crankwise.picture.panels import zoom_windows

INPUTS = Path(__file__).parent / "snapshots" / "inputs"
SVG = "{http://www.w3.org/2000/svg}"
LEFT, RIGHT = 160.0, 1055.0  # of the upper panel


@pytest.fixture(scope="module")
def t20():
    return document.load(INPUTS / "t20.json")


@pytest.fixture(scope="module")
def v6():
    return document.load(INPUTS / "v6.json")


def parsed(drawn):
    return ET.fromstring(drawn)  # noqa: S314  our own output


def with_angles(measurement, angles, **changes):
    """One cam with edges at these angles."""
    first = measurement.cams[0].edges[0]
    edges = tuple(
        dataclasses.replace(first, angle_deg=a, edge=("falling", "rising")[i % 2])
        for i, a in enumerate(sorted(angles))
    )
    cam = dataclasses.replace(measurement.cams[0], edges=edges)
    return dataclasses.replace(measurement, cams=(cam,), **changes)


def texts(root):
    """Every upright text with its box: words, left, right, top, bottom."""
    for node in root.iter(f"{SVG}text"):
        size, x, y = (float(node.get(key)) for key in ("font-size", "x", "y"))
        width = text_width(node.text, size=size)
        left = x - {"start": 0.0, "middle": width / 2, "end": width}[node.get("text-anchor")]
        if node.get("transform"):  # turned: reads upwards from its place
            foot = y if node.get("text-anchor") == "start" else y + width
            yield node.text, x - 0.75 * size, x + 0.2 * size, foot - width, foot
        else:
            yield node.text, left, left + width, y - 0.75 * size, y + 0.2 * size


def assert_no_text_overlaps(root, *, width):
    boxes = list(texts(root))
    for (a, l1, r1, t1, b1), (b, l2, r2, t2, b2) in itertools.combinations(boxes, 2):
        apart = r1 <= l2 + 1 or r2 <= l1 + 1 or b1 <= t2 + 0.5 or b2 <= t1 + 0.5
        assert apart, f"{a!r} runs into {b!r}"
    for words, left, right, _, _ in boxes:
        assert left >= 0, words
        assert right <= width, words


def test_the_picture_in_the_readme_is_the_one_the_code_draws():
    committed = (Path(__file__).parents[1] / "docs/angle-view.svg").read_text(encoding="utf-8")
    drawn = angle_view(document.load(INPUTS / "van.json"))
    assert drawn == committed, "look at it, then run scripts/write_generated.py"


@pytest.mark.parametrize("name", ["t20", "v6", "van"])
def test_no_text_covers_another(name):
    root = parsed(angle_view(document.load(INPUTS / f"{name}.json")))
    assert_no_text_overlaps(root, width=float(root.get("width")))


@pytest.mark.parametrize(
    "angles",
    [
        [],
        [0.0],
        [719.99],
        [0.0, 1.0, 2.0, 3.0, 355.0, 719.9],
        [30.0 * k + 3 for k in range(24)],
        [7.2 * k for k in range(100)],
        [3.6 * k for k in range(200)],
        [342.0, 345.0, 350.0, 355.0, 359.0, 1.0, 5.0],
    ],
    ids=["none", "zero", "end", "close", "many", "very-many", "too-many", "gap"],
)
def test_no_text_covers_another_whatever_the_edges(t20, angles):
    root = parsed(angle_view(with_angles(t20, angles)))
    assert_no_text_overlaps(root, width=float(root.get("width")))


def test_what_is_too_much_to_write_is_said(t20):
    assert "100 edges, too many to write here" in angle_view(
        with_angles(t20, [3.6 * k for k in range(200)])
    )


def test_each_edge_of_the_cycle_has_a_marker_at_its_angle(t20):
    root = parsed(angle_view(t20))
    ruler = max(
        float(n.get("y1"))
        for n in root.iter(f"{SVG}line")
        if n.get("x1") == "160" and n.get("y1") == n.get("y2") and n.get("x2") == "1055"
    )
    wanted = sorted(
        (edge.angle_deg, edge.edge, style.role_colour(cam.role))
        for cam in t20.cams
        for edge in cam.edges
    )
    found = []
    for node in root.iter(f"{SVG}polygon"):
        points = [tuple(map(float, p.split(","))) for p in node.get("points").split()]
        tip, foot = points[0], points[1]
        if tip[1] < ruler and LEFT - 1 <= tip[0] <= RIGHT + 1:
            angle = (tip[0] - LEFT) / (RIGHT - LEFT) * 720
            found.append((angle, "rising" if tip[1] < foot[1] else "falling", node.get("stroke")))
    assert len(found) == len(wanted)
    for (angle, edge, colour), (at, kind, stroke) in zip(wanted, sorted(found), strict=True):
        assert at == pytest.approx(angle, abs=0.01)
        assert (kind, stroke) == (edge, colour)


def test_angle_uncertainty_and_tooth_words_stand_at_every_edge(t20):
    written = [words for words, *_ in texts(parsed(angle_view(t20)))]
    assert "150.02° ± 0.09°" in written
    for cam in t20.cams:
        for edge in cam.edges:
            assert set(edge.teeth.split(", ")) <= set(written)


def test_the_level_between_edges_follows_their_direction(t20):
    # High from 30.02 to 150.02 degrees, low to 210.02: read the first polyline back.
    line = next(parsed(angle_view(t20)).iter(f"{SVG}polyline"))
    points = [tuple(map(float, p.split(","))) for p in line.get("points").split()]
    high, low = min(y for _, y in points), max(y for _, y in points)

    def level(angle_deg: float) -> float:
        x = LEFT + angle_deg / 720 * (RIGHT - LEFT)
        return next(y1 for (x1, y1), (x2, _) in itertools.pairwise(points) if x1 <= x < x2)

    assert [level(a) for a in (10, 90, 180, 300, 400, 480, 600, 660, 700)] == [
        low, high, low, high, low, high, low, high, low,
    ]  # fmt: skip


def test_teeth_are_counted_outward_from_the_gap(t20):
    teeth = list(crank_lane.counted_teeth(t20.crank, Axis(0.0, 720.0, 0.0, 720.0)))
    at = {tooth.angle_deg: (tooth.number, tooth.after) for tooth in teeth}
    assert len(teeth) == 2 * 58 + 1  # the first tooth of the next cycle is in view at 720
    # Hyundai/Kia service information 8589470: the 17th tooth after the gap is 96 degrees on.
    assert at[96.0] == (17, True)
    assert at[0.0] == at[360.0] == at[720.0] == (1, True)
    assert at[342.0] == at[702.0] == (1, False)
    assert at[318.0] == (5, False)


def test_without_a_gap_teeth_are_counted_onward(t20):
    crank = dataclasses.replace(
        t20.crank, has_gap=False, intervals_deg=(15.0,) * 24, teeth_per_rev=24, pitch_deg=15.0
    )
    teeth = list(crank_lane.counted_teeth(crank, Axis(0.0, 359.0, 0.0, 359.0)))
    assert [tooth.number for tooth in teeth] == list(range(1, 25))
    drawn = angle_view(dataclasses.replace(t20, crank=crank))
    assert "before the gap →" not in drawn
    assert ">gap<" not in drawn


@pytest.mark.parametrize(
    ("angles", "windows"),
    [
        ([200.0], []),
        ([350.0], [(312.0, 390.0)]),  # inside the gap: the least window, 30 degrees each side
        ([10.0], [(-48.0, 30.0)]),
        ([400.0], [(290.0, 412.0)]),
        ([5.0, 330.0], [(-48.0, 30.0), (312.0, 390.0)]),
        ([415.0], []),
    ],
)
def test_a_closer_look_is_taken_where_edges_are_near_a_gap(t20, angles, windows):
    assert zoom_windows(angles, t20.crank) == windows


def test_bank_two_has_open_markers_and_unknown_cams_are_plum(v6):
    marks = list(parsed(angle_view(v6)).iter(f"{SVG}polygon"))
    fills = {(m.get("stroke"), m.get("fill")) for m in marks}
    assert {("#0b7f7c", "#0b7f7c"), ("#0b7f7c", "#ffffff"), ("#b8502f", "#ffffff")} <= fills
    assert style.role_colour("cam-2") == "#7a4a86"
    assert not style.has_open_markers("cam-2")


def test_names_from_a_file_stay_text(t20):
    evil = '</text><script>alert("x")</script>&\x00\x1b]]>'
    info = dataclasses.replace(t20.recording, name=evil)
    cam = dataclasses.replace(t20.cams[0], channel=evil)
    root = parsed(angle_view(dataclasses.replace(t20, recording=info, cams=(cam,))))
    assert {node.tag for node in root.iter()}.isdisjoint({f"{SVG}script", "script"})
    assert any(
        '</text><script>alert("x")</script>&' in (n.text or "") for n in root.iter(f"{SVG}text")
    )


def test_attributes_are_escaped_too():
    made = str(svg.element("rect", fill='red" onload="x', x=1.0))
    assert parsed(made).attrib == {"fill": 'red" onload="x', "x": "1"}


def test_moving_cams_and_an_unknown_cycle_are_said_in_the_picture(t20):
    cam = dataclasses.replace(t20.cams[0], moving_deg=3.0)
    crank = dataclasses.replace(t20.crank, cycle_known=False)
    drawn = angle_view(dataclasses.replace(t20, cams=(cam,), crank=crank))
    assert "moves while recorded" in drawn
    assert "360° more or less" in drawn


def test_png_is_made_with_the_shipped_font(t20, tmp_path):
    save_picture(t20, tmp_path / "van.png")
    data = (tmp_path / "van.png").read_bytes()
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(data[16:20]) == 2 * 1230


def test_png_shows_text(t20):
    drawn = angle_view(t20)
    blank = drawn.replace("van-3.csv", "         ")
    assert png(drawn) != png(blank)


def test_png_without_its_package_says_what_to_install(t20, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "resvg_py", None)
    with pytest.raises(MissingPackageError, match=r"pip install 'crankwise\[png\]'"):
        save_picture(t20, tmp_path / "van.png")
    assert not (tmp_path / "van.png").exists()


def test_other_endings_are_refused(t20, tmp_path):
    with pytest.raises(UsageError, match=r"\.svg or \.png"):
        save_picture(t20, tmp_path / "van.gif")


def test_the_picture_has_words_for_those_who_can_not_see_it(t20):
    root = parsed(angle_view(t20))
    assert "van-3.csv" in root.find(f"{SVG}title").text
    assert "intake: rising 30.02° ± 0.09°, 6.0 after the gap" in root.find(f"{SVG}desc").text
