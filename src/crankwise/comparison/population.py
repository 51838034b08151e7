"""What several known-goods of one engine family say about a healthy engine: limits.

The spread seen among known-goods is build spread plus measurement noise. The noise of each is
known and is taken out, and that of the new vehicle is put back in. How the build spread is learned
from few values, with a spread from the policy to begin with, stands in
:mod:`crankwise.comparison.spread`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from crankwise.comparison.mixture import Estimate
from crankwise.comparison.robust import StandOut, far_from_median, find_stand_out
from crankwise.comparison.spread import SpreadPosterior, SpreadPrior, learn_spread
from crankwise.comparison.tolerance import check_probability
from crankwise.errors import NotMeasurableError, UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.model.recording import FloatArray

_ONE = np.ones(1)
_APART_DEG = 180.0
_FEW = 4


@dataclass(frozen=True, slots=True)
class KnownGoodValue:
    """One quantity of one known-good.

    Attributes
    ----------
    name : str
        The known-good, as the technician knows it.
    value_deg : float
        Edge angle, shift or separation, crank degrees. All values of a population are on one
        branch: wrap their differences, not the angles.
    standard_uncertainty_deg : float
        Standard uncertainty of the measurement. From an expanded uncertainty of few degrees of
        freedom take a 1.96th, so that the few are allowed for.
    """

    name: str
    value_deg: float
    standard_uncertainty_deg: float


@dataclass(frozen=True, slots=True)
class Limits:
    """Where a healthy engine's value lies.

    Attributes
    ----------
    kind : {"prediction", "tolerance"}
        Holds the next healthy vehicle, or a share of all of them with a stated confidence.
    low_deg, high_deg, centre_deg : float
        Crank degrees, on the branch of the known-goods.
    coverage : float
        Probability that the next one, or share of all, lies inside.
    confidence : float or None
        Of a tolerance interval.
    """

    kind: Literal["prediction", "tolerance"]
    low_deg: float
    centre_deg: float
    high_deg: float
    coverage: float
    confidence: float | None = None

    @property
    def half_width_deg(self) -> float:
        """Half the distance between the limits."""
        return 0.5 * (self.high_deg - self.low_deg)

    def contains(self, value_deg: float) -> bool:
        """Whether a value lies inside or on a limit."""
        return self.low_deg <= value_deg <= self.high_deg


@dataclass(frozen=True, slots=True, eq=False)
class Population:
    """The known-goods of a family, for one quantity.

    Attributes
    ----------
    quantity : str
        In words, e.g. ``intake cam, falling edge``.
    used : tuple of KnownGoodValue
        Values the limits come from.
    set_aside : KnownGoodValue or None
        The one bad known-good, left out.
    stand_out : StandOut or None
        How far out the farthest of all given values lies; None where nothing is left to hold it
        against.
    remarks : tuple of str
        What a good colleague would say about the values, one sentence or two each.
    prior : SpreadPrior
        Build spread taken as known beforehand.
    mean : Estimate
        Mean of the family with its 95 % interval, crank degrees.
    spread : Estimate
        Build spread (standard deviation) with its 95 % interval, prior and values together.
    observed_spread_deg : float or None
        Plain standard deviation of the values used; None with one.
    noise_deg : float
        Root mean square of their measurement standard uncertainties.
    excess_spread_deg : float or None
        Build spread from the values alone: what measurement noise leaves of the observed
        spread, 0 if it explains all; None with one value.
    basis : str
        What the limits rest on, in words.
    posterior : SpreadPosterior
        Everything known, for further use.
    """

    quantity: str
    used: tuple[KnownGoodValue, ...]
    set_aside: KnownGoodValue | None
    stand_out: StandOut | None
    remarks: tuple[str, ...]
    prior: SpreadPrior
    mean: Estimate
    spread: Estimate
    observed_spread_deg: float | None
    noise_deg: float
    excess_spread_deg: float | None
    basis: str
    posterior: SpreadPosterior

    @property
    def count(self) -> int:
        """Known-goods the limits come from."""
        return len(self.used)

    def prediction_limits(self, *, standard_uncertainty_deg: float, coverage: float) -> Limits:
        """Limits for one new healthy vehicle, measured with this standard uncertainty.

        Raises
        ------
        UsageError
            A coverage outside 0 to 1.
        """
        check_probability(coverage, "coverage")
        new = self.posterior.new_value(_ONE, standard_uncertainty_deg=standard_uncertainty_deg)
        inside = new.estimate(coverage=coverage)
        return Limits("prediction", inside.low, inside.value, inside.high, coverage)

    def tolerance_limits(self, *, coverage: float, confidence: float) -> Limits:
        """Limits that hold a share of all healthy vehicles, with a stated confidence.

        For true values, without measurement noise. Where the values alone decide, it is the
        classical two-sided interval of :func:`crankwise.comparison.tolerance.two_sided_factor`, to
        0.3 % of its width.

        Raises
        ------
        UsageError
            A probability outside 0 to 1.
        """
        check_probability(coverage, "coverage")
        check_probability(confidence, "confidence")
        held = self.posterior.share(_ONE, coverage=coverage, confidence=confidence)
        return Limits("tolerance", held.low, held.value, held.high, coverage, confidence)


def build_population(
    values: Sequence[KnownGoodValue], *, quantity: str, prior: SpreadPrior
) -> Population:
    """Learn what is healthy from known-goods of one family.

    From four known-goods on, one that is an outlier (ISO 5725-2: probability below 1 %) is set
    aside and named; one below 5 % is named and kept. With fewer it can't be told which is wrong,
    and the remarks say so.

    Parameters
    ----------
    values : sequence of KnownGoodValue
        One for each known-good.
    quantity : str
        In words, for messages.
    prior : SpreadPrior
        Build spread of a healthy family from the policy, and for how many vehicles it counts.

    Raises
    ------
    UsageError
        No value, one that isn't a number, or a negative uncertainty.
    NotMeasurableError
        Values more than 180 degrees apart: not one family, or angles on different branches.
    """
    given = tuple(values)
    if not given:
        raise UsageError(f"no known-good gives the {quantity}; add one or leave it out")
    for item in given:
        _check_value(item, quantity)
    angles = [item.value_deg for item in given]
    if max(angles) - min(angles) > _APART_DEG:
        first = given[int(np.argmin(angles))]
        last = given[int(np.argmax(angles))]
        raise NotMeasurableError(
            f"{quantity}: known-goods {first.name} ({first.value_deg:.1f}°) and {last.name} "
            f"({last.value_deg:.1f}°) are more than {_APART_DEG:g}° apart, so they are not of one "
            "family; take one of them out"
        )
    stand_out = _stand_out(given, prior)
    used, set_aside = given, None
    if stand_out is not None and stand_out.standing == "outlier":
        set_aside = given[stand_out.index]
        used = given[: stand_out.index] + given[stand_out.index + 1 :]
    observed, noise, excess = _split(used)
    posterior = _learn(used, prior)
    return Population(
        quantity=quantity,
        used=used,
        set_aside=set_aside,
        stand_out=stand_out,
        remarks=_remarks(given, used, stand_out, prior),
        prior=prior,
        mean=posterior.expected(_ONE).estimate(coverage=0.95),
        spread=posterior.spread(coverage=0.95),
        observed_spread_deg=observed,
        noise_deg=noise,
        excess_spread_deg=excess,
        basis=basis_in_words(len(used), excess, prior),
        posterior=posterior,
    )


def _check_value(item: KnownGoodValue, quantity: str) -> None:
    if not math.isfinite(item.value_deg):
        raise UsageError(f"{quantity}: known-good {item.name} is not a number; leave it out")
    uncertainty = item.standard_uncertainty_deg
    if not (math.isfinite(uncertainty) and uncertainty >= 0.0):
        raise UsageError(
            f"{quantity}: known-good {item.name} has the uncertainty {uncertainty:g}°; "
            "give one of 0 or above"
        )


def _arrays(values: tuple[KnownGoodValue, ...]) -> tuple[FloatArray, FloatArray, FloatArray]:
    angle = np.array([item.value_deg for item in values], dtype=np.float64)
    uncertainty = np.array([item.standard_uncertainty_deg for item in values], dtype=np.float64)
    return np.ones((len(values), 1)), angle, uncertainty


def _learn(values: tuple[KnownGoodValue, ...], prior: SpreadPrior) -> SpreadPosterior:
    design, angle, uncertainty = _arrays(values)
    return learn_spread(
        design=design, values_deg=angle, standard_uncertainty_deg=uncertainty, prior=prior
    )


def _stand_out(values: tuple[KnownGoodValue, ...], prior: SpreadPrior) -> StandOut | None:
    design, angle, uncertainty = _arrays(values)
    return find_stand_out(
        design=design, values_deg=angle, standard_uncertainty_deg=uncertainty, prior=prior
    )


def _split(values: tuple[KnownGoodValue, ...]) -> tuple[float | None, float, float | None]:
    """Observed spread, noise, and what the noise leaves of the spread."""
    _, angle, uncertainty = _arrays(values)
    noise = float(np.sqrt(np.mean(uncertainty**2)))
    if len(values) == 1:
        return None, noise, None
    observed = float(np.std(angle, ddof=1))
    return observed, noise, math.sqrt(max(0.0, observed**2 - noise**2))


def basis_in_words(count: int, excess: float | None, prior: SpreadPrior) -> str:
    """What limits rest on; ``excess`` is the build spread that the values show by themselves."""
    taken = f"build spread {prior.spread_deg:.2g}° ({prior.source})"
    if excess is None:
        return f"one known-good of the family and a {taken}"
    return (
        f"{count} known-goods of the family, build spread among them {excess:.2g}°; "
        f"a {taken} counts as {prior.dof:g} more"
    )


def _remarks(
    given: tuple[KnownGoodValue, ...],
    used: tuple[KnownGoodValue, ...],
    stand_out: StandOut | None,
    prior: SpreadPrior,
) -> tuple[str, ...]:
    if len(given) == 1:
        return ()
    if stand_out is None or stand_out.standing == "cannot-tell":
        return (_too_few(given, stand_out, prior),)
    said = [] if stand_out.standing == "none" else [_named(given, stand_out)]
    _, angle, uncertainty = _arrays(used)
    far = far_from_median(angle, at_least=np.hypot(prior.spread_deg, uncertainty))
    named = given[stand_out.index].name
    also = [used[place].name for place in far if said == [] or used[place].name != named]
    if also:
        said.append(
            f"Far from the median {'as well' if said else 'of all'}: {', '.join(also)}. Check that "
            "all these known-goods are of one engine family; the limits are wide because of them."
        )
    return tuple(said)


def _named(given: tuple[KnownGoodValue, ...], stand_out: StandOut) -> str:
    odd = given[stand_out.index]
    fate = (
        "It is left out of the limits"
        if stand_out.standing == "outlier"
        else "It is kept in the limits and widens them"
    )
    away = odd.value_deg - stand_out.others.value
    return (
        f"Known-good {odd.name} stands out: {away:+.1f}° from the other {len(given) - 1}, which "
        f"would have it within {stand_out.others.uncertainty:.1f}°. {fate}; check its engine, "
        "its sensors and its roles."
    )


def _too_few(
    given: tuple[KnownGoodValue, ...], stand_out: StandOut | None, prior: SpreadPrior
) -> str:
    if stand_out is not None and stand_out.disagree:
        return (
            f"The {len(given)} known-goods differ more than a build spread of "
            f"{prior.spread_deg:.2g}° ({prior.source}) explains, and with fewer than {_FEW} it "
            "can't be told which one is wrong: measure another healthy vehicle."
        )
    return (
        f"With {len(given)} known-goods it can't be told whether one of them is bad; "
        f"from {_FEW} on it can."
    )
