"""The picture of a vehicle over its mileage, read back from its own SVG."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from crankwise.comparison.spread import SpreadPrior
from crankwise.judge.history import Visit, judge_series, split_series
from crankwise.judge.policy import load_policy
from crankwise.picture import style
from crankwise.picture.history_axes import line_end
from crankwise.picture.history_view import LEFT, RIGHT, history_view
from crankwise.picture.raster import png
from crankwise.store.history import History, HistorySeries

ROOT = Path(__file__).parents[1]
INPUT = ROOT / "tests" / "snapshots" / "inputs" / "van-4-history.json"
PRIOR = SpreadPrior(0.1, 4.0, "policy: our assumption")
REFERENCE_DEG = 0.25
MILEAGE = (20e3, 41e3, 60e3, 82e3, 99e3, 121e3)


def visits(mileage, shift, *, u=0.1, name="visit {number}", before=()):
    return [
        Visit(name.format(number=number), float(at), float(deg), u, number in before)
        for number, (at, deg) in enumerate(zip(mileage, shift, strict=True))
    ]


def a_line(per_10000, *, start=0.0, mileage=MILEAGE, **more):
    # Off the line by a fixed pattern of about a tenth of a degree.
    off = 0.1 * np.cos(np.arange(len(mileage)) * 2.1)
    return visits(mileage, start + per_10000 * np.array(mileage) / 1e4 + off, **more)


def series(quantity, found, *, restarts=(), limits=(4.0, 12.0), prior=PRIOR, unit="km",
           reference=REFERENCE_DEG):  # fmt: skip
    present = split_series(found, restarts=restarts)[-1]
    trends = [
        judge_series(
            present, mileage_unit=unit, prior=prior, limit_deg=limit,
            reference_standard_uncertainty_deg=reference,
        )
        for limit in limits
    ]  # fmt: skip
    kind = "separation" if " to " in quantity else "cam"
    return HistorySeries(quantity, kind, tuple(found), tuple(restarts), *trends, reference)


def a_history(*found, unit="km", left_out=(), limits=(4.0, 12.0)):
    return History(1, unit, "ffaf1b3d59c7e2ab", found, tuple(left_out), *limits)


V6 = a_history(
    *(series(role, a_line(rate)) for role, rate in (
        ("exhaust-1", 0.3), ("exhaust-2", 0.25), ("intake-1", -0.4), ("intake-2", 0.5))),
    *(series(f"intake-{bank} to exhaust-{bank}", a_line(0.1 * bank)) for bank in (1, 2)),
)  # fmt: skip
MANY = np.linspace(8e3, 250e3, 40)
CASES = {
    "v6": V6,
    "none": a_history(),
    "one": a_history(series("cam-1", visits([84_211], [1.2], u=0.3))),
    "same-mileage": a_history(series("intake", visits([84_211] * 3, [1.2, 1.4, 1.3]))),
    "at-nought": a_history(series("intake", visits([0.0, 0.0], [0.0, 0.0], u=0.0))),
    "many": a_history(
        series("intake", a_line(0.25, mileage=MANY), restarts=[100e3, 100.5e3, 160e3]),
        series("exhaust", a_line(-0.1, mileage=MANY), restarts=[100e3, 100.5e3, 160e3]),
    ),
    "jumped": a_history(
        series("intake", visits([50e3, 60e3, 70e3, 80e3], [0.3, 0.5, 20.4, 20.9])),
        series("exhaust", visits([50e3, 60e3, 70e3, 80e3], [0.3, 0.4, 0.6, 0.7])),
    ),
    "outlier": a_history(
        series("intake", visits(MILEAGE, [-0.3, -1.0, -1.6, 2.1, -3.0, -3.4], u=0.15))
    ),
    "labels-below": a_history(
        series("intake", a_line(-0.25)),
        series("exhaust", visits(MILEAGE, [-0.3, -1.0, -1.6, 2.1, -3.0, -3.4], u=0.15)),
    ),
    "near": a_history(series("intake", a_line(0.38)), series("exhaust", a_line(0.9))),
    "large-limit": a_history(
        series("intake", a_line(0.1), limits=(30.0, 90.0)), limits=(30.0, 90.0)
    ),
    "wide": a_history(series("intake", a_line(0.0, u=6.0))),
    "eight": a_history(*(series(f"cam-{k}", a_line(0.1 * k)) for k in range(1, 9))),
    "left-out": a_history(
        series("intake", a_line(0.1)),
        left_out=["2024-04-09, x.csv: it is not measured"] * 9,
    ),
}


@pytest.fixture(params=CASES)
def case(request):
    return CASES[request.param]


class Axes:
    """Scales of a picture, from what is written at its ticks."""

    def __init__(self, picture):
        self.picture = picture
        numbers = [n for n in picture.all("text", font_size="10.5") if n.text[0].isdigit()]
        self.across = fit([(float(n.text.replace(",", "")), float(n.get("x"))) for n in numbers])
        ticks = [
            (float(n.text.rstrip("°")), float(n.get("y")) - 3.5)
            for n in picture.all("text", text_anchor="end")
            if n.text.endswith("°")
        ]
        # Within a panel they are written from the lowest up; the next panel is farther down.
        starts = [k for k, pair in enumerate(ticks) if k == 0 or pair[1] > ticks[k - 1][1]]
        self.panels = [
            fit(ticks[start:end])
            for start, end in zip(starts, [*starts[1:], len(ticks)], strict=True)
        ]

    def place(self, panel, mileage, shift):
        slope, offset = self.across
        down, nought = self.panels[panel]
        return offset + slope * mileage, nought + down * shift


def fit(pairs):
    values, pixels = zip(*pairs, strict=True)
    return np.polyfit(values, pixels, 1)


def marks(picture):
    """Middle and fill of every visit's disc in the panels, and of every cross."""
    discs, crosses = [], []
    for group in picture.all("g"):
        if group.find("{http://www.w3.org/2000/svg}title") is None:
            continue
        circle = group.find("{http://www.w3.org/2000/svg}circle")
        if circle is not None:
            discs.append((float(circle.get("cx")), float(circle.get("cy")), circle.get("fill")))
        else:
            lines = group.findall("{http://www.w3.org/2000/svg}line")
            ends = [(float(n.get("x1")), float(n.get("x2")), float(n.get("y1")),
                     float(n.get("y2"))) for n in lines[-2:]]  # fmt: skip
            crosses.append((np.mean([e[:2] for e in ends]), np.mean([e[2:] for e in ends])))
    return discs, crosses


