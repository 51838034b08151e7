"""The picture of a family's known-goods, read back from its own SVG."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from crankwise.model.shelf import EdgeSpread, FamilyStatistics, Outlier, Spread
from crankwise.picture import style
from crankwise.picture.population_rows import LEFT, RIGHT, swarm
from crankwise.picture.population_view import population_view
from crankwise.picture.raster import png
from crankwise.store import codec

ROOT = Path(__file__).parents[1]
INPUT = ROOT / "tests" / "snapshots" / "inputs" / "tarn-t20-population.json"


def a_spread(quantity, values, *, set_aside=()):
    used = np.delete(values, list(set_aside))
    mean, spread = float(used.mean()), float(used.std()) + 0.5
    return Spread(
        quantity=quantity, count=len(used), mean_deg=mean, spread_deg=spread,
        spread_low_deg=0.8 * spread, spread_high_deg=1.3 * spread, low_deg=mean - 3 * spread,
        high_deg=mean + 3 * spread, coverage=0.997, share_low_deg=mean - 4 * spread,
        share_high_deg=mean + 4 * spread, confidence=0.95, basis=f"{len(used)} known-goods",
        remarks=(), values_deg=tuple(map(float, values)),
    )  # fmt: skip


def statistics(roles, count, *, odd=None, off=9.0, fate="set aside", family="Tarn T20"):
    """A family whose known-good number ``odd`` is off in the first role."""
    random = np.random.default_rng(len(roles) + count)
    ids = tuple(f"{number:016x}" for number in random.integers(0, 2**60, count))
    moved = {role: random.normal(0.0, 0.8, count) for role in roles}
    if odd is not None:
        moved[roles[0]][odd] += off
    aside = (odd,) if odd is not None and fate == "set aside" else ()
    cams = [a_spread(f"{role} cam", moved[role], set_aside=aside * (role == roles[0]))
            for role in roles]  # fmt: skip
    pairs = [a_spread(f"{one} to {other}", moved[other] - moved[one])
             for one, other in itertools.pairwise(roles)]  # fmt: skip
    edges = [
        EdgeSpread(
            role, ("rising", "falling")[k % 2], 90.0 * k + 5.0 + float(moved[role].mean()),
            float(moved[role].std()), 90.0 * k + 5.0 + float(moved[role].min()),
            90.0 * k + 5.0 + float(moved[role].max()),
            *(90.0 * k + 5.0 + np.percentile(moved[role], [50.0, 2.5, 97.5])),
        )
        for role in roles for k in range(8)
    ]  # fmt: skip
    outliers = ()
    if odd is not None:
        quantity = f"{roles[0]} cam"
        outliers = (Outlier(ids[odd], quantity, f"{quantity}: +9.0°, {fate}"),)
    return FamilyStatistics(
        family, "60-2", count, ids, tuple(cams), tuple(pairs), tuple(edges), outliers
    )


T20 = ("exhaust", "intake")
V6 = ("exhaust-1", "exhaust-2", "intake-1", "intake-2")
CASES = {
    "one": statistics(T20, 1),
    "two": statistics(T20, 2),
    "twenty": statistics(T20, 20),
    "set-aside": statistics(T20, 21, odd=7),
    "set-aside-below": statistics(T20, 21, odd=7, off=-9.0),
    "kept": statistics(T20, 21, odd=3, off=2.5, fate="kept"),
    "v6": statistics(V6, 12, odd=5, family="Sechszylinder-Versuchsmotor " * 9),
    "many": statistics(T20, 250),
    "one-cam": statistics(("cam-1",), 5),
    "three-cams": statistics(("cam-1", "cam-2", "cam-3"), 5),
}


@pytest.fixture(params=CASES)
def case(request):
    return CASES[request.param]


def across(picture):
    """Scale of the rows, from the numbers at its ticks."""
    ticks = [(float(n.text.rstrip("°")), float(n.get("x")))
             for n in picture.all("text", font_size="10.5", text_anchor="middle")]  # fmt: skip
    slope, offset = np.polyfit(*zip(*ticks, strict=True), 1)
    return lambda value: offset + slope * value


def dots(picture):
    """Places of the dots of all rows; the one in the key is grey."""
    return sorted(
        (node.get("stroke"), float(node.get("cx")))
        for node in picture.all("circle", stroke_width="1.2")
        if node.get("stroke") != style.FAINT_INK
    )


@pytest.mark.parametrize("name", ["one", "twenty", "many", "v6", "kept", "set-aside"])
def test_every_known_good_is_a_dot_at_its_place(read_picture, name):
    found = CASES[name]
    picture = read_picture(population_view(found))
    at, drawn = across(picture), dots(picture)
    wanted = []
    for spread in (*found.cams, *found.separations):
        colour = style.OTHER if " to " in spread.quantity else style.role_colour(
            spread.quantity.removesuffix(" cam")
        )  # fmt: skip
        aside = {item.id for item in found.outliers if item.quantity == spread.quantity}
        aside = aside if spread.count < found.known_goods else set()
        wanted += [(colour, at(value)) for known, value in zip(found.ids, spread.values_deg,
                                                               strict=True)
                   if known not in aside]  # fmt: skip
    wanted.sort()
    assert [colour for colour, _ in drawn] == [colour for colour, _ in wanted]
    assert [x for _, x in drawn] == pytest.approx([x for _, x in wanted], abs=0.1)


def test_brackets_stand_where_the_next_healthy_engine_lies(read_picture, case):
    picture = read_picture(population_view(case))
    at = across(picture)
    ends = [picture.points(n)[1][0] for n in picture.all("polyline", stroke_width="1.4")]
    rows = ends[: 2 * len(case.cams + case.separations)]
    wanted = [at(x) for one in (*case.cams, *case.separations)
              for x in (one.low_deg, one.high_deg)]  # fmt: skip
    assert rows == pytest.approx(wanted, abs=0.1)


def test_mean_and_spread_are_a_bar(read_picture, case):
    picture = read_picture(population_view(case))
    at = across(picture)
    bars = picture.all("line", stroke_width="3")[: len(case.cams + case.separations)]
    for spread, bar in zip((*case.cams, *case.separations), bars, strict=True):
        ends = [at(spread.mean_deg + side * spread.spread_deg) for side in (-1, 1)]
        assert [float(bar.get(key)) for key in ("x1", "x2")] == pytest.approx(ends, abs=0.1)


@pytest.mark.parametrize("name", ["set-aside", "set-aside-below"])
def test_one_that_was_set_aside_is_crossed_and_named(read_picture, name):
    found = CASES[name]
    odd = found.outliers[0].id
    picture = read_picture(population_view(found))
    named = picture.text(odd[:8])
    value = found.cams[0].values_deg[found.ids.index(odd)]
    place = across(picture)(value)
    crosses = [np.mean([float(n.get("x1")), float(n.get("x2"))])
               for n in picture.all("line", stroke_width="1.8")]  # fmt: skip
    assert crosses[:2] == pytest.approx([place, place], abs=0.1)
    # Its name stands on the side away from the others.
    way = 1 if value > found.cams[0].mean_deg else -1
    assert way * (float(named.get("x")) - place) > 0
    assert named.get("text-anchor") == ("start" if way > 0 else "end")
    assert "stands out, set aside" in picture.words
    assert any(words.startswith(f"{odd[:8]} stands out, exhaust cam:") for words in picture.words)


def test_one_that_is_kept_has_a_ring(read_picture):
    found = CASES["kept"]
    picture = read_picture(population_view(found))
    rings = picture.all("circle", fill="none")
    value = found.cams[0].values_deg[found.ids.index(found.outliers[0].id)]
    assert float(rings[0].get("cx")) == pytest.approx(across(picture)(value), abs=0.1)
    assert "stands out, kept" in picture.words
    assert "stands out, set aside" not in picture.words


def test_each_edge_has_its_extremes_and_spread(read_picture):
    found = CASES["twenty"]
    picture = read_picture(population_view(found))
    angles = picture.all("text", text_anchor="end", font_size="11")
    assert [node.text for node in angles] == [f"{edge.angle_deg:.2f}°" for edge in found.edges]
    whiskers = [n for n in picture.all("line", stroke_width="1", stroke=style.INK)
                if n.get("y1") == n.get("y2") and float(n.get("y1")) > 300]  # fmt: skip
    assert len(whiskers) == len(found.edges)
    scale = [float(n.get("x2")) - float(n.get("x1")) for n in whiskers]
    wanted = [edge.high_deg - edge.low_deg for edge in found.edges]
    ratio = np.array(scale) / np.array(wanted)
    assert ratio == pytest.approx(ratio[0], rel=1e-2)


def test_an_edge_beside_the_end_of_the_cycle_has_its_extremes_around_it(read_picture):
    found = CASES["twenty"]
    edge = replace(found.edges[0], angle_deg=719.8, low_deg=719.0, high_deg=720.9)
    words = read_picture(population_view(replace(found, edges=(edge,)))).words
    assert any("extremes -0.8° to +1.1°" in line for line in words)
    wrapped = replace(edge, angle_deg=0.1, low_deg=719.3, high_deg=721.2)
    words = read_picture(population_view(replace(found, edges=(wrapped,)))).words
    assert any("extremes -0.8° to +1.1°" in line for line in words)


def test_bank_two_is_open(read_picture):
    picture = read_picture(population_view(CASES["v6"]))
    fills = {(n.get("stroke"), n.get("fill")) for n in picture.all("circle", stroke_width="1.2")}
    assert {(style.EXHAUST, style.EXHAUST), (style.EXHAUST, "#ffffff")} <= fills


@pytest.mark.parametrize("count", [1, 7, 200])
def test_dots_of_a_level_keep_apart_and_levels_fill_from_below(count):
    places = np.random.default_rng(count).normal(0.0, 20.0, count)
    levels = swarm(places, apart=5.0)
    for level in range(max(levels) + 1):
        here = np.sort(places[np.array(levels) == level])
        assert len(here) > 0
        assert (np.diff(here) >= 5.0).all()


def test_nothing_covers_anything(read_picture, case):
    read_picture(population_view(case)).assert_tidy()


def test_nothing_covers_anything_in_a_language_of_longer_words(read_picture, case, long_words):
    read_picture(population_view(case)).assert_tidy()


def test_everything_stays_between_its_ends(read_picture, case):
    for _, x in dots(read_picture(population_view(case))):
        assert LEFT <= x <= RIGHT


def test_the_same_family_gives_the_same_picture(case):
    assert population_view(case) == population_view(case)


def test_names_stay_text(read_picture):
    evil = '</text><script>alert("x")</script>&\x00]]>'
    found = replace(CASES["set-aside"], family=evil, wheel=evil)
    found = replace(found, outliers=(replace(found.outliers[0], text=evil),))
    picture = read_picture(population_view(found))
    assert not picture.all("script")
    assert evil.replace("\x00", "\N{REPLACEMENT CHARACTER}") in picture.title


def test_the_picture_has_words_for_those_who_can_not_see_it(read_picture):
    picture = read_picture(population_view(CASES["set-aside"]))
    assert "exhaust cam: 20 known-goods, spread" in picture.description
    assert "stands out" in picture.description


def test_it_can_be_printed():
    assert png(population_view(CASES["v6"])).startswith(b"\x89PNG")


def test_the_picture_in_the_docs_is_the_one_the_code_draws():
    found = codec.load(INPUT.read_text(encoding="utf-8"), FamilyStatistics)
    committed = (ROOT / "docs/population-view.svg").read_text(encoding="utf-8")
    assert population_view(found) == committed, "look at it, then run scripts/write_generated.py"


def test_a_family_summed_by_the_database_is_drawn_without_its_dots():
    known = statistics(T20, 12)
    none = tuple(replace(one, values_deg=()) for one in known.cams)
    pairs = tuple(replace(one, values_deg=()) for one in known.separations)
    summed = replace(known, ids=(), cams=none, separations=pairs)
    drawn = population_view(summed)
    assert drawn.count("<circle") < population_view(known).count("<circle")
    assert "known-goods: 12" in drawn
