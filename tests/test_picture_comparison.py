"""The angle view of a comparison, read back from its own SVG: things are where the angles say."""

from __future__ import annotations

import dataclasses
import itertools
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import get_args

import pytest

from crankwise import document
from crankwise.document.files import sha256_of
from crankwise.errors import UsageError
from crankwise.model.comparison import Level
from crankwise.picture import comparison_view, png, save_comparison_picture, style
from crankwise.picture.comparison_view import closer_window
from crankwise.picture.layout import text_width
from crankwise.picture.verdicts import SIGNS

INPUTS = Path(__file__).parent / "snapshots" / "inputs"
SVG = "{http://www.w3.org/2000/svg}"
LEFT, RIGHT = 160.0, 1055.0  # of the panels


@pytest.fixture(scope="module")
def van():
    return document.load_comparison(INPUTS / "van-compared.json")


@pytest.fixture(scope="module")
def crank():
    return document.load(INPUTS / "van.json").crank


def with_edges(comparison, *places, **changes):
    """One cam with edges at these (known-good angle, shift) pairs, and other changes to it."""
    first = comparison.cams[0].edges[0]
    edges = tuple(
        dataclasses.replace(
            first,
            edge=("rising", "falling")[index % 2],
            known_good_deg=angle,
            subject_deg=(angle + shift) % 720,
            shift_deg=shift,
        )
        for index, (angle, shift) in enumerate(places)
    )
    cam = dataclasses.replace(comparison.cams[0], edges=edges, **changes)
    return dataclasses.replace(comparison, cams=(cam,))


def four_cams(comparison):
    """Four cams on two banks; those of the second are 4 degrees later."""
    cams = []
    for role, turn, more in (("exhaust-1", 0, 0), ("exhaust-2", 120, 4), ("intake-1", 40, 0),
                             ("intake-2", 160, 4)):  # fmt: skip
        source = comparison.cams[role.startswith("intake")]
        edges = tuple(
            dataclasses.replace(
                edge,
                known_good_deg=(edge.known_good_deg + turn) % 720,
                subject_deg=(edge.subject_deg + turn + more) % 720,
                shift_deg=edge.shift_deg + more,
            )
            for edge in source.edges
        )
        cams.append(dataclasses.replace(source, role=role, subject_channel=role, edges=edges))
    return dataclasses.replace(comparison, cams=tuple(cams))


def parsed(drawn):
    return ET.fromstring(drawn)  # noqa: S314  our own output


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


def assert_no_text_overlaps(root):
    boxes = list(texts(root))
    for (a, l1, r1, t1, b1), (b, l2, r2, t2, b2) in itertools.combinations(boxes, 2):
        apart = r1 <= l2 + 1 or r2 <= l1 + 1 or b1 <= t2 + 0.5 or b2 <= t1 + 0.5
        assert apart, f"{a!r} runs into {b!r}"
    for words, left, right, _, bottom in boxes:
        assert left >= 0, words
        assert right <= float(root.get("width")), words
        assert bottom <= float(root.get("height")), words


def points_of(node):
    return [tuple(map(float, pair.split(","))) for pair in node.get("points").split()]


def flanks(node, *, from_deg=0.0, to_deg=720.0):
    """Angles at which a pattern changes its level."""
    scale = (to_deg - from_deg) / (RIGHT - LEFT)
    points = points_of(node)
    return [
        from_deg + (x1 - LEFT) * scale
        for (x1, y1), (x2, y2) in itertools.pairwise(points)
        if x1 == x2 and y1 != y2
    ]


def patterns(root):
    """Patterns from the top: known-good (dashed) and subject (solid) of each cam and panel."""
    wide = [
        node
        for node in root.iter(f"{SVG}polyline")
        if points_of(node)[0][0] == LEFT and points_of(node)[-1][0] == RIGHT
    ]
    dashed = [node for node in wide if node.get("stroke-dasharray")]
    return dashed, [node for node in wide if not node.get("stroke-dasharray")]


def test_the_picture_in_the_docs_is_the_one_the_code_draws(van, crank):
    committed = (Path(__file__).parents[1] / "docs/comparison-view.svg").read_text("utf-8")
    drawn = comparison_view(van, crank=crank)
    assert drawn == committed, "look at it, then run scripts/write_generated.py"


def test_the_subject_lies_over_the_lighter_dashed_known_good(van, crank):
    dashed, solid = patterns(parsed(comparison_view(van, crank=crank)))
    for cam, beneath, over in zip(van.cams, dashed, solid, strict=False):
        assert beneath.get("stroke") == style.known_good_colour(cam.role)
        assert over.get("stroke") == style.role_colour(cam.role)
        assert flanks(beneath) == pytest.approx(
            sorted(e.known_good_deg for e in cam.edges), abs=0.01
        )
        assert flanks(over) == pytest.approx(sorted(e.subject_deg for e in cam.edges), abs=0.01)


