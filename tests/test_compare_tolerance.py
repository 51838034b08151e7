"""Tolerance and prediction factors: against other ways to the same number."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from crankwise.comparison.tolerance import (
    covering_offset,
    covering_radius,
    one_sided_factor,
    one_sided_factor_formula,
    prediction_factor,
    two_sided_factor,
    two_sided_factor_formula,
)
from crankwise.errors import NotMeasurableError, UsageError

COUNTS = (2, 3, 4, 7, 20, 100)


@pytest.mark.parametrize("count", COUNTS)
@pytest.mark.parametrize("coverage", [0.9, 0.95, 0.99])
def test_prediction_factor_is_student_t(count, coverage):
    expected = stats.t.ppf(0.5 + coverage / 2, count - 1) * math.sqrt(1 + 1 / count)
    assert prediction_factor(count=count, coverage=coverage) == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize("count", COUNTS)
@pytest.mark.parametrize(("coverage", "confidence"), [(0.9, 0.99), (0.95, 0.95), (0.99, 0.5)])
def test_one_sided_factor_is_noncentral_t(count, coverage, confidence):
    off = stats.norm.ppf(coverage) * math.sqrt(count)
    expected = stats.nct.ppf(confidence, count - 1, off) / math.sqrt(count)
    exact = one_sided_factor(count=count, coverage=coverage, confidence=confidence)
    assert exact == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("count", [2, 5, 12])
@pytest.mark.parametrize("two_sided", [True, False])
def test_tolerance_intervals_hold_what_they_promise(count, two_sided):
    coverage, confidence, draws = 0.95, 0.90, 40_000
    rng = np.random.default_rng(20_240 + count)
    sample = rng.normal(size=(draws, count))
    mean, sd = sample.mean(axis=1), sample.std(axis=1, ddof=1)
    case = {"count": count, "coverage": coverage, "confidence": confidence}
    if two_sided:
        half = two_sided_factor(**case) * sd
        held = stats.norm.cdf(mean + half) - stats.norm.cdf(mean - half)
    else:
        held = stats.norm.cdf(mean + one_sided_factor(**case) * sd)
    # Standard error of the share of draws is 0.0015.
    assert np.mean(held >= coverage) == pytest.approx(confidence, abs=0.006)


@pytest.mark.parametrize("count", [10, 20, 50, 200])
def test_formulas_agree_with_the_exact_factors(count):
    case = {"count": count, "coverage": 0.95, "confidence": 0.95}
    assert two_sided_factor_formula(**case) == pytest.approx(two_sided_factor(**case), rel=5e-3)
    assert one_sided_factor_formula(**case) == pytest.approx(one_sided_factor(**case), rel=3e-2)


def test_many_values_leave_the_normal_distribution():
    case = {"count": 1e6, "coverage": 0.95, "confidence": 0.95}
    assert two_sided_factor(**case) == pytest.approx(1.96, abs=0.003)
    assert one_sided_factor(**case) == pytest.approx(1.645, abs=0.003)
    assert prediction_factor(count=1e6, coverage=0.95) == pytest.approx(1.96, abs=1e-4)


def test_few_values_are_honestly_wide():
    factors = [two_sided_factor(count=n, coverage=0.95, confidence=0.95) for n in COUNTS]
    assert factors == sorted(factors, reverse=True)
    assert factors[0] > 30.0


def test_a_spread_known_from_elsewhere_makes_one_value_enough():
    known = prediction_factor(count=1, coverage=0.95, dof=1e6)
    assert known == pytest.approx(1.96 * math.sqrt(2.0), abs=1e-3)
    case = {"count": 1, "coverage": 0.95, "confidence": 0.95}
    assert two_sided_factor(**case, dof=1e6) == pytest.approx(1.96 + 1.645, abs=0.02)


def test_radius_and_offset_undo_each_other():
    offset = np.array([0.0, 0.3, 1.0, 2.5, 8.0])
    radius = covering_radius(offset, coverage=0.9)
    held = stats.norm.cdf(offset + radius) - stats.norm.cdf(offset - radius)
    assert held == pytest.approx(np.full(5, 0.9), abs=1e-13)
    assert covering_offset(radius[1:], coverage=0.9) == pytest.approx(offset[1:], abs=1e-9)
    assert np.isnan(covering_offset(np.array([1.0]), coverage=0.9)).all()


@pytest.mark.parametrize("bad", [0.0, 1.0, -0.1, 95.0, math.nan])
def test_what_is_no_probability_is_refused(bad):
    with pytest.raises(UsageError, match="coverage"):
        prediction_factor(count=5, coverage=bad)
    with pytest.raises(UsageError, match="confidence"):
        two_sided_factor(count=5, coverage=0.95, confidence=bad)
    with pytest.raises(UsageError, match="confidence"):
        one_sided_factor(count=5, coverage=0.95, confidence=bad)


def test_one_value_alone_is_refused():
    for factor in (one_sided_factor, one_sided_factor_formula, two_sided_factor):
        with pytest.raises(NotMeasurableError, match="two or more"):
            factor(count=1, coverage=0.95, confidence=0.95)


def test_the_formula_says_where_it_ends():
    with pytest.raises(NotMeasurableError, match="use the exact factor"):
        one_sided_factor_formula(count=2, coverage=0.95, confidence=0.99)
