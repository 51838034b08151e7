"""The picture of an engine: geometry of the chain path, and the drawing read back from its SVG."""

from __future__ import annotations

import cmath
import itertools
import math
import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from crankwise.drive.engine_file import parse_engine, shipped
from crankwise.drive.geometry import pitch_radius_mm
from crankwise.model.engine import Drive, Engine, Span, Sprocket
from crankwise.picture import style
from crankwise.picture.dark import on_dark
from crankwise.picture.drive_layout import _ring, place_drives, place_geared
from crankwise.picture.engine_view import engine_view
from crankwise.picture.loop import Circle, loop_around, polygon
from crankwise.picture.raster import png
from crankwise.picture.wheel_parts import tooth_widths_deg
from crankwise.picture.wheel_view import wheel_view
from crankwise.wheel.catalogue import load

ROOT = Path(__file__).parents[1]
WHEELS = load()
LONG = "Spannschiene zwischen den Nockenwellen der ersten Zylinderbank mit sehr langem Namen"


def chain(*teeth, name="timing chain", spans=(), **more):
    """A drive of (shaft, teeth) pairs; what is named like a role carries that cam."""
    sprockets = [
        Sprocket(shaft, count, (shaft,) if shaft.startswith(("in", "ex", "cam")) else (),
                 accessory="pump" in shaft)
        for shaft, count in teeth
    ]  # fmt: skip
    more = {"kind": "chain", "pitch_mm": 8.0} | more
    return Drive(name, sprockets=tuple(sprockets), spans=tuple(spans), **more)


TWIN = (("crank", 18), ("exhaust", 36), ("intake", 36))
OTHERS = {
    "nothing": Engine("nothing known"),
    "no-teeth": Engine("x", drives=(chain(*((shaft, None) for shaft, _ in TWIN), pitch_mm=None),)),
    "belt-and-chain": Engine(
        "belt and chain", cylinders=4,
        drives=(
            chain(("crank", 22), ("exhaust", 44), ("water pump", 20), kind="belt", name="belt"),
            chain(("exhaust", 28), ("intake", 28), name="short chain",
                  spans=(Span(length_pitches=20.0, guide=LONG, tensioner=True), Span())),
        ),
    ),
    "oil-pump": Engine(
        "two chains on the crank",
        drives=(chain(("crank", 20), ("cam-1", 40)),
                chain(("crank", 25), ("oil pump", 30), name="oil pump chain")),
    ),
    "one-chain": Engine(
        "one chain over all",
        drives=(chain(("crank", 21), ("exhaust-2", 42), ("intake-2", 42), ("pump", 30),
                      ("intake-1", 42), ("exhaust-1", 42)),),
    ),
    "contradictory": Engine(
        "lengths that can not close",
        drives=(chain(*TWIN, spans=[Span(length_pitches=n) for n in (80.0, 14.0, 30.0)]),),
    ),
    "partly": Engine(
        "tight strands known",
        drives=(
            chain(*TWIN, spans=[Span(length_pitches=30.0), Span(length_pitches=18.0), Span()]),
        ),
    ),
    "cam-to-cam": Engine(
        "a chain from cam to cam in each bank",
        drives=(
            chain(("crank", 20), ("exhaust-2", 40), ("exhaust-1", 40), name="primary chain"),
            chain(("exhaust-1", None), ("intake-1", None), name="bank 1 chain", pitch_mm=None),
            chain(("exhaust-2", None), ("intake-2", None), name="bank 2 chain", pitch_mm=None),
        ),
    ),
    "adrift": Engine("hangs on nothing", drives=(chain(("idler", 30), ("intake", 30)),)),
    "long-names": parse_engine(
        f"""
family = "{LONG} {LONG} {LONG}"
notes = "{LONG} {LONG} {LONG}"
[crank]
wheel = "{LONG}"
[[cam]]
role = "intake"
wheel = "{LONG}"
wheel_teeth = 3
[[drive]]
name = "{LONG}"
kind = "chain"
sprocket = [{{shaft = "crank"}}, {{shaft = "{LONG}", cams = ["intake", "exhaust"]}}]
""",
        where="x", family="x",
    ),
}  # fmt: skip
ENGINES = shipped() | OTHERS


