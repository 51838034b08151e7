"""Trend over mileage: against SciPy, closed forms and simulation; restarts, outliers, words."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from crankwise.comparison.line import learn_line
from crankwise.comparison.robust import median_slope
from crankwise.comparison.spread import SpreadPrior
from crankwise.errors import UsageError
from crankwise.judge.history import Visit, chance_at, judge_series, split_series

POLICY = SpreadPrior(0.2, 4.0, "policy: our assumption")
NOTHING_KNOWN = SpreadPrior(1e-4, 1e-9, "nothing known")
NO_SPREAD = SpreadPrior(1e-4, 1e6, "none")


def visits(mileage, shift, *, u=0.1):
    us = np.broadcast_to(u, len(mileage))
    return [
        Visit(f"visit {i}", float(m), float(s), float(one))
        for i, (m, s, one) in enumerate(zip(mileage, shift, us, strict=True), 1)
    ]


def judge(mileage, shift, *, u=0.1, prior=POLICY, limit=12.0, reference=0.0, unit="km"):
    return judge_series(
        visits(mileage, shift, u=u), mileage_unit=unit, prior=prior, limit_deg=limit,
        reference_standard_uncertainty_deg=reference,
    )  # fmt: skip


MILEAGE = np.array([40e3, 55e3, 61e3, 78e3, 90e3, 104e3])
SHIFT = np.array([1.1, 1.9, 2.0, 3.3, 3.7, 4.9])

# --- closed forms -------------------------------------------------------------------------


def test_line_is_least_squares_where_only_the_visits_speak():
    trend = judge(MILEAGE, SHIFT, u=0.0, prior=NOTHING_KNOWN)
    known = stats.linregress(MILEAGE, SHIFT)
    t = stats.t.ppf(0.975, len(MILEAGE) - 2)
    assert trend.change_per_10000.value == pytest.approx(1e4 * known.slope, rel=1e-9)
    half = 1e4 * t * known.stderr
    assert trend.change_per_10000.uncertainty == pytest.approx(half, rel=1e-7)


@pytest.mark.parametrize("mileage", [40e3, 70e3, 150e3])
def test_prediction_band_is_the_textbook_one(mileage):
    # y0 +/- t s sqrt(1 + 1/n + (x0 - xm)^2 / Sxx), any text on regression.
    trend = judge(MILEAGE, SHIFT, u=0.0, prior=NOTHING_KNOWN)
    known = stats.linregress(MILEAGE, SHIFT)
    count = len(MILEAGE)
    residual = SHIFT - known.intercept - known.slope * MILEAGE
    s = math.sqrt((residual**2).sum() / (count - 2))
    middle, squares = MILEAGE.mean(), ((MILEAGE - MILEAGE.mean()) ** 2).sum()
    width = s * math.sqrt(1 + 1 / count + (mileage - middle) ** 2 / squares)
    found = trend.line.predict(mileage, standard_uncertainty_deg=0.0, coverage=0.95)
    assert found.value == pytest.approx(known.intercept + known.slope * mileage, rel=1e-9)
    assert found.uncertainty == pytest.approx(stats.t.ppf(0.975, count - 2) * width, rel=1e-7)


def test_prediction_at_the_middle_of_thirty():
    # theprimecalculator.com, regression prediction: y = 50, s = 5, n = 30: 39.59 to 60.41.
    rng = np.random.default_rng(3)
    place = np.linspace(-1.0, 1.0, 30)
    noise = rng.normal(size=30)
    noise -= np.polyval(np.polyfit(place, noise, 1), place)
    noise *= 5.0 / math.sqrt((noise**2).sum() / 28)
    line = learn_line(
        place, 50.0 + 3.0 * place + noise, standard_uncertainty_deg=np.zeros(30),
        prior=NOTHING_KNOWN,
    )  # fmt: skip
    found = line.predict(0.0, standard_uncertainty_deg=0.0, coverage=0.95)
    assert found.low == pytest.approx(39.59, abs=0.005)
    assert found.high == pytest.approx(60.41, abs=0.005)


def test_known_uncertainties_alone_weight_the_line():
    u = np.array([0.1, 0.5, 0.1, 1.0, 0.2, 0.3])
    trend = judge(MILEAGE, SHIFT, u=u, prior=NO_SPREAD)
    # np.polyfit with cov="unscaled" takes 1/u as known.
    (slope, _), covariance = np.polyfit(MILEAGE / 1e4, SHIFT, 1, w=1.0 / u, cov="unscaled")
    assert trend.change_per_10000.value == pytest.approx(slope, rel=1e-5)
    half = stats.norm.ppf(0.975) * math.sqrt(covariance[0, 0])
    assert trend.change_per_10000.uncertainty == pytest.approx(half, rel=1e-4)


def test_mileage_to_the_limit_is_fiellers():
    """Without a spread of its own the band's crossings solve Fieller's quadratic equation."""
    u = 0.3
    trend = judge(MILEAGE, SHIFT, u=u, prior=NO_SPREAD)
    x, z = MILEAGE / 1e4, stats.norm.ppf(0.975)
    slope, intercept = np.polyfit(x, SHIFT, 1)
    middle, squares = x.mean(), ((x - x.mean()) ** 2).sum()
    off = intercept + slope * middle - 12.0
    # (off + slope d)^2 = z^2 u^2 (1/n + d^2/Sxx) with d measured from the middle.
    scale = (z * u) ** 2
    roots = np.roots([slope**2 - scale / squares, 2 * off * slope, off**2 - scale / len(x)])
    low, high = sorted(1e4 * (middle + roots.real))
    assert trend.forecast.earliest == pytest.approx(low, rel=1e-5)
    assert trend.forecast.latest == pytest.approx(high, rel=1e-5)
    crossing = 1e4 * (12.0 - intercept) / slope
    assert trend.forecast.mileage == pytest.approx(crossing, rel=1e-5)
    assert trend.forecast.remaining == pytest.approx(crossing - MILEAGE[-1], rel=1e-5)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_the_chance_at_a_mileage_is_that_of_the_forecast(sign):
    """What the forecast inverts: 2.5 % at the earliest mileage, 97.5 % at the latest."""
    trend = judge(MILEAGE, sign * SHIFT, reference=0.05)
    found = [
        chance_at(trend, mileage, reference_standard_uncertainty_deg=0.05)
        for mileage in (trend.forecast.earliest, trend.forecast.mileage, trend.forecast.latest)
    ]
    assert found == pytest.approx([0.025, 0.5, 0.975], abs=0.01)


def test_without_a_trend_there_is_no_chance():
    for trend in (judge(MILEAGE[:2], SHIFT[:2]), judge(MILEAGE, np.zeros(6))):
        assert chance_at(trend, 120e3, reference_standard_uncertainty_deg=0.0) is None


def test_median_slope_is_theil_sens():
    bent = SHIFT.copy()
    bent[2] = 9.0
    assert median_slope(MILEAGE, bent) == pytest.approx(stats.theilslopes(bent, MILEAGE).slope)


# --- coverage -----------------------------------------------------------------------------


@pytest.mark.parametrize("count", [3, 4, 6, 12])
def test_prediction_interval_covers_what_it_promises(count):
    rng = np.random.default_rng(11 + count)
    held = []
    for _ in range(2000):
        spread = POLICY.spread_deg * math.sqrt(POLICY.dof / rng.chisquare(POLICY.dof))
        u = rng.uniform(0.02, 0.4, count + 1)
        mileage = np.append(np.sort(rng.uniform(20e3, 120e3, count)), rng.uniform(20e3, 200e3))
        shift = 0.5 + 4e-5 * mileage + np.hypot(spread, u) * rng.normal(size=count + 1)
        line = learn_line(mileage[:-1], shift[:-1], standard_uncertainty_deg=u[:-1], prior=POLICY)
        new = line.reading(float(mileage[-1]), standard_uncertainty_deg=float(u[-1]))
        held.append(new.beyond(float(shift[-1])) >= 0.05)
    assert 0.93 <= np.mean(held) <= 0.97


def test_prediction_interval_covers_with_nothing_known():
    rng = np.random.default_rng(8)
    mileage = np.linspace(20e3, 120e3, 8)
    held = []
    for _ in range(2000):
        shift = 4e-5 * mileage + rng.normal(0.0, 0.3, 8)
        line = learn_line(mileage, shift, standard_uncertainty_deg=np.zeros(8), prior=NOTHING_KNOWN)
        new = line.reading(140e3, standard_uncertainty_deg=0.0)
        held.append(new.beyond(4e-5 * 140e3 + rng.normal(0.0, 0.3)) >= 0.05)
    assert 0.93 <= np.mean(held) <= 0.97


def test_change_interval_covers_and_the_false_alarm_rate_is_kept():
    rng = np.random.default_rng(4)
    mileage = np.array([30e3, 45e3, 70e3, 80e3, 110e3])
    false_alarms = [
        judge(mileage, np.hypot(spread, 0.1) * rng.normal(size=5)).outcome == "trending"
        for spread in 0.2 * np.sqrt(4.0 / rng.chisquare(4.0, 400))
    ]
    # 5 % promised; standard error of 400 draws 1.1 %.
    assert 0.02 <= np.mean(false_alarms) <= 0.085


# --- outcomes -----------------------------------------------------------------------------


def test_a_clear_trend_is_told_in_words():
    trend = judge(MILEAGE, SHIFT)
    assert trend.outcome == "trending"
    assert "comes later by +0.59° per 10,000 km" in trend.reason
    assert "over 6 visits, 40,000 km to 104,000 km" in trend.reason
    assert "limit of +12.0°" in trend.forecast.text
    assert "at the earliest" in trend.forecast.text
    assert "times as far ahead as the visits span" in trend.forecast.text
    assert trend.forecast.earliest < trend.forecast.mileage < trend.forecast.latest
    assert trend.set_aside is None
    assert trend.remarks == ()


def test_advancing_is_the_mirror_of_retarding():
    late, early = judge(MILEAGE, SHIFT), judge(MILEAGE, -SHIFT)
    assert early.forecast.limit_deg == -12.0
    assert "earlier" in early.reason
    assert early.forecast.mileage == pytest.approx(late.forecast.mileage)
    assert early.forecast.earliest == pytest.approx(late.forecast.earliest)
    assert early.forecast.latest == pytest.approx(late.forecast.latest)


def test_another_unit_tells_the_same():
    km, miles = judge(MILEAGE, SHIFT), judge(MILEAGE / 1.609344, SHIFT, unit="miles")
    assert miles.change_per_10000.value == pytest.approx(1.609344 * km.change_per_10000.value)
    assert miles.forecast.mileage * 1.609344 == pytest.approx(km.forecast.mileage)
    assert "per 10,000 miles" in miles.reason


def test_order_of_visits_does_not_matter():
    order = [3, 0, 5, 1, 4, 2]
    here, there = judge(MILEAGE, SHIFT), judge(MILEAGE[order], SHIFT[order])
    assert [v.mileage for v in there.visits] == sorted(MILEAGE)
    assert there.forecast.mileage == pytest.approx(here.forecast.mileage)


def test_no_trend_gives_no_forecast():
    trend = judge(MILEAGE, [1.0, 1.2, 0.9, 1.1, 0.95, 1.1])
    assert trend.outcome == "not-trending"
    assert trend.forecast is None
    assert "No trend can be told" in trend.reason
    assert trend.change_per_10000.low < 0.0 < trend.change_per_10000.high


@pytest.mark.parametrize(
    ("mileage", "says"),
    [
        ([], "no visit with this chain"),
        ([40e3], "1 visit with"),
        ([40e3, 60e3], "2 visits with"),
        ([40e3, 40e3, 40e3], "all 3 were made at 40,000 km"),
    ],
)
def test_too_few_visits_say_why(mileage, says):
    trend = judge(mileage, np.arange(len(mileage)))
    assert trend.outcome == "too-few-visits"
    assert says in trend.reason
    assert trend.line is None
    assert trend.forecast is None


def test_a_limit_already_reached():
    trend = judge(MILEAGE, SHIFT, limit=3.0)
    assert trend.forecast.remaining == 0.0
    assert trend.forecast.mileage == trend.forecast.earliest == MILEAGE[-1]
    assert "already" in trend.forecast.text


def test_the_known_goods_uncertainty_counts_towards_the_limit_only():
    sure, unsure = judge(MILEAGE, SHIFT), judge(MILEAGE, SHIFT, reference=0.5)
    assert unsure.change_per_10000 == sure.change_per_10000
    assert unsure.forecast.mileage == sure.forecast.mileage
    assert unsure.forecast.earliest < sure.forecast.earliest
    assert unsure.forecast.latest > sure.forecast.latest


# --- one bad visit ------------------------------------------------------------------------


@pytest.mark.parametrize("place", range(6))
def test_one_bad_visit_is_named_and_left_out(place):
    bad = SHIFT.copy()
    bad[place] += 6.0
    trend = judge(MILEAGE, bad)
    assert trend.set_aside.name == f"visit {place + 1}"
    others = np.arange(6) != place
    clean = judge(MILEAGE[others], SHIFT[others])
    assert trend.change_per_10000 == clean.change_per_10000
    assert f"Visit visit {place + 1} stands out" in trend.remarks[0]
    assert len(trend.visits) == 6


def test_with_four_visits_a_bad_one_cannot_be_told():
    trend = judge(MILEAGE[:4], [1.0, 1.5, 9.0, 2.4])
    assert trend.set_aside is None
    assert any("can't be told which one is wrong" in remark for remark in trend.remarks)


def test_a_pulled_line_is_pointed_out():
    # Two bad visits hide each other from the test for one; the median of slopes does not follow.
    shift = 0.2 * np.sin(np.arange(12.0))
    shift[-2:] += 5.0
    trend = judge(np.linspace(20e3, 130e3, 12), shift)
    assert any("median slope" in remark for remark in trend.remarks)


# --- restarts -----------------------------------------------------------------------------


def test_a_new_chain_begins_a_new_series():
    series = split_series(visits([120e3, 90e3, 60e3, 100e3], [0.2, 5.0, 3.0, 0.1]),
                          restarts=[95e3])  # fmt: skip
    assert [[v.mileage for v in one] for one in series] == [[60e3, 90e3], [100e3, 120e3]]


def test_before_and_after_at_the_very_mileage_of_the_repair():
    before = Visit("before", 95e3, 6.0, 0.1, before_repair=True)
    after = Visit("after", 95e3, 0.1, 0.1)
    old, new = split_series([after, before], restarts=[95e3])
    assert (old, new) == ((before,), (after,))


def test_several_restarts_and_a_chain_without_visits():
    series = split_series(visits([10e3, 50e3], [0.0, 0.0]), restarts=[40e3, 20e3, 60e3])
    assert [len(one) for one in series] == [1, 0, 1, 0]


def test_no_restart_is_one_series():
    (series,) = split_series(visits([2e3, 1e3], [0.0, 0.0]), restarts=[])
    assert [v.mileage for v in series] == [1e3, 2e3]


# --- refusals -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("visit", "says"),
    [
        (Visit("May", math.nan, 1.0, 0.1), "visit May: the mileage is nan"),
        (Visit("May", -5.0, 1.0, 0.1), "visit May: the mileage is -5"),
        (Visit("May", 5e3, math.inf, 0.1), "visit May: the shift is not a number"),
        (Visit("May", 5e3, 1.0, -0.1), "visit May: the uncertainty is -0.1°"),
    ],
)
def test_a_bad_visit_is_named(visit, says):
    with pytest.raises(UsageError, match=says):
        judge_series(
            [*visits(MILEAGE, SHIFT), visit], mileage_unit="km", prior=POLICY, limit_deg=12.0,
            reference_standard_uncertainty_deg=0.0,
        )  # fmt: skip


@pytest.mark.parametrize("limit", [0.0, -12.0, math.nan])
def test_a_limit_is_a_size(limit):
    with pytest.raises(UsageError, match="give its size, above 0"):
        judge(MILEAGE, SHIFT, limit=limit)


def test_a_negative_uncertainty_of_the_known_good_is_refused():
    with pytest.raises(UsageError, match="known-good's uncertainty"):
        judge(MILEAGE, SHIFT, reference=-0.1)
