"""Published values of the statistics that limits and forecasts rest on."""

from __future__ import annotations

import numpy as np
import pytest

from crankwise.angle.student import combine, student_factor
from crankwise.comparison.line import learn_line
from crankwise.comparison.robust import find_stand_out, scaled_mad
from crankwise.comparison.spread import SpreadPrior
from crankwise.comparison.tolerance import (
    one_sided_factor,
    one_sided_factor_formula,
    prediction_factor,
    two_sided_factor,
    two_sided_factor_formula,
)
from crankwise.model.measurement import Contribution

# A spread taken as known that counts for nothing, so that only the published data speak.
NOTHING_KNOWN = SpreadPrior(1e-3, 1e-9, "nothing known")


def test_end_gauge_of_the_gum():
    # JCGM 100:2008, H.1: u_c = 32 nm, nu_eff = 16, t99 = 2.92, U99 = 93 nm. Unrounded values from
    # the inputs printed there; degrees of freedom of the components partly from memory.
    budget = [
        Contribution("standard", 25.0, "B", 18.0),
        Contribution("comparator", 9.7, "B", 25.6),
        Contribution("difference of expansion", 50_000_623 * 0.1 * 0.58e-6, "B", 50.0),
        Contribution("difference of temperature", 50_000_623 * 11.5e-6 * 0.029, "B", 2.0),
    ]
    standard, dof, factor, expanded = combine(budget, coverage=0.99)
    assert standard == pytest.approx(31.71, abs=0.01)
    assert dof == 16.0
    assert factor == pytest.approx(2.92, abs=0.005)
    assert expanded == pytest.approx(92.62, abs=0.1)


@pytest.mark.parametrize(
    ("dof", "coverage", "printed"),
    # NIST TN 1297, table B.1.
    [(9, 0.95, 2.26), (4, 0.95, 2.78), (19, 0.95, 2.09), (16, 0.99, 2.92)],
)
def test_student_factor(dof, coverage, printed):
    assert student_factor(dof, coverage=coverage) == pytest.approx(printed, abs=0.005)


def test_tolerance_factors_of_the_nist_example():
    # NIST/SEMATECH e-Handbook 7.2.6.3: n = 43, mean 97.07, s = 0.0268, 90 % with 99 % confidence.
    case = {"count": 43, "coverage": 0.90, "confidence": 0.99}
    one, two = one_sided_factor_formula(**case), two_sided_factor_formula(**case)
    assert one == pytest.approx(1.87519, abs=1e-4)
    assert 97.07 + one * 0.0268 == pytest.approx(97.1203, abs=1e-4)
    assert two == pytest.approx(2.2173, abs=2e-4)
    assert 97.07 - two * 0.0268 == pytest.approx(97.0106, abs=2e-4)
    assert 97.07 + two * 0.0268 == pytest.approx(97.1294, abs=2e-4)


@pytest.mark.parametrize(
    ("count", "coverage", "confidence", "factor"),
    [
        (40, 0.90, 0.99, 1.9017),  # real-statistics.com, tolerance intervals
        # Noncentral t, the method of ISO 16269-6; computed, its table not seen.
        (5, 0.95, 0.95, 4.2027),
        (10, 0.95, 0.95, 2.9110),
        (20, 0.95, 0.95, 2.3960),
        (43, 0.95, 0.95, 2.1048),
    ],
)
def test_exact_one_sided_factor(count, coverage, confidence, factor):
    exact = one_sided_factor(count=count, coverage=coverage, confidence=confidence)
    assert exact == pytest.approx(factor, abs=2e-4)


@pytest.mark.parametrize(
    ("count", "coverage", "factor"),
    # Berthouex and Brown, Statistics for Environmental Engineers, table 21.1 (95 % confidence).
    [
        (5, 0.90, 4.29), (5, 0.95, 5.08), (5, 0.99, 6.60),
        (10, 0.90, 2.86), (10, 0.95, 3.39), (10, 0.99, 4.44),
        (20, 0.90, 2.32), (20, 0.95, 2.76), (20, 0.99, 3.62),
        (30, 0.90, 2.15), (30, 0.95, 2.55), (30, 0.99, 3.35),
        (40, 0.90, 2.06), (40, 0.95, 2.45), (40, 0.99, 3.22),
    ],
)  # fmt: skip
def test_exact_two_sided_factor(count, coverage, factor):
    exact = two_sided_factor(count=count, coverage=coverage, confidence=0.95)
    assert exact == pytest.approx(factor, abs=0.006)


def test_exact_two_sided_factor_to_four_figures():
    # real-statistics.com: n = 40, 90 % with 99 % confidence.
    exact = two_sided_factor(count=40, coverage=0.90, confidence=0.99)
    assert exact == pytest.approx(2.2528, abs=5e-4)


@pytest.mark.parametrize(("count", "factor"), [(5, 3.0414), (10, 2.3726), (20, 2.1447)])
def test_prediction_factor(count, factor):
    # t sqrt(1 + 1/n) with the t of NIST TN 1297, table B.1, to more figures.
    assert prediction_factor(count=count, coverage=0.95) == pytest.approx(factor, abs=1e-4)