@pytest.mark.parametrize("name", ["v6", "many", "jumped", "near", "large-limit", "wide"])
def test_every_visit_stands_at_its_mileage_and_shift(read_picture, name):
    history = CASES[name]
    picture = read_picture(history_view(history))
    axes, (discs, _) = Axes(picture), marks(picture)
    wanted = [
        axes.place(panel, visit.mileage, visit.shift_deg)
        for panel, one in enumerate(history.series)
        for visit in one.visits
    ]
    assert len(discs) == len(wanted)
    for (x, y, _), place in zip(discs, wanted, strict=True):
        assert (x, y) == pytest.approx(place, abs=0.1)


def test_bars_are_95_percent_of_the_visit_alone(read_picture):
    history = CASES["one"]  # 1.96 standard uncertainties either way
    picture = read_picture(history_view(history))
    axes, group = Axes(picture), picture.all("g")[-1]
    bar = group.findall("{http://www.w3.org/2000/svg}line")[0]
    half = abs(float(bar.get("y1")) - float(bar.get("y2"))) / 2
    assert half == pytest.approx(1.96 * 0.3 * abs(axes.panels[0][0]), abs=0.1)
    assert "+1.20° ± 0.59°" in picture.words


def test_all_panels_have_one_scale(read_picture):
    for name in ("v6", "many", "jumped"):
        axes = Axes(read_picture(history_view(CASES[name])))
        slopes = [panel[0] for panel in axes.panels]
        assert slopes == pytest.approx([slopes[0]] * len(slopes), rel=1e-3)


def heights(picture, colour, dashes):
    """Heights of the level lines of one look that cross the whole panel."""
    lines = [picture.points(node) for node in picture.all("polyline", stroke=colour)
             if node.get("stroke-dasharray") == dashes]  # fmt: skip
    return [points[0][1] for points in lines if points[0][0] == LEFT and points[1][0] == RIGHT]