@pytest.fixture(params=ENGINES)
def engine(request):
    return ENGINES[request.param]


# --- geometry -----------------------------------------------------------------------------


def assert_touches(loop):
    """Strands leave and meet their circles at right angles to the radius; all is closed."""
    following = [*loop.arcs[1:], loop.arcs[0]]
    for arc, strand, after in zip(loop.arcs, loop.strands, following, strict=True):
        way = (strand.end - strand.start) / abs(strand.end - strand.start)
        for circle, point in ((arc.circle, strand.start), (after.circle, strand.end)):
            out = point - circle.centre
            assert abs(out) == pytest.approx(circle.radius, rel=1e-9)
            assert (way.conjugate() * out).real == pytest.approx(0.0, abs=1e-6 * circle.radius)
        assert abs(arc.circle.point(arc.end) - strand.start) < 1e-6
        assert abs(after.circle.point(after.start) - strand.end) < 1e-6


@given(
    st.floats(5.0, 60.0), st.floats(5.0, 60.0), st.floats(1.01, 5.0), st.floats(0.0, 6.28)
)  # fmt: skip
def test_two_pulleys_take_the_length_that_the_books_give(one, other, apart, turn):
    # Open belt: L = 2 sqrt(C^2 - (R - r)^2) + pi (R + r) + 2 (R - r) asin((R - r) / C), any text
    # on machine elements.
    distance = apart * (one + other)
    loop = loop_around([Circle(0j, one), Circle(cmath.rect(distance, turn), other)])
    assert_touches(loop)
    assert loop.is_plain
    length = sum(abs(strand.end - strand.start) for strand in loop.strands)
    length += sum(arc.circle.radius * arc.sweep for arc in loop.arcs)
    big, small = max(one, other), min(one, other)
    free = 2 * math.sqrt(distance**2 - (big - small) ** 2)
    book = free + math.pi * (big + small)
    book += 2 * (big - small) * math.asin((big - small) / distance)
    assert length == pytest.approx(book, rel=1e-9)


def test_a_circle_within_another_has_no_chain():
    with pytest.raises(ValueError, match="within the other"):
        loop_around([Circle(0j, 50.0), Circle(10 + 0j, 20.0)])


@given(st.lists(st.floats(1.0, 100.0), min_size=3, max_size=9))
def test_a_polygon_has_its_sides_and_its_corners_on_one_circle(sides):
    corners = polygon(sides)
    if max(sides) >= sum(sides) - max(sides):
        assert corners is None
        return
    assume(max(sides) < 0.995 * (sum(sides) - max(sides)))
    assert corners is not None
    round_again = [*corners[1:], corners[0]]
    found = [abs(b - a) for a, b in zip(corners, round_again, strict=True)]
    assert found == pytest.approx(sides, rel=1e-6)
    matrix = np.array([[z.real, z.imag, 1.0] for z in corners])
    squares = np.array([-(abs(z) ** 2) for z in corners])
    solution, *_ = np.linalg.lstsq(matrix, squares, rcond=None)
    assert matrix @ solution == pytest.approx(squares, abs=1e-5 * max(1.0, squares.min() ** 2))
    area = sum((a.conjugate() * b).imag for a, b in zip(corners, round_again, strict=True)) / 2
    assert area > 0  # against the clock


def test_of_four_sides_the_polygon_encloses_what_brahmagupta_says():
    # Brahmagupta's formula for the area of a cyclic quadrilateral.
    sides = [7.0, 15.0, 20.0, 24.0]
    corners = polygon(sides)
    area = sum((a.conjugate() * b).imag for a, b in itertools.pairwise([*corners, corners[0]])) / 2
    half = sum(sides) / 2
    assert area == pytest.approx(math.sqrt(math.prod(half - side for side in sides)), rel=1e-9)


@given(st.lists(st.floats(5.0, 100.0), min_size=3, max_size=14))
def test_an_even_ring_always_has_a_plain_loop(radii):
    circles = [Circle(c, r) for c, r in zip(_ring(radii), radii, strict=True)]
    loop = loop_around(circles)
    assert loop.is_plain
    assert_touches(loop)


# --- placing ------------------------------------------------------------------------------


def test_every_chain_is_closed_and_touches_its_sprockets(engine):
    for placed in place_drives(engine):
        assert_touches(placed.loop)
        assert placed.loop.is_plain


