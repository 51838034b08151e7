"""Limits from known-goods: closed forms, properties, one bad known-good, coverage."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from crankwise.comparison.population import KnownGoodValue, build_population
from crankwise.comparison.spread import SpreadPrior, learn_spread
from crankwise.comparison.tolerance import prediction_factor, two_sided_factor
from crankwise.errors import NotMeasurableError, UsageError

POLICY = SpreadPrior(1.5, 4.0, "policy: our assumption")
NOTHING_KNOWN = SpreadPrior(1e-3, 1e-9, "nothing known")


def population(values, *, u=0.0, prior=POLICY):
    us = np.broadcast_to(u, len(values))
    return build_population(
        [
            KnownGoodValue(f"kg{i}", float(v), float(s))
            for i, (v, s) in enumerate(zip(values, us, strict=True))
        ],
        quantity="intake cam",
        prior=prior,
    )


def half_width(values, *, u=0.0, prior=POLICY, new=0.0):
    limits = population(values, u=u, prior=prior).prediction_limits(
        standard_uncertainty_deg=new, coverage=0.95
    )
    return limits.half_width_deg


# --- closed forms -------------------------------------------------------------------------


@pytest.mark.parametrize("dof", [1.0, 2.0, 4.0, 30.0, 1e3, 1e6])
def test_one_known_good_has_the_policy_build_spread(dof):
    prior = SpreadPrior(1.5, dof, "policy")
    one = population([150.0], prior=prior)
    limits = one.prediction_limits(standard_uncertainty_deg=0.0, coverage=0.95)
    # Both vehicles have the build spread; how sure it is, says Student's t.
    half = stats.t.ppf(0.975, dof) * 1.5 * math.sqrt(2.0)
    assert limits.half_width_deg == pytest.approx(half, rel=1e-9)
    assert limits.centre_deg == pytest.approx(150.0, abs=1e-9)
    assert "one known-good" in one.basis
    assert "1.5°" in one.basis
    assert "policy" in one.basis
    assert one.excess_spread_deg is None
    assert one.remarks == ()


@pytest.mark.parametrize("count", [2, 3, 5, 20])
def test_blend_is_student_t_of_the_pooled_spread(count):
    values = np.random.default_rng(count).normal(10.0, 1.0, count)
    dof = POLICY.dof + count - 1
    squares = POLICY.dof * POLICY.spread_deg**2 + ((values - values.mean()) ** 2).sum()
    factor = prediction_factor(count=count, coverage=0.95, dof=dof)
    assert half_width(values) == pytest.approx(factor * math.sqrt(squares / dof), rel=1e-9)


@pytest.mark.parametrize("count", [4, 10, 43])
def test_with_nothing_known_the_limits_are_the_classical_ones(count):
    values = stats.norm.ppf((np.arange(count) + 0.5) / count)
    pop = population(values, prior=NOTHING_KNOWN)
    sd = values.std(ddof=1)
    predicted = pop.prediction_limits(standard_uncertainty_deg=0.0, coverage=0.95)
    classical = prediction_factor(count=count, coverage=0.95) * sd
    assert predicted.half_width_deg == pytest.approx(classical, rel=1e-8)
    tolerated = pop.tolerance_limits(coverage=0.90, confidence=0.99)
    classical = two_sided_factor(count=count, coverage=0.90, confidence=0.99) * sd
    # The share held has a kink over the spread, which a grid of nodes follows to a few 1e-4.
    assert tolerated.half_width_deg == pytest.approx(classical, rel=3e-3)


@pytest.mark.parametrize("dof", [0.1, 1.0, 50.0])
@pytest.mark.parametrize("count", [2, 20, 200])
def test_known_goods_all_alike_leave_what_the_policy_counts_for(count, dof):
    both = dof + count - 1
    factor = prediction_factor(count=count, coverage=0.95, dof=both)
    half = factor * 1.5 * math.sqrt(dof / both)
    found = half_width([7.0] * count, prior=SpreadPrior(1.5, dof, "policy"))
    assert found == pytest.approx(half, rel=1e-9)


def test_many_known_goods_outvote_the_policy():
    values = 0.5 * stats.norm.ppf((np.arange(400) + 0.5) / 400)
    assert half_width(values) == pytest.approx(1.96 * 0.5, rel=0.06)
    assert population(values).spread.value == pytest.approx(0.5, rel=0.06)


def test_measurement_noise_is_taken_out_and_the_new_one_put_in():
    values = 1.3 * stats.norm.ppf((np.arange(300) + 0.5) / 300)
    pop = population(values, u=1.2, prior=SpreadPrior(0.5, 1.0, "policy"))
    assert pop.observed_spread_deg == pytest.approx(1.3, rel=0.01)
    assert pop.noise_deg == pytest.approx(1.2)
    assert pop.excess_spread_deg == pytest.approx(0.5, abs=0.03)
    assert pop.spread.value == pytest.approx(0.5, abs=0.1)
    for new in (0.0, 0.5, 2.0):
        limits = pop.prediction_limits(standard_uncertainty_deg=new, coverage=0.95)
        assert limits.half_width_deg == pytest.approx(1.96 * math.hypot(0.5, new), rel=0.08)


def test_excess_is_never_negative():
    quiet = population([10.0, 10.01, 9.99, 10.0], u=1.0)
    assert quiet.excess_spread_deg == 0.0
    assert quiet.spread.low > 0.0


def test_a_poorly_measured_known_good_counts_less():
    pop = population([0.0, 0.2, 4.0], u=[0.05, 0.05, 5.0], prior=SpreadPrior(0.3, 10.0, "policy"))
    assert pop.mean.value == pytest.approx(0.1, abs=0.1)
    plain = population([0.0, 0.2, 4.0], u=0.05, prior=SpreadPrior(0.3, 10.0, "policy"))
    assert plain.mean.value == pytest.approx(1.4, abs=0.01)


def test_grid_is_fine_enough(monkeypatch):
    values, u = np.array([0.1, 1.9, -0.6, 0.4]), np.array([0.2, 0.8, 0.1, 0.5])
    before = half_width(values, u=u, new=0.3)
    monkeypatch.setattr("crankwise.comparison.spread._FINE", 160)
    monkeypatch.setattr("crankwise.comparison.spread._COARSE", 200)
    assert half_width(values, u=u, new=0.3) == pytest.approx(before, rel=1e-6)


def test_spread_interval_is_chi_square():
    posterior = learn_spread(
        design=np.ones((12, 1)), values_deg=np.linspace(-2.0, 2.0, 12),
        standard_uncertainty_deg=np.zeros(12), prior=NOTHING_KNOWN,
    )  # fmt: skip
    squares = (np.linspace(-2.0, 2.0, 12) ** 2).sum()
    expected = np.sqrt(squares / stats.chi2.ppf([0.975, 0.5, 0.025], 11))
    found = posterior.spread(coverage=0.95)
    assert [found.low, found.value, found.high] == pytest.approx(expected, rel=5e-3)


# --- properties ---------------------------------------------------------------------------

angles = st.lists(st.floats(-4.0, 4.0), min_size=1, max_size=12)


@settings(max_examples=60, deadline=None)
@given(angles, st.floats(-4.0, 4.0))
def test_a_further_known_good_widens_no_more_than_the_spread_it_adds(values, further):
    before, after = population(values), population([*values, further])
    assume(before.set_aside is None)
    assume(after.set_aside is None)

    def pooled(pop):
        x = np.array([item.value_deg for item in pop.used])
        squares = POLICY.dof * POLICY.spread_deg**2 + ((x - x.mean()) ** 2).sum()
        return math.sqrt(squares / (POLICY.dof + len(x) - 1))

    grown = half_width([*values, further]) / half_width(values)
    assert grown <= pooled(after) / pooled(before) * (1.0 + 1e-9)


@settings(max_examples=40, deadline=None)
@given(angles, st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_further_known_good_at_the_mean_never_widens(values, u, new):
    assume(population(values, u=u).set_aside is None)
    mean = population(values, u=u).mean.value
    further = [*values, mean]
    assume(population(further, u=u).set_aside is None)
    assert half_width(further, u=u, new=new) <= half_width(values, u=u, new=new) * (1.0 + 1e-6)


@settings(max_examples=40, deadline=None)
@given(angles, st.floats(0.0, 1.0), st.floats(-90.0, 90.0))
def test_limits_move_with_the_angles_and_mirror(values, u, turn):
    assume(population(values, u=u).set_aside is None)
    # Whether the very same value stands out must not hang on rounding.
    stand_out = population(values, u=u).stand_out
    assume(stand_out is None or abs(stand_out.probability - 0.01) > 1e-6)
    here = population(values, u=u).prediction_limits(standard_uncertainty_deg=0.1, coverage=0.9)
    there = population([v + turn for v in values], u=u).prediction_limits(
        standard_uncertainty_deg=0.1, coverage=0.9
    )
    mirror = population([-v for v in values], u=u).prediction_limits(
        standard_uncertainty_deg=0.1, coverage=0.9
    )
    assert there.low_deg - turn == pytest.approx(here.low_deg, abs=1e-6)
    assert there.high_deg - turn == pytest.approx(here.high_deg, abs=1e-6)
    assert -mirror.high_deg == pytest.approx(here.low_deg, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(angles, st.floats(0.0, 0.5), st.floats(-8.0, 8.0))
def test_limits_and_probability_tell_the_same(values, u, value):
    pop = population(values, u=u)
    new = pop.posterior.new_value(np.ones(1), standard_uncertainty_deg=0.2)
    beyond = new.beyond(value)
    limits = pop.prediction_limits(standard_uncertainty_deg=0.2, coverage=0.95)
    assume(abs(beyond - 0.05) > 1e-6)
    assert limits.contains(value) == (beyond > 0.05)


def test_wider_coverage_and_worse_measurement_widen():
    pop = population([0.0, 1.0, 2.0])
    half = [
        pop.prediction_limits(standard_uncertainty_deg=u, coverage=c).half_width_deg
        for c, u in ((0.9, 0.0), (0.95, 0.0), (0.95, 1.0), (0.99, 1.0))
    ]
    assert half == sorted(half)


# --- one bad known-good -------------------------------------------------------------------

HEALTHY = [0.2, -0.9, 1.1, -0.4, 0.6, -1.3, 0.1]


@pytest.mark.parametrize("bad", [12.0, -15.0])
@pytest.mark.parametrize("place", [0, 3, 7])
def test_one_bad_known_good_is_named_and_left_out(bad, place):
    values = [*HEALTHY[:place], bad, *HEALTHY[place:]]
    pop = population(values, u=0.1)
    assert pop.set_aside.name == f"kg{place}"
    assert pop.count == len(HEALTHY)
    assert half_width(values, u=0.1) == pytest.approx(half_width(HEALTHY, u=0.1), rel=1e-9)
    (remark,) = pop.remarks
    assert f"kg{place} stands out" in remark
    assert "left out" in remark


def test_a_straggler_is_named_but_kept():
    pop = population([*HEALTHY, 4.9], u=0.1)
    assert pop.stand_out.standing == "straggler"
    assert pop.set_aside is None
    assert pop.count == 8
    assert "kg7 stands out" in pop.remarks[0]
    assert "kept" in pop.remarks[0]


def test_healthy_known_goods_raise_no_remark():
    assert population(HEALTHY, u=0.1).remarks == ()


def test_four_can_tell_three_cannot():
    four = population([0.0, 0.3, -0.2, 20.0])
    assert four.set_aside.name == "kg3"
    three = population([0.0, 0.3, 20.0])
    assert three.set_aside is None
    assert three.stand_out.standing == "cannot-tell"
    (remark,) = three.remarks
    assert "can't be told which one is wrong" in remark


@pytest.mark.parametrize("values", [[0.0, 0.3], [0.0, 0.3, -0.4]])
def test_few_that_agree_still_say_that_they_are_few(values):
    (remark,) = population(values).remarks
    assert "can't be told whether one of them is bad" in remark


def test_two_with_nothing_known_have_nothing_to_be_held_against():
    two = population([0.0, 20.0], prior=NOTHING_KNOWN)
    assert two.stand_out is None
    assert "can't be told" in two.remarks[0]


def test_three_that_agree_by_chance_do_not_condemn_a_healthy_fourth():
    # Grubbs' test alone would: 1 degree away from three within 0.02 degrees.
    assert population([0.0, 0.01, 0.02, 1.0]).stand_out.standing == "none"
    alone = population([0.0, 0.01, 0.02, 1.0], prior=NOTHING_KNOWN)
    assert alone.stand_out.standing == "outlier"


def test_a_poor_measurement_is_no_outlier():
    us = [0.1] * 7 + [6.0]
    assert population([*HEALTHY, 9.0], u=us).stand_out.standing == "none"


def test_two_bad_known_goods_are_pointed_out():
    pop = population([*HEALTHY, 11.0, 11.5], u=0.1)
    assert any("Far from the median" in remark and "kg8" in remark for remark in pop.remarks)


def test_a_healthy_family_seldom_loses_one():
    rng = np.random.default_rng(5)
    lost = [population(rng.normal(0.0, 1.5, 8)).set_aside is not None for _ in range(500)]
    assert np.mean(lost) < 0.02


# --- coverage, refusals -------------------------------------------------------------------


@pytest.mark.parametrize("count", [1, 2, 3, 6, 20])
def test_prediction_limits_cover_what_they_promise(count):
    """Families drawn as the policy says: 95 % limits hold 93 to 97 % of new vehicles."""
    rng = np.random.default_rng(77 + count)
    held = []
    for _ in range(2000):
        spread = POLICY.spread_deg * math.sqrt(POLICY.dof / rng.chisquare(POLICY.dof))
        u = rng.uniform(0.05, 1.0, count + 1)
        drawn = rng.normal(100.0, spread, count + 1) + u * rng.normal(size=count + 1)
        posterior = learn_spread(
            design=np.ones((count, 1)), values_deg=drawn[:-1],
            standard_uncertainty_deg=u[:-1], prior=POLICY,
        )  # fmt: skip
        new = posterior.new_value(np.ones(1), standard_uncertainty_deg=float(u[-1]))
        held.append(new.beyond(float(drawn[-1])) >= 0.05)
    assert 0.93 <= np.mean(held) <= 0.97


def test_nothing_is_refused_clearly():
    with pytest.raises(UsageError, match="no known-good gives the intake cam"):
        population([])


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_a_value_that_is_no_number_is_refused(bad):
    with pytest.raises(UsageError, match="kg4 is not a number"):
        population([0.0, 1.0, 0.5, 0.2, bad])


def test_a_negative_uncertainty_is_refused():
    with pytest.raises(UsageError, match=r"kg0 has the uncertainty -0\.1°"):
        population([0.0, 1.0], u=-0.1)


def test_another_family_or_branch_is_refused():
    with pytest.raises(NotMeasurableError, match=r"kg1 .* and kg0 .* not of one family"):
        population([719.0, 1.0])


@pytest.mark.parametrize(("spread", "dof"), [(0.0, 4.0), (-1.0, 4.0), (1.5, 0.0), (math.nan, 4.0)])
def test_a_policy_without_spread_is_refused(spread, dof):
    with pytest.raises(UsageError, match="above 0"):
        SpreadPrior(spread, dof, "policy")


def test_one_value_needs_a_policy_that_counts():
    with pytest.raises(UsageError, match="nothing to tell the spread from"):
        population([1.0], prior=NOTHING_KNOWN)


@pytest.mark.parametrize("bad", [0.0, 1.0, 2.0])
def test_a_coverage_outside_its_range_is_refused(bad):
    pop = population(HEALTHY)
    with pytest.raises(UsageError, match="coverage"):
        pop.prediction_limits(standard_uncertainty_deg=0.1, coverage=bad)
    with pytest.raises(UsageError, match="confidence"):
        pop.tolerance_limits(coverage=0.9, confidence=bad)
