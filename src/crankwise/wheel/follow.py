"""A second look where no wheel explains the train without slips: follow the best few through it.

A broken tooth spoils every turn, and lost edges may spoil most; counting pieces without a slip
then finds nothing. Dynamic programming takes the slips as they come and says what each wheel has
to pay for them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from crankwise.model.wheel import Wheel
from crankwise.wheel.align import Alignment, align
from crankwise.wheel.likelihood import tooth_variance
from crankwise.wheel.score import MIN_EXPLAINED, UNIFORM, Score
from crankwise.wheel.train import Train

_EDGES = 420
_CLEAR_LEAD = 5.0
"""Natural units a turn by which the best wheel must lead to be taken without a second look."""
_CHEAPER_A_TURN = 2.0
"""Natural units a turn: odds of seven to one in every turn."""
_MOST_MISSING_SHARE, _MOST_MISSING_A_TURN = 0.06, 2.5
"""Teeth missing in a turn that may pass for damage: a share of them, and not more than a few."""
_MOST_EXTRA_A_TURN = 0.5
_OFTEN = 0.6
_MOST_MISFITS_A_TURN = 0.34
_MISFIT_SD = 5.0
"""A right wheel pays for its slips and fits in between: steps beyond five standard deviations are
allowed once in three turns."""
_ROUGHNESS = 0.0012, 0.004
_FEWEST_TEETH = 3


@dataclass(frozen=True, slots=True)
class _Followed:
    score: Score
    cost_an_edge: float
    missing_a_turn: float
    extra_a_turn: float
    misfits_a_turn: float
    fit_an_edge: float

    def fit_a_turn(self, other: _Followed) -> float:
        """Price of all steps that are no slips, for as many edges as ``other`` has a turn."""
        return self.fit_an_edge * other.score.wheel.teeth_per_rev


def followed(
    trains: Sequence[Train], scores: Sequence[Score], learned: Wheel | None
) -> list[Score]:
    """Scores in order, after following the best few where the first look was not clear.

    The wheel that a train can be followed through for a far lower price than through any other
    comes first, with at least the share of explained pieces that makes it acceptable. One that
    needs slips must fit in between as well as the wheel ``learned`` from the train itself does:
    else it is not a damaged known wheel but an unknown one.
    """
    ordered = _explained_first(scores)
    if is_clear(scores):
        return ordered
    longest = max(trains, key=len)
    part = Train(
        longest.times_s[:_EDGES], longest.standard_uncertainty_s[:_EDGES], longest.duty[:_EDGES]
    )
    roughness = float(np.clip(min(score.roughness for score in ordered), *_ROUGHNESS))
    tried = [
        _follow(part, score, roughness)
        for score in ordered
        if score.wheel is not UNIFORM and score.wheel.teeth_per_rev >= _FEWEST_TEETH
    ]
    tried = sorted(tried, key=lambda item: item.cost_an_edge)
    good = [item for item in tried if _is_plausible(item)]
    if not good:
        return ordered
    best = good[0]
    # A cheaper wheel that is not plausible shows that the train is another thing altogether. Only
    # a wheel coded in widths pays for its widths as well, and may be dearer for that.
    if best is not tried[0] and not best.score.wheel.width_deg:
        return ordered
    lead = _CHEAPER_A_TURN / best.score.wheel.teeth_per_rev
    if any(item.cost_an_edge < best.cost_an_edge + lead for item in good[1:]):
        return ordered
    if learned is not None and best.missing_a_turn + best.extra_a_turn > _OFTEN:
        own = _follow(part, replace(best.score, wheel=learned), roughness)
        if own.fit_a_turn(best) + _CHEAPER_A_TURN < best.fit_a_turn(best):
            return [score for score in ordered if score.wheel is UNIFORM] or ordered
    first = replace(
        best.score,
        explained=max(best.score.explained, MIN_EXPLAINED),
        followed=best.score.explained < MIN_EXPLAINED,
        roughness=roughness,
        log_likelihood=max(score.log_likelihood for score in ordered) + lead,
    )
    return [first, *(score for score in ordered if score.wheel is not first.wheel)]


def _explained_first(scores: Sequence[Score]) -> list[Score]:
    """A wheel that explains the train goes before one that does not, whatever the likelihood."""
    return sorted(
        scores,
        key=lambda score: (score.explained < MIN_EXPLAINED, -score.log_likelihood),
    )


def is_clear(scores: Sequence[Score]) -> bool:
    """Whether one wheel explains the train, and far better than any other does."""
    ordered = _explained_first(scores)
    best = ordered[0]
    if best.wheel is UNIFORM or best.explained < MIN_EXPLAINED:
        return False
    rest = [score for score in ordered[1:] if score.explained >= MIN_EXPLAINED]
    lead = min((best.log_likelihood - score.log_likelihood for score in rest), default=np.inf)
    return best.explained > 0.8 and lead * best.wheel.teeth_per_rev > _CLEAR_LEAD


def _follow(part: Train, score: Score, roughness: float) -> _Followed:
    result = align(part, score.wheel, roughness=roughness)
    turns = max(float(np.ptp(result.number)) / score.wheel.teeth_per_rev, 1.0)
    misfits = _misfits(part, result, score.wheel, roughness)
    if result.restart.any():
        misfits = np.inf
    return _Followed(
        score,
        cost_an_edge=result.cost / len(part),
        missing_a_turn=result.missing / turns,
        extra_a_turn=result.extra / turns,
        misfits_a_turn=misfits / turns,
        fit_an_edge=(result.cost - result.slip_cost) / len(part),
    )


def _misfits(part: Train, result: Alignment, wheel: Wheel, roughness: float) -> float:
    """Steps of the path that neither speed nor one bent tooth explains."""
    turn, tooth = np.divmod(result.number, wheel.teeth_per_rev)
    step_deg = np.diff(360.0 * turn + wheel.angles_deg[tooth])
    wait_s = np.diff(part.times_s[result.edge])
    change = np.diff(np.log(wait_s / step_deg))
    timing = 4.0 * part.standard_uncertainty_s[result.edge][1:-1] ** 2 / wait_s[1:] ** 2
    variance = (roughness * (step_deg[1:] + step_deg[:-1]) / 2) ** 2 + timing
    variance += tooth_variance(step_deg[1:], step_deg[:-1])
    misfit = np.abs(change) > _MISFIT_SD * np.sqrt(variance)
    by_tooth = np.bincount(tooth[1:-1][misfit], minlength=wheel.teeth_per_rev)
    # One bent tooth spoils the three steps about it in every turn: that is damage, no misfit.
    about = by_tooth + np.roll(by_tooth, 1) + np.roll(by_tooth, -1)
    return float(by_tooth.sum() - about.max())


def _is_plausible(item: _Followed) -> bool:
    most_missing = min(_MOST_MISSING_SHARE * item.score.wheel.teeth_per_rev, _MOST_MISSING_A_TURN)
    return (
        item.missing_a_turn <= most_missing
        and item.extra_a_turn <= _MOST_EXTRA_A_TURN
        and item.misfits_a_turn <= _MOST_MISFITS_A_TURN
    )