def test_limits_are_lines_with_their_verdicts(read_picture):
    picture = read_picture(history_view(CASES["jumped"]))
    axes = Axes(picture)
    worn, out = heights(picture, "#b3351b", "9 3 2 3"), heights(picture, "#7a0f2b", None)
    assert worn[0] == pytest.approx(axes.place(0, 0, 4.0)[1], abs=0.1)
    assert out == [pytest.approx(axes.place(0, 0, 12.0)[1], abs=0.1)]
    assert {"worn from +4.0°", "out-of-time from +12.0°", "known-good"} <= set(picture.words)
    assert "out-of-time from +12.0° ↑" in picture.words  # of the other panel, out of view


def test_a_cam_that_comes_earlier_has_its_limits_below(read_picture):
    picture = read_picture(history_view(a_history(series("intake", a_line(-0.3)))))
    assert "worn from -4.0°" in picture.words
    assert "out-of-time from -12.0° ↓" in picture.words
    assert not any("from +" in words for words in picture.words)


def fitted_lines(picture, colour=style.INTAKE):
    found = picture.all("polyline", stroke=colour, stroke_width="1.8")
    return {node.get("stroke-dasharray", ""): picture.points(node) for node in found}


def test_the_line_is_the_fitted_one_and_goes_on_dashed(read_picture):
    one = series("intake", a_line(0.3))
    picture = read_picture(history_view(a_history(one)))
    axes, lines = Axes(picture), fitted_lines(picture)
    first, last, end = MILEAGE[0], MILEAGE[-1], line_end(one)
    for dashes, places in (("", (first, last)), ("7 4", (last, end))):
        wanted = [axes.place(0, at, one.worn.line.expected(at).value) for at in places]
        assert np.array(lines[dashes]) == pytest.approx(np.array(wanted), abs=0.1)


def test_the_band_meets_the_limit_where_the_forecast_says(read_picture):
    one = series("intake", a_line(0.22))
    forecast = one.worn.forecast
    assert MILEAGE[-1] < forecast.earliest < line_end(one)
    picture = read_picture(history_view(a_history(one)))
    axes = Axes(picture)
    [band] = picture.all("polygon", fill=style.INTAKE, fill_opacity="0.13")
    above = np.array(picture.points(band)[:25])
    x, y = axes.place(0, forecast.earliest, 4.0)
    assert np.interp(x, above[:, 0], above[:, 1]) == pytest.approx(y, abs=1.0)
    [reached] = [
        node for node in picture.all("line", stroke_width="3")
        if float(node.get("x1")) > LEFT and float(node.get("y1")) < picture.height - 60
    ]  # fmt: skip
    end = min(forecast.latest, line_end(one))
    ends = [axes.place(0, at, 4.0) for at in (forecast.earliest, end)]
    assert [float(reached.get(key)) for key in ("x1", "y1", "x2", "y2")] == pytest.approx(
        [*ends[0], *ends[1]], abs=0.1
    )


def test_no_line_is_drawn_farther_than_the_visits_reach(case):
    for one in case.series:
        end = line_end(one)
        if end is not None:
            first, last = (one.worn.visits[place].mileage for place in (0, -1))
            assert last <= end <= last + (last - first)


def test_what_is_no_trend_is_not_drawn_on(read_picture):
    flat = series("intake", a_line(0.0))
    assert flat.worn.outcome == "not-trending"
    lines = fitted_lines(read_picture(history_view(a_history(flat))))
    assert set(lines) == {""}


def test_too_few_visits_are_said_and_have_no_line(read_picture):
    picture = read_picture(history_view(CASES["one"]))
    assert any("Too few visits: 1 visit" in words for words in picture.words)
    assert not fitted_lines(picture, style.OTHER)


def test_a_new_chain_is_marked_and_begins_anew(read_picture):
    found = visits([40e3, 60e3, 80e3, 80e3], [2.0, 2.6, 3.4, 0.1], before=(2,))
    picture = read_picture(history_view(a_history(series("intake", found, restarts=[80e3]))))
    axes, (discs, _) = Axes(picture), marks(picture)
    assert "new chain at 80,000 km" in picture.words
    lines = [picture.points(n) for n in picture.all("polyline", stroke_dasharray="2 3")]
    x = axes.place(0, 80e3, 0.0)[0]
    assert all(a[0] == b[0] == pytest.approx(x, abs=0.1) for a, b in lines)
    pale = style.lighter(style.INTAKE)
    assert [fill for _, _, fill in discs] == [pale] * 3 + [style.INTAKE]
    [former] = picture.all("polyline", stroke=pale)
    assert len(picture.points(former)) == 3