def test_the_closer_look_is_to_the_scale_of_its_own_axis(van, crank):
    dashed, solid = patterns(parsed(comparison_view(van, crank=crank)))
    start, end = closer_window(van, crank)
    assert len(dashed) == len(solid) == 2 * len(van.cams)
    for cam, beneath, over in zip(van.cams, dashed[2:], solid[2:], strict=True):
        near = [e for e in cam.edges if (e.subject_deg - start) % 720 <= end - start]
        wanted = sorted((e.subject_deg - start) % 720 + start for e in near)
        assert flanks(over, from_deg=start, to_deg=end) == pytest.approx(wanted, abs=0.01)
        assert len(flanks(beneath, from_deg=start, to_deg=end)) == len(near)


@pytest.mark.parametrize("level", get_args(Level))
def test_every_verdict_has_its_word_and_a_shape(van, crank, level):
    verdict = dataclasses.replace(van.verdict, level=level)
    root = parsed(comparison_view(dataclasses.replace(van, verdict=verdict), crank=crank))
    word = next(node for node in root.iter(f"{SVG}text") if node.text == level)
    assert word.get("fill") == SIGNS[level].colour
    shapes = [
        node
        for node in root.iter()
        if node.tag in {f"{SVG}circle", f"{SVG}polygon"}
        and SIGNS[level].colour in {node.get("stroke"), node.get("fill")}
    ]
    assert len(shapes) == 1


def test_shift_uncertainty_and_both_places_stand_at_the_edges(van, crank):
    written = [words for words, *_ in texts(parsed(comparison_view(van, crank=crank)))]
    start, end = closer_window(van, crank)
    for cam in van.cams:
        for edge in cam.edges:
            assert any(w.startswith(f"{edge.shift_deg:+.2f}° ± 0.") for w in written)
            assert set(edge.subject_teeth.split(", ")) <= set(written)
            if (edge.subject_deg - start) % 720 <= end - start:
                assert f"known-good {edge.known_good_teeth}".split(", ")[0] in written


@pytest.mark.parametrize("shift", [20.0, -20.0])
def test_an_arrow_leads_from_the_known_good_to_the_subject(van, crank, shift):
    comparison = with_edges(van, (200.0, shift), (300.0, shift))
    root = parsed(comparison_view(comparison, crank=crank))
    heads = [
        points_of(node)
        for node in root.iter(f"{SVG}polygon")
        if len(node.get("points").split()) == 3 and not node.get("stroke")
    ]
    scale = (RIGHT - LEFT) / 720
    tips = [head[0][0] for head in heads[:2]]
    assert tips == pytest.approx([LEFT + (a + shift) * scale for a in (200, 300)], abs=0.01)
    assert all((head[0][0] > head[1][0]) == (shift > 0) for head in heads)
    shafts = [n for n in root.iter(f"{SVG}line") if n.get("stroke-width") == "1.6"]
    assert float(shafts[0].get("x1")) == pytest.approx(LEFT + 200 * scale, abs=0.01)


def test_nothing_moved_draws_no_arrow(van, crank):
    root = parsed(comparison_view(with_edges(van, (200.0, 0.0), (300.0, 0.0)), crank=crank))
    assert not [n for n in root.iter(f"{SVG}line") if n.get("stroke-width") == "1.6"]


def test_the_bracket_spans_the_healthy_limits_and_the_marks_the_code_limit(van, crank):
    healthy = dataclasses.replace(van.cams[0].healthy, low_deg=-6.0, high_deg=9.0)
    comparison = with_edges(van, (200.0, 3.0), healthy=healthy)
    root = parsed(comparison_view(comparison, crank=crank))
    scale = (RIGHT - LEFT) / 720
    inside = next(n for n in root.iter(f"{SVG}rect") if n.get("fill-opacity") == "0.07")
    left, width = float(inside.get("x")), float(inside.get("width"))
    assert left == pytest.approx(LEFT + 194 * scale, abs=0.01)
    assert left + width == pytest.approx(LEFT + 209 * scale, abs=0.01)
    strokes = [
        float(n.get("x1"))
        for n in root.iter(f"{SVG}line")
        if n.get("stroke-width") == "2.4" and n.get("x1") == n.get("x2")
    ]
    assert comparison.limits.code_limit_deg == 12.0
    assert strokes[:2] == pytest.approx([LEFT + 188 * scale, LEFT + 212 * scale], abs=0.01)
    dot = next(n for n in root.iter(f"{SVG}circle") if n.get("fill") == style.EXHAUST)
    assert float(dot.get("cx")) == pytest.approx(LEFT + 203 * scale, abs=0.01)