def test_a_span_is_the_strand_between_its_two_shafts(engine):
    for placed in place_drives(engine):
        for index in range(len(placed.drive.spans)):
            one, other = placed.circles[index], placed.circles[(index + 1) % len(placed.circles)]
            strand = placed.loop.strands[placed.strand_of(index)]
            ends = (strand.end, strand.start) if placed.is_mirrored else (strand.start, strand.end)
            for circle, end in zip((one, other), ends, strict=True):
                assert abs(end - circle.centre) == pytest.approx(circle.radius)


def test_every_sprocket_is_placed_once_for_each_shaft(engine):
    centres = {}
    for placed in place_drives(engine):
        assert len(placed.circles) == len(placed.drive.sprockets)
        for sprocket, circle in zip(placed.drive.sprockets, placed.circles, strict=True):
            known = centres.setdefault(sprocket.shaft, circle.centre)
            assert abs(known - circle.centre) < 1e-9
    wanted = {s.shaft for drive in engine.drives for s in drive.sprockets}
    assert set(centres) == wanted


def test_sprockets_of_different_shafts_do_not_overlap(engine):
    circles = [
        (sprocket.shaft, circle)
        for placed in place_drives(engine)
        for sprocket, circle in zip(placed.drive.sprockets, placed.circles, strict=True)
    ]
    for (a, one), (b, other) in itertools.combinations(circles, 2):
        if a != b:  # a chain from cam to cam may be shorter than the cams' other sprockets
            assert abs(one.centre - other.centre) > max(one.radius, other.radius)


@pytest.mark.parametrize("name", ["tarn-t20", "fell-v6"])
def test_sizes_and_lengths_are_those_of_the_file(name):
    for placed in place_drives(shipped()[name]):
        drive = placed.drive
        assert placed.is_scaled
        for sprocket, circle in zip(drive.sprockets, placed.circles, strict=True):
            radius = pitch_radius_mm(kind=drive.kind, pitch_mm=drive.pitch_mm, teeth=sprocket.teeth)
            assert circle.radius == pytest.approx(radius)
        for index, strand in enumerate(placed.loop.strands):
            if len(drive.sprockets) > 2 or index == 0:  # of two the tight strand tells
                length = abs(strand.end - strand.start)
                assert length == pytest.approx(drive.span_length_mm(index), rel=1e-6)


@pytest.mark.parametrize("name", ["tarn-t20", "fell-v6"])
def test_the_chains_drawn_need_about_the_links_that_the_file_counts(name):
    # The path, strands and arcs, is as long as the chain but for what its slack bends.
    for placed in place_drives(shipped()[name]):
        loop, drive = placed.loop, placed.drive
        length = sum(abs(strand.end - strand.start) for strand in loop.strands)
        length += sum(arc.circle.radius * arc.sweep for arc in loop.arcs)
        assert length / drive.pitch_mm == pytest.approx(drive.links, rel=0.02)


@pytest.mark.parametrize("name", ["no-teeth", "contradictory", "partly", "generic-v6-idler"])
def test_what_is_not_in_the_file_is_not_to_scale(read_picture, name):
    assert not any(placed.is_scaled for placed in place_drives(ENGINES[name]))
    words = read_picture(engine_view(ENGINES[name])).words
    assert "Not to scale: what the file does not give is drawn by eye." in words


def test_lengths_that_can_not_close_are_named(read_picture):
    words = " ".join(read_picture(engine_view(ENGINES["contradictory"])).words)
    assert "timing chain: no chain of the lengths given closes around these sprockets." in words
    assert "80 pitches, 640.0 mm" in words


def test_known_lengths_are_kept_where_others_are_missing():
    [placed] = place_drives(ENGINES["partly"])
    lengths = [abs(strand.end - strand.start) for strand in placed.loop.strands]
    assert lengths[:2] == pytest.approx([240.0, 144.0], rel=1e-6)


def test_the_crank_pulls_the_strand_on_its_right_and_cams_are_above():
    [placed] = place_drives(shipped()["tarn-t20"])
    crank, exhaust, intake = (circle.centre for circle in placed.circles)
    assert crank == 0
    assert exhaust.real > 0 > intake.real
    assert min(exhaust.imag, intake.imag) > 100
    tight = placed.loop.strands[0]
    assert tight.start.real > 0  # a crank turning clockwise moves down on its right


