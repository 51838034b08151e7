"""From the crank's edges to named teeth: wheel, timing edge, alignment."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from crankwise.errors import NotMeasurableError
from crankwise.model.edges import Direction, Edges
from crankwise.model.measurement import WheelChoice
from crankwise.model.teeth import Teeth, ToothRun
from crankwise.model.wheel import Wheel
from crankwise.wheel.align import Alignment, align
from crankwise.wheel.learn import learn
from crankwise.wheel.likelihood import steps_of
from crankwise.wheel.score import UNIFORM, Score, rank
from crankwise.wheel.train import Train, trains

_MIN_EXPLAINED = 0.5
_CLEARLY = 0.05
"""Difference of mean log-likelihood from which one timing edge is clearly the more regular."""
_MIN_RUN_REVOLUTIONS = 1.5


@dataclass(frozen=True, slots=True, eq=False)
class _Candidate:
    direction: Direction
    trains: list[Train]
    scores: list[Score]

    @property
    def best(self) -> Score:
        return self.scores[0]


def decode(crank: Edges, wheels: Iterable[Wheel], cams: Sequence[Edges] = ()) -> Teeth:
    """Name the teeth of a crank signal.

    Parameters
    ----------
    crank : Edges
    wheels : iterable of Wheel
        The catalogue.
    cams : sequence of Edges
        Other channels; they settle what the crank alone leaves open.

    Raises
    ------
    NotMeasurableError
        Too few edges, or a spacing that never repeats.
    """
    candidates = _candidates(crank, list(wheels))
    if not candidates:
        raise NotMeasurableError(
            f"channel '{crank.channel}' has {len(crank.times_s)} edges, too few for a crank wheel; "
            "record at least two crank revolutions or name the crank channel with --crank"
        )
    chosen, reason = _timing_edge(candidates)
    score = chosen.best
    if score.wheel is UNIFORM or score.explained < _MIN_EXPLAINED:
        return _learned(chosen, cams, reason, crank.channel)
    runs, extra, missing = _runs(chosen.trains, score.wheel, roughness=score.roughness)
    if not runs:
        raise NotMeasurableError(
            f"channel '{crank.channel}': no stretch of {_MIN_RUN_REVOLUTIONS:g} revolutions could "
            "be followed; record longer at a steady speed"
        )
    choice = _choice(chosen.scores, reason)
    return Teeth(score.wheel, chosen.direction, runs, choice, extra, missing)


def _candidates(crank: Edges, wheels: list[Wheel]) -> list[_Candidate]:
    found = []
    directions: tuple[Direction, Direction] = ("falling", "rising")
    for direction in directions:
        parts = trains(crank, direction)
        longest = max(parts, key=len, default=None)
        if longest is None or len(longest) < 6:
            continue
        found.append(_Candidate(direction, parts, rank(steps_of(longest), wheels)))
    return found


def _timing_edge(candidates: list[_Candidate]) -> tuple[_Candidate, str]:
    """Take the direction whose spacing fits a wheel better; falling where both fit alike."""
    if len(candidates) == 1:
        return candidates[0], f"only the {candidates[0].direction} edges could be followed"
    falling, rising = candidates
    explained = [
        item.best.explained >= _MIN_EXPLAINED and item.best.wheel is not UNIFORM
        for item in candidates
    ]
    gain = rising.best.log_likelihood - falling.best.log_likelihood
    if explained[0] != explained[1]:
        chosen = falling if explained[0] else rising
        other = "rising" if explained[0] else "falling"
        return chosen, (
            f"the {chosen.direction} edges are spaced like {chosen.best.wheel.name}, "
            f"the {other} edges like no wheel"
        )
    if abs(gain) < _CLEARLY:
        return falling, "both edges are equally regular; falling is taken by convention"
    chosen, word = (rising, "falling") if gain > 0 else (falling, "rising")
    return chosen, f"the {chosen.direction} edges are more regular than the {word} ones"


def _runs(
    parts: list[Train], wheel: Wheel, *, roughness: float
) -> tuple[tuple[ToothRun, ...], int, int]:
    runs: list[ToothRun] = []
    extra = missing = 0
    shortest = max(_MIN_RUN_REVOLUTIONS * wheel.teeth_per_rev, 4)
    for train in parts:
        if len(train) < shortest:
            continue
        result = align(train, wheel, roughness=roughness)
        extra += result.extra
        missing += result.missing
        runs += [run for run in _split(train, result) if run.teeth >= shortest]
    return tuple(runs), extra, missing


def _split(train: Train, result: Alignment) -> list[ToothRun]:
    cuts = np.flatnonzero(result.restart)
    return [
        ToothRun(train.times_s[edge], train.standard_uncertainty_s[edge], number)
        for edge, number in zip(
            np.split(result.edge, cuts), np.split(result.number, cuts), strict=True
        )
    ]


def _choice(scores: list[Score], reason: str) -> WheelChoice:
    """Confidence from the log-likelihood ratio over one revolution.

    Steps within a revolution share the engine's own ripple and repeat it in the next one, so no
    more than one revolution counts as independent.
    """
    best, rest = scores[0], [score for score in scores[1:] if score.wheel is not scores[0].wheel]
    if not rest:
        return WheelChoice(1.0, None, 0.0, reason)
    runner = rest[0]
    margin = best.log_likelihood - runner.log_likelihood
    ratios = [
        np.exp(-min((best.log_likelihood - other.log_likelihood) * best.wheel.teeth_per_rev, 700.0))
        for other in rest
    ]
    confidence = float(min(best.explained + 0.5, 1.0) / (1.0 + sum(ratios)))
    return WheelChoice(confidence, runner.wheel.name, float(margin), reason)


def _learned(chosen: _Candidate, cams: Sequence[Edges], reason: str, channel: str) -> Teeth:
    longest = max(chosen.trains, key=len)
    result = learn(longest, cams)
    if result is None:
        best = chosen.best
        closest = "" if best.wheel is UNIFORM else f" (closest in the catalogue: {best.wheel.name})"
        raise NotMeasurableError(
            f"channel '{channel}': the spacing of its {len(longest)} {chosen.direction} edges fits "
            f"no wheel and does not repeat{closest}; check that this is the crank sensor, record "
            "the cam as well, or add the wheel to the catalogue"
        )
    runs, extra, missing = _runs(chosen.trains, result.wheel, roughness=_roughness(chosen))
    if not runs:
        raise NotMeasurableError(
            f"channel '{channel}': too few revolutions of a wheel that had to be learned; "
            "record longer"
        )
    named = next((s for s in chosen.scores if s.wheel is not UNIFORM), None)
    confidence = 0.9 if result.settled_by_cams else 0.5
    how = "the cams tell a revolution" if result.settled_by_cams else "a revolution is assumed"
    choice = WheelChoice(
        confidence,
        named.wheel.name if named else None,
        0.0,
        f"{reason}; no wheel of the catalogue fits, so it was learned from the spacing and {how}",
    )
    return Teeth(result.wheel, chosen.direction, runs, choice, extra, missing)


def _roughness(chosen: _Candidate) -> float:
    return max(chosen.best.roughness, 0.005)