def test_without_healthy_limits_there_is_no_bracket(van, crank):
    drawn = comparison_view(with_edges(van, (200.0, 3.0), healthy=None), crank=crank)
    brackets = [n for n in parsed(drawn).iter(f"{SVG}rect") if n.get("fill-opacity") == "0.07"]
    assert len(brackets) == 1  # the one in the legend
    assert ">healthy -" not in drawn


def test_an_edge_that_moved_over_the_end_of_the_cycle_is_seen_at_both_ends(van, crank):
    comparison = with_edges(van, (300.0, 10.0), (715.0, 10.0), healthy=None)
    dashed, solid = patterns(parsed(comparison_view(comparison, crank=crank)))
    assert flanks(dashed[0]) == pytest.approx([300.0, 715.0], abs=0.01)
    assert flanks(solid[0]) == pytest.approx([5.0, 310.0], abs=0.01)
    root = parsed(comparison_view(comparison, crank=crank))
    shafts = [n for n in root.iter(f"{SVG}line") if n.get("stroke-width") == "1.6"]
    ends = sorted(
        (float(n.get("x1")), float(n.get("x2")))
        for n in shafts
        if n.get("y1") == shafts[0].get("y1")
    )
    scale = (RIGHT - LEFT) / 720
    assert ends[0] == pytest.approx((LEFT, LEFT + 5 * scale - 4), abs=0.01)
    assert ends[-1] == pytest.approx((LEFT + 715 * scale, RIGHT), abs=0.01)


@pytest.mark.parametrize("shift", [-90.0, -20.0, 0.0, 5.0, 90.0])
def test_nothing_is_drawn_beyond_the_axis(van, crank, shift):
    places = [(angle, shift) for angle in (0.0, 10.0, 320.0, 345.0, 700.0, 719.9)]
    root = parsed(comparison_view(with_edges(van, *places), crank=crank))
    legend = min(float(n.get("y")) for n in root.iter(f"{SVG}text") if n.text == "subject")
    ends = [
        float(n.get(key))
        for n in root.iter(f"{SVG}line")
        for key in ("x1", "x2")
        if float(n.get("y1")) < legend - 10
    ]
    # A ± bar or a mark at the very end may reach over it by its own size.
    assert min(ends) >= LEFT - 6
    assert max(ends) <= RIGHT + 6
    assert_no_text_overlaps(root)


@pytest.mark.parametrize(
    "angles",
    [[], [0.0], [719.99], [30.0 * k + 3 for k in range(24)], [7.2 * k for k in range(100)],
     [342.0, 345.0, 350.0, 355.0, 359.0, 1.0, 5.0]],
    ids=["none", "zero", "end", "many", "very-many", "gap"],
)  # fmt: skip
def test_no_text_covers_another_whatever_the_edges(van, crank, angles):
    comparison = with_edges(van, *((angle, 2.0) for angle in sorted(angles)))
    assert_no_text_overlaps(parsed(comparison_view(comparison, crank=crank)))


def test_no_text_covers_another_with_long_words_and_four_cams(van, crank):
    many = tuple(
        dataclasses.replace(van.known_goods[0], name=f"a known-good with a long name {k}.csv")
        for k in range(12)
    )
    verdict = dataclasses.replace(van.verdict, level="out-of-time", summary="long words " * 40)
    comparison = dataclasses.replace(four_cams(van), known_goods=many, verdict=verdict)
    assert_no_text_overlaps(parsed(comparison_view(comparison, crank=crank)))


def test_bank_two_has_open_markers(van, crank):
    marks = list(parsed(comparison_view(four_cams(van), crank=crank)).iter(f"{SVG}polygon"))
    fills = {(m.get("stroke"), m.get("fill")) for m in marks}
    assert {
        (style.INTAKE, style.INTAKE), (style.INTAKE, "#ffffff"),
        (style.EXHAUST, style.EXHAUST), (style.EXHAUST, "#ffffff"),
    } <= fills  # fmt: skip