def test_banks_lean_apart_with_the_intakes_inside():
    for name in ("fell-v6", "generic-v6-idler", "generic-v6-two-idlers"):
        places = {
            sprocket.shaft: circle.centre.real
            for placed in place_drives(shipped()[name])
            for sprocket, circle in zip(placed.drive.sprockets, placed.circles, strict=True)
        }
        left, right = sorted((1, 2), key=lambda bank: places[f"intake-{bank}"])
        assert places[f"exhaust-{left}"] < places[f"intake-{left}"] < 0
        assert 0 < places[f"intake-{right}"] < places[f"exhaust-{right}"]


def test_a_geared_cam_touches_the_sprocket_it_is_geared_to():
    engine = Engine(
        "geared",
        drives=(Drive("chain", "chain", 8.0, sprockets=(
            Sprocket("crank", 20), Sprocket("exhaust", 40, ("exhaust", "intake")))),),
    )  # fmt: skip
    placed = place_drives(engine)
    [cam] = place_geared(placed)
    assert (cam.role, cam.shaft) == ("intake", "exhaust")
    distance = abs(cam.circle.centre - placed[0].circles[1].centre)
    assert distance == pytest.approx(cam.circle.radius + placed[0].circles[1].radius)


def spans(draw, count):
    known = st.none() | st.floats(0.5, 200.0)
    return tuple(
        Span(length_pitches=draw(known), guide=draw(st.sampled_from(["", "guide"])),
             tensioner=draw(st.booleans()))
        for _ in range(count)
    )  # fmt: skip


@st.composite
def engines(draw):
    """Engines of one to three drives about which anything or nothing is known."""
    teeth, pitch = st.none() | st.integers(6, 300), st.none() | st.floats(0.1, 60.0)
    shafts, drives = ["crank"], []
    for number in range(draw(st.integers(1, 3))):
        count = draw(st.integers(1, 5))
        driven = [f"shaft {number}.{k}" for k in range(count)]
        sprockets = [Sprocket(draw(st.sampled_from(shafts)), draw(teeth))]
        sprockets += [
            Sprocket(shaft, draw(teeth), draw(st.sampled_from([(), ("intake",), ("exhaust-2",)])))
            for shaft in driven
        ]
        drives.append(
            Drive(
                f"drive {number}", draw(st.sampled_from(["chain", "belt"])), draw(pitch),
                sprockets=tuple(sprockets), spans=spans(draw, count + 1),
                path_known=draw(st.booleans()),
            )
        )  # fmt: skip
        shafts += driven
    return Engine("any", drives=tuple(drives))


@settings(deadline=None)  # a picture takes some 10 ms, but on a busy machine far more
@given(whatever=engines())
def test_whatever_the_file_says_the_chains_close_and_the_words_have_room(read_picture, whatever):
    for placed in place_drives(whatever):
        assert_touches(placed.loop)
        assert placed.loop.is_plain
    read_picture(engine_view(whatever)).assert_tidy()


# --- the drawing --------------------------------------------------------------------------


def strands(picture, kind):
    """Ends of the straight strands of one kind, pixels."""
    return [
        tuple(
            complex(*map(float, pair.split(","))) for pair in re.findall(r"[ML](\S+)", n.get("d"))
        )
        for n in picture.all("path", class_=f"strand {kind}")
    ]


def bodies(picture):
    return [
        Circle(complex(float(n.get("cx")), float(n.get("cy"))), float(n.get("r")) + 4.0)
        for n in picture.all("circle", class_="sprocket")
    ]


def test_strands_on_paper_touch_the_sprockets_drawn(read_picture, engine):
    picture = read_picture(engine_view(engine))
    circles = bodies(picture)
    assert len(circles) == sum(len(drive.sprockets) for drive in engine.drives)
    for kind in ("tight", "slack", "unknown"):
        for start, end in strands(picture, kind):
            way = (end - start) / abs(end - start)
            for point in (start, end):
                # The line touches a circle there: that far from its middle, at right angles.
                assert any(
                    abs(abs(point - circle.centre) - circle.radius) < 0.1
                    and abs((way.conjugate() * (point - circle.centre)).real) < 0.1
                    for circle in circles
                )