NORRIS = np.array([
    (.2, .1), (337.4, 338.8), (118.2, 118.1), (884.6, 888.0), (10.1, 9.2), (226.5, 228.1),
    (666.3, 668.5), (996.3, 998.5), (448.6, 449.1), (777.0, 778.9), (558.2, 559.2), (.4, .3),
    (.6, .1), (775.5, 778.1), (666.9, 668.8), (338.0, 339.3), (447.5, 448.9), (11.6, 10.8),
    (556.0, 557.7), (228.1, 228.3), (995.8, 998.0), (887.6, 888.8), (120.2, 119.6), (.3, .3),
    (.3, .6), (556.8, 557.6), (339.1, 339.3), (887.2, 888.0), (999.0, 998.5), (779.0, 778.9),
    (11.1, 10.2), (118.3, 117.6), (229.2, 228.9), (669.1, 668.4), (448.9, 449.2), (.5, .2),
])  # fmt: skip


def test_norris():
    # NIST Statistical Reference Datasets, linear regression, Norris: certified values.
    place, values = NORRIS.T
    line = learn_line(
        place, values, standard_uncertainty_deg=np.zeros(len(place)), prior=NOTHING_KNOWN
    )
    t34 = student_factor(34.0)
    slope, intercept = line.change(over=1.0), line.expected(0.0)
    assert slope.value == pytest.approx(1.00211681802045, rel=1e-12)
    assert intercept.value == pytest.approx(-0.262323073774029, rel=1e-11)
    assert slope.uncertainty / t34 == pytest.approx(0.000429796848199937, rel=1e-9)
    assert intercept.uncertainty / t34 == pytest.approx(0.232818234301152, rel=1e-9)
    new = line.predict(float(place.mean()), standard_uncertainty_deg=0.0, coverage=0.95)
    residual_sd = new.uncertainty / prediction_factor(count=36, coverage=0.95, dof=34.0)
    assert residual_sd == pytest.approx(0.884796396144373, rel=1e-10)


def test_scaled_median_absolute_deviation():
    # R documentation of stats::mad: constant 1.4826; mad(1:9) = 2.9652, and so with 100 for 9.
    assert scaled_mad(np.arange(1.0, 10.0)) == pytest.approx(2.9652, abs=5e-5)
    assert scaled_mad(np.array([1, 2, 3, 4, 5, 6, 7, 8, 100.0])) == pytest.approx(2.9652, abs=5e-5)
    assert scaled_mad(np.arange(1.0, 10.0)) / 2.0 == pytest.approx(1.482602, abs=1e-6)


@pytest.mark.parametrize(
    ("count", "at_5_percent", "at_1_percent"),
    # ISO 5725-2:1994, table 5, one outlying observation (from memory).
    [(5, 1.715, 1.764), (6, 1.887, 1.973), (10, 2.290, 2.482), (20, 2.709, 3.001)],
)
def test_stand_out_is_grubbs_test(count, at_5_percent, at_1_percent):
    """With nothing known beforehand the probability at Grubbs' critical value is the level."""
    for critical, level in ((at_5_percent, 0.05), (at_1_percent, 0.01)):
        found = find_stand_out(
            design=np.ones((count, 1)),
            values_deg=with_grubbs_statistic(critical, count=count),
            standard_uncertainty_deg=np.zeros(count),
            prior=NOTHING_KNOWN,
        )
        assert found.index == count - 1
        assert found.probability == pytest.approx(level, rel=0.02)  # critical values to 4 figures


@pytest.mark.parametrize(
    ("statistic", "standing"),
    # Either side of the critical values for ten, 2.290 and 2.482 (as above).
    [(2.27, "none"), (2.31, "straggler"), (2.47, "straggler"), (2.50, "outlier")],
)
def test_stragglers_and_outliers_are_those_of_iso_5725(statistic, standing):
    found = find_stand_out(
        design=np.ones((10, 1)), values_deg=with_grubbs_statistic(statistic, count=10),
        standard_uncertainty_deg=np.zeros(10), prior=NOTHING_KNOWN,
    )  # fmt: skip
    assert found.standing == standing


def with_grubbs_statistic(statistic: float, *, count: int) -> np.ndarray:
    """Values whose last one lies this many standard deviations from the mean of all."""
    low, high = 0.0, 1e3
    for _ in range(200):
        middle = 0.5 * (low + high)
        values = np.append(np.linspace(-1.0, 1.0, count - 1), middle)
        grubbs = (middle - values.mean()) / values.std(ddof=1)
        low, high = (middle, high) if grubbs < statistic else (low, middle)
    return values


def test_stand_out_of_the_nist_example():
    # NIST/SEMATECH e-Handbook 1.3.5.17.1: 245.57 is an outlier among the first eight mass
    # spectrometer measurements of Tietjen and Moore (data and outcome from memory).
    values = np.array([199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57])
    assert (values.max() - values.mean()) / values.std(ddof=1) == pytest.approx(2.4687, abs=1e-4)
    found = find_stand_out(
        design=np.ones((8, 1)), values_deg=values, standard_uncertainty_deg=np.zeros(8),
        prior=NOTHING_KNOWN,
    )  # fmt: skip
    assert (found.index, found.standing) == (7, "outlier")