@pytest.mark.parametrize(
    ("angles", "window"),
    [
        ([], None),
        ([350.0], (312.0, 390.0)),  # inside the gap: 30 degrees beyond either end of it
        ([10.0], (-48.0, 30.0)),
        ([200.0], (172.0, 232.0)),  # near no gap: about the place nearest to one
        ([5.0, 330.0], (-48.0, 30.0)),
    ],
)
def test_the_closer_look_is_taken_where_the_gap_has_edges(van, crank, angles, window):
    comparison = with_edges(van, *((angle, 2.0 * (angle == 200.0)) for angle in angles))
    assert closer_window(comparison, crank) == window


def test_the_closer_look_shows_the_gap_with_the_most_cams(van, crank):
    near_zero = with_edges(van, (10.0, 0.0)).cams[0]
    near_both = with_edges(van, (10.0, 0.0), (370.0, 0.0)).cams[0]
    near_second = with_edges(van, (365.0, 0.0)).cams[0]
    cams = tuple(
        dataclasses.replace(cam, role=role)
        for cam, role in ((near_second, "intake"), (near_both, "exhaust"))
    )
    assert closer_window(dataclasses.replace(van, cams=cams), crank)[0] > 300
    cams = (near_zero, dataclasses.replace(near_both, role="intake"))
    assert closer_window(dataclasses.replace(van, cams=cams), crank)[0] < 0


def test_without_a_gap_the_closer_look_is_not_said_to_be_near_it(van, crank):
    even = dataclasses.replace(
        crank, has_gap=False, intervals_deg=(15.0,) * 24, teeth_per_rev=24, pitch_deg=15.0
    )
    drawn = comparison_view(van, crank=even)
    assert ">Closer<" in drawn
    assert "Near the gap" not in drawn
    assert "tooth chosen to count from" in drawn


def test_what_was_left_out_and_turned_round_is_said(van, crank):
    out = dataclasses.replace(van.known_goods[0], name="odd.csv", set_aside=True)
    cam = dataclasses.replace(van.cams[0], inverted=True)
    comparison = dataclasses.replace(
        van, known_goods=(van.known_goods[0], out), cams=(cam, *van.cams[1:])
    )
    drawn = comparison_view(comparison, crank=crank)
    assert "odd.csv (left out)" in drawn
    assert "signal upside down" in drawn


def test_names_from_a_file_stay_text(van, crank):
    evil = '</text><script>alert("x")</script>&\x00\x1b]]>'
    comparison = dataclasses.replace(
        van,
        subject=dataclasses.replace(van.subject, name=evil),
        cams=(dataclasses.replace(van.cams[0], subject_channel=evil),),
        verdict=dataclasses.replace(van.verdict, summary=evil),
    )
    root = parsed(comparison_view(comparison, crank=crank))
    assert {node.tag for node in root.iter()}.isdisjoint({f"{SVG}script", "script"})


def test_the_picture_has_words_for_those_who_can_not_see_it(van, crank):
    root = parsed(comparison_view(van, crank=crank))
    assert "van.csv" in root.find(f"{SVG}title").text
    told = root.find(f"{SVG}desc").text
    assert told.startswith(f"worn: {van.verdict.summary}")
    assert all(cam.words in told for cam in van.cams)
    assert all(change.words in told for change in van.separations)


def test_both_formats_are_written_and_no_other(van, crank, tmp_path):
    save_comparison_picture(van, tmp_path / "a.svg", crank=crank)
    assert (tmp_path / "a.svg").read_text("utf-8") == comparison_view(van, crank=crank)
    save_comparison_picture(van, tmp_path / "a.png", crank=crank)
    data = (tmp_path / "a.png").read_bytes()
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(data[16:20]) == 2 * 1230
    with pytest.raises(UsageError, match=r"\.svg or \.png"):
        save_comparison_picture(van, tmp_path / "a.gif", crank=crank)


def test_a_picture_never_replaces_a_known_good(van, crank, tmp_path):
    recording = tmp_path / "known-good.svg"
    recording.write_bytes(b"the only copy")
    side = dataclasses.replace(van.known_goods[0], sha256=sha256_of(recording))
    with pytest.raises(UsageError, match="is a recording itself"):
        save_comparison_picture(
            dataclasses.replace(van, known_goods=(side,)), recording, crank=crank
        )
    assert recording.read_bytes() == b"the only copy"


def test_it_reads_in_black_and_white(van, crank):
    # Without any colour the two patterns, the markers and the verdict still differ by shape.
    drawn = comparison_view(van, crank=crank)
    for colour in {style.INTAKE, style.EXHAUST, *(sign.colour for sign in SIGNS.values())}:
        drawn = drawn.replace(colour, "#000000")
    drawn = drawn.replace(style.known_good_colour("intake"), "#000000")
    dashed, solid = patterns(parsed(drawn))
    assert len(dashed) == len(solid) == 4
    assert png(drawn)