def test_tight_strands_are_stronger_than_slack_ones(read_picture, engine):
    picture = read_picture(engine_view(engine))
    known = [drive for drive in engine.drives if drive.path_known]
    assert len(strands(picture, "tight")) == sum(len(drive.sprockets) - 1 for drive in known)
    assert len(strands(picture, "slack")) == len(known)
    for tight, slack in itertools.product(
        picture.all("path", class_="strand tight"), picture.all("path", class_="strand slack")
    ):
        assert float(tight.get("stroke-width")) >= 2 * float(slack.get("stroke-width"))


def test_an_unknown_path_is_said_and_has_no_direction(read_picture):
    engine = shipped()["generic-twin-cam-belt"]
    picture = read_picture(engine_view(engine))
    assert len(strands(picture, "unknown")) == 3
    assert not strands(picture, "tight")
    assert "not known which strand is tight" in picture.words
    assert any("which strand is tight is not known" in words for words in picture.words)
    heads = picture.all("polygon", fill=style.INK)
    assert len(heads) == 1  # that of the crank alone


def test_the_arrow_on_a_strand_points_to_the_driving_sprocket(read_picture):
    picture = read_picture(engine_view(shipped()["tarn-t20"]))
    start, end = strands(picture, "tight")[0]  # from the crank up to the exhaust cam
    tips = [picture.points(node) for node in picture.all("polygon", fill=style.INK)]
    middle = (start + end) / 2
    tip, *foot = min(tips, key=lambda points: abs(complex(*points[0]) - middle))
    way = complex(*tip) - sum(complex(*corner) for corner in foot) / 2
    assert cmath.phase(way / (start - end)) == pytest.approx(0.0, abs=0.02)


def test_a_belt_is_unbroken_and_a_chain_has_links(read_picture):
    picture = read_picture(engine_view(ENGINES["belt-and-chain"]))
    tight = picture.all("path", class_="strand tight")
    assert [node.get("stroke-dasharray") is None for node in tight] == [True, True, False]
    assert "unbroken: belt" in picture.words


def test_every_name_and_number_of_the_file_is_written(read_picture):
    words = " ".join(read_picture(engine_view(shipped()["fell-v6"])).words)
    for drive in shipped()["fell-v6"].drives:
        assert drive.name in words
        assert f"{drive.links} pitches long" in words
        for sprocket in drive.sprockets:
            assert f"{sprocket.teeth} teeth" in words
        for span in drive.spans:
            assert span.guide in words
            assert f"{span.length_pitches:g} pitches" in words
    for said in ("6 cylinders", "firing order 1-2-3-4-5-6", "phaser parks retarded, range 40°",
                 "four teeth, two of them wide", "TDC 1, 84°", "50 mm"):  # fmt: skip
        assert said in words


def test_the_scale_bar_has_the_scale_of_the_drawing(read_picture):
    picture = read_picture(engine_view(shipped()["tarn-t20"]))
    [bar] = [n for n in picture.all("line", x1="16") if n.get("y1") == n.get("y2")]
    px_per_mm = (float(bar.get("x2")) - 16.0) / 50.0
    assert "50 mm" in picture.words
    start, end = strands(picture, "tight")[0]
    assert abs(end - start) == pytest.approx(240.0 * px_per_mm, abs=0.1)


def test_nothing_known_is_said(read_picture):
    words = read_picture(engine_view(ENGINES["nothing"])).words
    assert "No chain or belt is described." in words
    assert "Nothing is known of the wheels that the sensors look at." in words


def test_nothing_covers_anything(read_picture, engine):
    read_picture(engine_view(engine)).assert_tidy()


def test_nothing_covers_anything_in_a_language_of_longer_words(read_picture, engine, long_words):
    read_picture(engine_view(engine)).assert_tidy()


def test_the_same_engine_gives_the_same_picture(engine):
    assert engine_view(engine) == engine_view(engine)