def test_a_visit_that_was_left_out_is_crossed(read_picture):
    history = CASES["outlier"]
    odd = history.series[0].worn.set_aside
    assert odd is not None
    picture = read_picture(history_view(history))
    axes, (discs, crosses) = Axes(picture), marks(picture)
    assert crosses == [pytest.approx(axes.place(0, odd.mileage, odd.shift_deg), abs=0.1)]
    assert len(discs) == len(history.series[0].visits) - 1
    assert "left out of the line" in picture.words


def test_bank_two_is_open_and_separations_have_no_role(read_picture):
    picture = read_picture(history_view(V6))
    discs, _ = marks(picture)
    fills = [{fill for _, _, fill in discs[k : k + 6]} for k in range(0, 36, 6)]
    paper = {"#ffffff"}
    assert fills == [{style.EXHAUST}, paper, {style.INTAKE}, paper, {style.OTHER}, paper]


def test_of_too_many_those_that_moved_most_are_drawn(read_picture):
    picture = read_picture(history_view(CASES["eight"]))
    named = [words for words in picture.words if words.startswith("cam-")]
    assert named == [f"cam-{k}" for k in range(3, 9)]
    assert "2 more that have moved less stand in the table." in picture.words


def test_what_could_not_be_used_is_said(read_picture):
    said = " ".join(read_picture(history_view(CASES["left-out"])).words)
    assert "it is not measured; and 5 more." in said
    nothing = read_picture(history_view(CASES["none"]))
    assert any(words.startswith("No visit has a measurement") for words in nothing.words)


def test_the_mileage_is_in_the_unit_of_the_history(read_picture):
    miles = a_history(series("intake", a_line(0.3), unit="miles"), unit="miles")
    picture = read_picture(history_view(miles))
    assert "mileage, miles" in picture.words
    assert "20,000 miles +0.70° ± 0.20°" in picture.description


def test_nothing_covers_anything(read_picture, case):
    read_picture(history_view(case, vehicle="van-4")).assert_tidy()


def test_nothing_covers_anything_in_a_language_of_longer_words(read_picture, case, long_words):
    read_picture(history_view(case, vehicle="Lieferwagen " * 20)).assert_tidy()


def test_the_same_history_gives_the_same_picture(case):
    assert history_view(case) == history_view(case)


def test_names_stay_text(read_picture):
    evil = '</text><script>alert("x")</script>&\x00]]>'
    one = series("intake", a_line(0.3, name=evil + "{number}"))
    picture = read_picture(history_view(a_history(one, left_out=[evil]), vehicle=evil))
    assert not picture.all("script")
    assert evil.replace("\x00", "\N{REPLACEMENT CHARACTER}") in picture.title
    hostile = a_history(replace(one, quantity=evil))
    assert not read_picture(history_view(hostile)).all("script")


def test_it_can_be_printed():
    assert png(history_view(CASES["near"])).startswith(b"\x89PNG")


def from_document(values):
    """The history that ``job history --json`` wrote, with its lines fitted again."""
    rules = load_policy(None)
    prior = SpreadPrior(
        rules.spread.visit_deg / float(np.sqrt(2.0)), rules.spread.visit_dof,
        rules.sources["spread.visit_deg"],
    )  # fmt: skip
    limits = values["worn_deg"], values["out_of_time_deg"]
    unit = values["mileage_unit"]
    found = [
        series(
            one["quantity"], [Visit(**visit) for visit in one["visits"]], restarts=one["restarts"],
            limits=limits, prior=prior, unit=unit,
            reference=one["known_good_standard_uncertainty_deg"],
        )
        for one in values["series"]
    ]  # fmt: skip
    history = a_history(*found, unit=unit, left_out=values["left_out"], limits=limits)
    return replace(history, known_good_id=values["known_good_id"])


def test_the_picture_in_the_docs_is_the_one_the_code_draws():
    history = from_document(json.loads(INPUT.read_text(encoding="utf-8")))
    committed = (ROOT / "docs/history-view.svg").read_text(encoding="utf-8")
    drawn = history_view(history, vehicle="van-4")
    assert drawn == committed, "look at it, then run scripts/write_generated.py"
