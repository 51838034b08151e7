"""Between which bounds a healthy engine lies, for every kind of reference there is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crankwise.comparison.population import KnownGoodValue, Population, build_population
from crankwise.comparison.spread import SpreadPrior
from crankwise.model.comparison import Basis, HealthyLimits

_WORDS: dict[Basis, str] = {
    "same-vehicle": "this very vehicle at an earlier time, so the build does not matter",
    "one-other-vehicle": (
        "one other vehicle: what two healthy vehicles may differ by is an assumption of the policy"
    ),
}


@dataclass(frozen=True, slots=True)
class Reference:
    """Healthy values of one quantity, and the limits that follow for a subject.

    Attributes
    ----------
    quantity : str
        In words.
    centre_deg, centre_standard_deg : float
        Mean of the known-goods used against the first one, and its standard uncertainty as
        measured (without the spread of the build).
    healthy : HealthyLimits
        For the change against that mean.
    spread_deg : float
        Standard deviation of a healthy subject about the mean, without measurement.
    set_aside : tuple of str
        Known-goods left out because they stand out.
    remarks : tuple of str
    """

    quantity: str
    centre_deg: float
    centre_standard_deg: float
    healthy: HealthyLimits
    spread_deg: float
    set_aside: tuple[str, ...]
    remarks: tuple[str, ...]


def reference(
    values: Sequence[tuple[str, float, float]],
    *,
    quantity: str,
    difference_deg: float,
    dof: float,
    source: str,
    subject_standard_deg: float,
    coverage: float,
    same_vehicle: bool,
) -> Reference:
    """Healthy limits of one quantity.

    Parameters
    ----------
    values : sequence of (name, value_deg, standard_uncertainty_deg)
        Each known-good against the first one, which is ``(name, 0, u)``.
    quantity : str
        In words.
    difference_deg : float
        Standard deviation of the difference of two healthy states (of two vehicles, or of one
        vehicle at two visits) that the policy assumes.
    dof : float
        For how many values that assumption counts.
    source : str
        Where it comes from.
    subject_standard_deg : float
        Standard uncertainty of the subject's own value.
    coverage : float
        Share of healthy subjects inside the limits.
    same_vehicle : bool
    """
    prior = SpreadPrior(spread_deg=difference_deg / np.sqrt(2.0), dof=dof, source=source)
    population = build_population(
        [KnownGoodValue(name, value, standard) for name, value, standard in values],
        quantity=quantity,
        prior=prior,
    )
    bounds = population.prediction_limits(
        standard_uncertainty_deg=subject_standard_deg, coverage=coverage
    )
    centre = float(np.mean([value.value_deg for value in population.used]))
    basis = _basis(len(values), same_vehicle=same_vehicle)
    return Reference(
        quantity=quantity,
        centre_deg=centre,
        centre_standard_deg=_mean_standard(population),
        healthy=HealthyLimits(
            low_deg=bounds.low_deg - centre,
            high_deg=bounds.high_deg - centre,
            coverage=coverage,
            basis=basis,
            known_goods=len(population.used),
            text=_text(basis, population, source),
        ),
        spread_deg=population.spread.value * float(np.sqrt(1.0 + 1.0 / len(population.used))),
        set_aside=(population.set_aside.name,) if population.set_aside else (),
        remarks=population.remarks,
    )


def _mean_standard(population: Population) -> float:
    squares = [value.standard_uncertainty_deg**2 for value in population.used]
    return float(np.sqrt(sum(squares)) / len(squares))


def _basis(count: int, *, same_vehicle: bool) -> Basis:
    if same_vehicle:
        return "same-vehicle"
    return "one-other-vehicle" if count == 1 else "population"


def _text(basis: Basis, population: Population, source: str) -> str:
    if basis == "population":
        return population.basis
    return f"{_WORDS[basis]} ({source})"