def test_names_stay_text(read_picture):
    evil = '</text><script>alert("x")</script>&\x00]]>'
    drives = (chain(("crank", 20), (evil, 40), name=evil, spans=(Span(guide=evil), Span())),)
    picture = read_picture(engine_view(Engine(evil, crank_wheel=evil, notes=evil, drives=drives)))
    assert not picture.all("script")
    assert evil.replace("\x00", "\N{REPLACEMENT CHARACTER}") in picture.title


def test_it_can_be_printed():
    assert png(engine_view(shipped()["fell-v6"])).startswith(b"\x89PNG")


def test_the_picture_in_the_docs_is_the_one_the_code_draws():
    committed = (ROOT / "docs/engine-view.svg").read_text(encoding="utf-8")
    drawn = engine_view(shipped()["tarn-t20"])
    assert drawn == committed, "look at it, then run scripts/write_generated.py"


# --- wheels -------------------------------------------------------------------------------


def outline(picture):
    """Corners of the line around all teeth, about the middle of the wheel: angle, distance."""
    [path] = picture.all("path", stroke_linejoin="round")
    corners = re.findall(r"(?:[ML]|A\S+ 0 [01] 0 )(\S+?,\S+)", path.get("d"))
    places = np.array([tuple(map(float, pair.split(","))) for pair in corners])
    middle = complex(190.0, (places[:, 1].min() + places[:, 1].max()) / 2)
    out = places[:, 0] + 1j * places[:, 1] - middle
    angle = np.degrees(np.arctan2(-out.real, -out.imag)) % 360.0  # against the clock from the top
    return angle, np.abs(out)


@pytest.mark.parametrize("name", ["60-2", "36-2-2-2", "24x", "12-1", "36-1"])
def test_teeth_stand_where_the_catalogue_says(read_picture, name):
    wheel = WHEELS[name]
    angle, distance = outline(read_picture(wheel_view(wheel)))
    tips = np.sort(angle[distance > 0.93 * distance.max()])
    ends = wheel.angles_deg
    starts = (ends - np.array(tooth_widths_deg(wheel))) % 360.0
    assert len(tips) == 2 * wheel.teeth_per_rev
    wanted = np.sort(np.concatenate([starts, ends]))
    away = (tips[:, None] - wanted[None, :] + 180.0) % 360.0 - 180.0
    assert np.abs(away).min(axis=1).max() < 0.1
    assert np.abs(away).min(axis=0).max() < 0.1


@pytest.mark.parametrize("wheel", WHEELS.values(), ids=WHEELS)
def test_every_wheel_of_the_catalogue_can_be_drawn(read_picture, wheel):
    picture = read_picture(wheel_view(wheel, tdc_after_zero_deg=84.0))
    picture.assert_tidy()
    assert str(wheel.teeth_per_rev) in picture.words
    assert ("gap" in picture.words) == wheel.has_gap


@pytest.mark.parametrize("angle", [0.0, 2.0, 15.0, 17.0, 90.0, 180.0, 270.0, 342.0, 351.0, 359.0])
def test_top_dead_centre_is_written_wherever_it_is(read_picture, angle):
    read_picture(wheel_view(WHEELS["36-1"], tdc_after_zero_deg=angle)).assert_tidy()


# --- dark screens -------------------------------------------------------------------------


def luminance(colour):
    """Relative luminance of WCAG 2.1."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return sum(w * p for w, p in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


@pytest.mark.parametrize(
    ("colour", "least"),
    [(style.INK, 7.0), (style.FAINT_INK, 4.5), *(
        (colour, 4.5) for colour in (style.CRANK, style.INTAKE, style.EXHAUST, style.OTHER)
    )],
)  # fmt: skip
def test_colours_stand_out_from_dark_paper(colour, least):
    # WCAG 2.1, success criteria 1.4.3 (text, 4.5 to 1) and 1.4.6 (7 to 1).
    paper, ink = (
        re.search("#[0-9a-f]{6}", on_dark(f'<rect fill="{one}"/>'))[0]
        for one in ("#ffffff", colour)
    )
    assert (luminance(ink) + 0.05) / (luminance(paper) + 0.05) >= least


def test_a_dark_picture_differs_in_colours_alone():
    light = engine_view(shipped()["tarn-t20"])
    strip = re.compile("#[0-9a-f]{6}")
    assert strip.sub("", on_dark(light)) == strip.sub("", light)
    assert "#ffffff" not in on_dark(light)
