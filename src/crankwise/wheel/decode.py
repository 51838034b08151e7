"""From the crank's edges to named teeth: wheel, timing edge, alignment."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from crankwise.edges.running import running_median
from crankwise.errors import NotMeasurableError
from crankwise.model.edges import Direction, Edges
from crankwise.model.measurement import WheelChoice
from crankwise.model.teeth import Teeth, ToothRun
from crankwise.model.wheel import Wheel
from crankwise.wheel.align import Alignment, align
from crankwise.wheel.follow import followed, is_clear
from crankwise.wheel.learn import learn, teeth_per_cycle
from crankwise.wheel.likelihood import steps_of
from crankwise.wheel.score import MIN_EXPLAINED, UNIFORM, Score, rank
from crankwise.wheel.train import Train, trains

_CLEARLY, _CLEARLY_SAME = 0.05, 0.2
"""Difference of mean log-likelihood from which one timing edge is clearly the more regular. Where
both show the same wheel it takes far more: the choice must not flip between two recordings of one
engine, for all its angles would move by the width of a tooth."""
_MIN_RUN_REVOLUTIONS = 1.5
_STEEPER = 1.6
_SURE_OF_SPOILED = 0.95
_FEW_TEETH = 12
_MOST_ROUGHNESS = 0.008


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
    chosen, reason = _coil_edge(crank, candidates) or _timing_edge(candidates)
    chosen = _second_look(chosen, cams)
    chosen, twins = _settled_by_cams(chosen, cams)
    score = chosen.best
    if score.wheel is UNIFORM or score.explained < MIN_EXPLAINED:
        return _learned(chosen, cams, reason, crank.channel)
    runs, extra, missing = _runs(chosen.trains, score.wheel, roughness=score.roughness)
    if not runs:
        raise NotMeasurableError(
            f"channel '{crank.channel}': no stretch of {_MIN_RUN_REVOLUTIONS:g} revolutions could "
            "be followed; record longer at a steady speed"
        )
    choice = _choice(chosen.scores, twins, reason)
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
        item.best.explained >= MIN_EXPLAINED and item.best.wheel is not UNIFORM
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
    if abs(gain) < (_CLEARLY_SAME if falling.best.wheel is rising.best.wheel else _CLEARLY):
        return _trailing_flank(falling, rising)
    chosen, word = (rising, "falling") if gain > 0 else (falling, "rising")
    return chosen, f"the {chosen.direction} edges are more regular than the {word} ones"


def _trailing_flank(falling: _Candidate, rising: _Candidate) -> tuple[_Candidate, str]:
    """Of two equally regular edges the one that ends the teeth, whatever the polarity.

    In the gap there is no tooth, so the level there is that of no tooth. Wheels without a gap to
    tell by are timed by their falling edges.
    """
    train = max(falling.trains, key=len)
    intervals = np.diff(train.times_s)
    usual = running_median(intervals, 9)
    high_share = train.duty[1:][intervals > 1.5 * usual]
    if not falling.best.wheel.has_gap or len(high_share) == 0:
        return falling, "both edges are equally regular; falling is taken by convention"
    chosen = falling if float(np.nanmedian(high_share)) < 0.5 else rising
    return chosen, (
        f"both edges are equally regular; the {chosen.direction} ones end the teeth, "
        "as the level in the gap shows"
    )


def _coil_edge(crank: Edges, candidates: list[_Candidate]) -> tuple[_Candidate, str] | None:
    """A coil's crossing is steep at the middle of a tooth and flat in the middle of a gap.

    The direction that is never flat is the teeth's; the other one also crosses between teeth,
    more evenly even, but has no place in the gap. None where neither is clearly steeper.
    """
    if len(crank.steepness) < 20 or len(candidates) < 2:
        return None
    # Slopes go with the square of the speed: compare each with its neighbours of both directions.
    usual = running_median(crank.steepness, 15)
    relative = crank.steepness / np.maximum(usual, 1e-12)
    flattest = []
    for item in candidates:
        slope = relative[crank.rising == (item.direction == "rising")]
        flattest.append(float(np.percentile(slope, 1.0)))
    falling_steep, rising_steep = flattest
    if max(flattest) < _STEEPER * min(flattest):
        return None
    chosen = candidates[0] if falling_steep > rising_steep else candidates[1]
    other = "rising" if chosen.direction == "falling" else "falling"
    return chosen, (
        f"the {chosen.direction} crossings of the coil are steep at every tooth, "
        f"the {other} ones flat in the gap"
    )


def _second_look(chosen: _Candidate, cams: Sequence[Edges]) -> _Candidate:
    """Follow the train where no wheel explains it, and drop wheels its own period contradicts."""
    longest = max(chosen.trains, key=len)
    asks = not is_clear(chosen.scores) or chosen.best.wheel.teeth_per_rev < _FEW_TEETH
    own = learn(longest, cams) if asks else None
    scores = followed(chosen.trains, chosen.scores, own.wheel if own else None)
    best = scores[0]
    if own is not None and best.wheel.teeth_per_rev < _FEW_TEETH:
        # Few teeth and long steps explain almost anything; the repeat itself must agree.
        teeth = own.wheel.teeth_per_rev
        if teeth % best.wheel.teeth_per_rev and best.wheel.teeth_per_rev % teeth:
            scores = [score for score in scores if score.wheel is UNIFORM]
    return replace(chosen, scores=scores)


def _settled_by_cams(chosen: _Candidate, cams: Sequence[Edges]) -> tuple[_Candidate, list[Score]]:
    """Among wheels whose spacing has the same proportions, the one the cams' turn asks for.

    12-2 over a turn looks like 36-2-2-2 even over three turns; only the cams, which turn once in
    two turns of the crank, tell them apart. Returns the candidate and the twins left open.
    """
    best = chosen.best
    alike = [
        score
        for score in chosen.scores
        if score.wheel is not UNIFORM
        and score.explained >= MIN_EXPLAINED
        and _proportions(score.wheel) == _proportions(best.wheel)
    ]
    if len(alike) < 2:
        return chosen, []
    per_cycle = teeth_per_cycle(max(chosen.trains, key=len), cams)
    fitting = [score for score in alike if per_cycle == 2 * score.wheel.teeth_per_rev]
    rest = [score for score in chosen.scores if score not in alike]
    if len(fitting) == 1:
        return _Candidate(chosen.direction, chosen.trains, fitting + rest), []
    plainest = sorted(alike, key=lambda score: score.wheel.repeats)
    return _Candidate(chosen.direction, chosen.trains, plainest + rest), plainest[1:]


def _proportions(wheel: Wheel) -> tuple[float, ...]:
    """One repeat of the spacing, scaled to its smallest step."""
    steps = np.asarray(wheel.intervals_deg[: wheel.teeth_per_rev // wheel.repeats])
    return tuple(float(value) for value in np.round(steps / steps.min(), 3))


def _runs(
    parts: list[Train], wheel: Wheel, *, roughness: float
) -> tuple[tuple[ToothRun, ...], int, int]:
    runs: list[ToothRun] = []
    extra = missing = 0
    shortest = max(_MIN_RUN_REVOLUTIONS * wheel.teeth_per_rev, 4)
    for train in parts:
        if len(train) < shortest:
            continue
        result = align(train, wheel, roughness=min(roughness, _MOST_ROUGHNESS))
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


def _choice(scores: list[Score], twins: list[Score], reason: str) -> WheelChoice:
    """Confidence from the log-likelihood ratio over one revolution.

    Steps within a revolution share the engine's own ripple and repeat it in the next one, so no
    more than one revolution counts as independent.
    """
    best, rest = scores[0], [score for score in scores[1:] if score.wheel is not scores[0].wheel]
    if not rest:
        return WheelChoice(1.0, None, 0.0, reason)
    if twins:
        names = " or ".join(score.wheel.name for score in twins)
        reason = f"{reason}; without a cam it can't be told from {names}"
        return WheelChoice(1.0 / (1 + len(twins)), twins[0].wheel.name, 0.0, reason)
    runner = rest[0]
    margin = best.log_likelihood - runner.log_likelihood
    ratios = [
        np.exp(-min((best.log_likelihood - other.log_likelihood) * best.wheel.teeth_per_rev, 700.0))
        for other in rest
    ]
    # A wheel with slips in every turn may as well be one that the catalogue lacks.
    most = _SURE_OF_SPOILED if best.followed else min(best.explained + 0.5, 1.0)
    confidence = float(most / (1.0 + sum(ratios)))
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
