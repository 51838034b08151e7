"""What came of one hostile draw, and what counts as a confident wrong answer.

A confident wrong answer is one of these, without a caution or fault among the findings that says
what is suspicious:

1. an angle of a cam edge that is off every true place by more than three times its stated
   expanded uncertainty and by more than 1.0 degree;
2. edges of a channel on which no cam was recorded, or any angle where there is no right answer;
3. a wheel that is not the one recorded, at a stated probability above 0.95;
4. cams that lie in different revolutions of the cycle than they truly do against each other;
5. a shift of a cam, or a change of the angle between two, off the true one by more than three
   times its uncertainty and by more than 1.0 degree, in a comparison that gives a verdict;
6. any verdict where the two sides can't be compared.

Three expanded uncertainties are six standard ones: chance alone does not get there. One degree is a
quarter of what the policy calls worn (4 degrees): below it no verdict on another vehicle turns.
Cautions that speak of something else excuse nothing (``NO_EXCUSE``); neither do notes. The caution
that one sample is so many degrees excuses an error up to that many degrees.
A crash or a warning of the numerical libraries counts as got through as well.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from crankwise.errors import CrankwiseError
from crankwise.pipeline import compare, measure
from crankwise.units import wrap_signed_deg

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from attacks.numbers_case import Answer, Case, Place
    from crankwise.model.comparison import Comparison
    from crankwise.model.finding import Finding
    from crankwise.model.measurement import CamEdge, CamMeasurement, Measurement

TIMES_UNCERTAINTY = 3.0
LEAST_DEG = 1.0
SURE = 0.95
NO_EXCUSE = {
    "too-short",
    "few-crank-teeth",
    "target-runout",
    "sampled-slowly",
    "wide-scatter",
    "no-cam",
    "known-good-left-out",
}
"""Cautions that say nothing against the place of an edge or against a shift."""

Came = Literal["right", "caution", "refused", "wrong", "crashed"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a draw.

    Attributes
    ----------
    came : str
        ``right``, with a ``caution``, ``refused``, ``wrong`` (confidently), or ``crashed``.
    said : str
        Code of the caution, reason of the refusal, or what was wrong.
    edges, covered : int
        Cam edges measured without a caution, and how many lie within their stated uncertainty.
    """

    came: Came
    said: str = ""
    edges: int = 0
    covered: int = 0

    @property
    def is_through(self) -> bool:
        """Whether the attack got through."""
        return self.came in {"wrong", "crashed"}


def outcome_of(case: Case) -> Outcome:
    """Measure a draw, compare it where it has a known-good, and judge what is said."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            return _judged(case)
        except Exception as error:  # noqa: BLE001  a crash is one of the outcomes to count
            return Outcome("crashed", repr(error))


def _judged(case: Case) -> Outcome:
    try:
        result = measure(case.recording, crank=case.crank, cams=case.cams)
    except CrankwiseError as error:
        return Outcome("refused", str(error))
    excuse = _excuse(result.findings)
    wrong, edges, covered = "", 0, 0
    if case.states_angles and not excuse:
        wrong, edges, covered = _angles(result, case.answers)
    if wrong:
        came, said = _as("wrong", wrong)
    elif case.known_good is None:
        came, said = (
            _as("caution", excuse or "no-cam") if excuse or not result.cams else _as("right")
        )
    else:
        came, said = _compared(result, case, case.known_good, excuse)
    return Outcome(came, said, edges, covered)


def _as(came: Came, said: str = "") -> tuple[Came, str]:
    return came, said


def _compared(
    result: Measurement, case: Case, known_good: Measurement, excuse: str
) -> tuple[Came, str]:
    """What came of the comparison with the known-good."""
    # The same vehicle earlier, or another one: half of the draws each.
    same_vehicle = len(edges_of(result)) % 4 < 2
    try:
        comparison = compare(result, [known_good], same_vehicle=same_vehicle)
    except CrankwiseError as error:
        return _as("refused", f"comparison: {error}")
    if comparison.verdict.level == "not-judged":
        return _as("refused", comparison.verdict.summary)
    excuse = excuse or _excuse(comparison.findings)
    if excuse:
        return _as("caution", excuse)
    wrong = next(_wrong_shifts(comparison, case), "")
    return _as("wrong", wrong) if wrong else _as("right")


def edges_of(result: Measurement) -> list[CamEdge]:
    """All cam edges of a measurement."""
    return [edge for cam in result.cams for edge in cam.edges]


def _excuse(findings: Iterable[Finding]) -> str:
    """Code of the first finding that warns of what was measured; empty without."""
    return next(
        (item.code for item in findings if item.level != "note" and item.code not in NO_EXCUSE), ""
    )


def _angles(result: Measurement, answers: Iterable[Answer]) -> tuple[str, int, int]:
    """What is wrong by the answer that fits best, edges measured, edges within uncertainty."""
    count = len(edges_of(result))
    tried = [
        _against(result, answer, turn_deg) for answer in answers for turn_deg in _turns(answer)
    ]
    if not tried:
        return (f"{count} edges where there is no answer" if count else ""), count, 0
    wrong, covered = min(tried, key=lambda item: (len(item[0]), -item[1]))
    return "; ".join(wrong[:3]), count, covered


def _turns(answer: Answer) -> np.ndarray:
    """Turns of the cycle that the wheel leaves open: the cams choose, by a rule of their own."""
    return np.arange(0.0, 720.0, 360.0 / answer.wheel.repeats)


def _against(result: Measurement, answer: Answer, turn_deg: float) -> tuple[list[str], int]:
    wrong = []
    crank = result.crank
    is_same = crank.teeth_per_rev == answer.wheel.teeth_per_rev and np.allclose(
        crank.intervals_deg, answer.wheel.intervals_deg, rtol=0.05
    )
    if not is_same and crank.choice.confidence > SURE:
        wrong.append(f"wheel {crank.wheel} for {answer.wheel.name}")
    # The caution that a sample is so many degrees says that much and no more.
    slow = any(item.code == "sampled-slowly" for item in result.findings)
    step_deg = 6.0 * crank.speed_rpm.mean * (result.recording.interval_s or 0.0) if slow else 0.0
    covered = 0
    for cam in result.cams:
        places = answer.cams.get(cam.channel, ())
        for edge in cam.edges:
            error = _error_deg(edge, places, crank.timing_edge, turn_deg)
            covered += error <= edge.uncertainty_deg
            if error > max(TIMES_UNCERTAINTY * edge.uncertainty_deg, LEAST_DEG, step_deg):
                wrong.append(_edge_words(cam, edge, error))
    return wrong, covered


def _edge_words(cam: CamMeasurement, edge: CamEdge, error_deg: float) -> str:
    return (
        f"{cam.channel} {edge.edge} at {edge.angle_deg:.2f} ± {edge.uncertainty_deg:.2f} is off by "
        f"{error_deg:.2f}"
    )


def _error_deg(
    edge: CamEdge, places: tuple[Place, ...], timing_edge: str, turn_deg: float
) -> float:
    return min(
        (
            abs(
                float(
                    wrap_signed_deg(
                        edge.angle_deg - turn_deg - place.by_crank_edge_deg[timing_edge]
                    )
                )
            )
            for place in places
            if place.edge == edge.edge and timing_edge in place.by_crank_edge_deg
        ),
        default=float("inf"),
    )


def _wrong_shifts(comparison: Comparison, case: Case) -> Iterator[str]:
    if case.shifts is None:
        yield f"{comparison.verdict.level} where nothing can be compared"
        return
    true_deg: dict[str, float] = {}
    for cam in comparison.cams:
        role, shift_deg = case.shifts.get(cam.subject_channel, ("", float("inf")))
        if role != cam.known_good_channel:
            yield f"{cam.subject_channel} compared with {cam.known_good_channel}"
        true_deg[cam.role] = shift_deg
        if _is_off(cam.shift_deg, shift_deg, cam.uncertainty_deg):
            yield (
                f"shift of the {cam.role} {cam.shift_deg:.2f} ± {cam.uncertainty_deg:.2f}, "
                f"truly {shift_deg:.2f}"
            )
    for change in comparison.separations:
        first, second = change.between
        expected = true_deg[second] - true_deg[first]
        if _is_off(change.change_deg, expected, change.uncertainty_deg):
            yield (
                f"{first} to {second} {change.change_deg:.2f} ± {change.uncertainty_deg:.2f}, "
                f"truly {expected:.2f}"
            )


def _is_off(stated_deg: float, true_deg: float, uncertainty_deg: float) -> bool:
    return abs(stated_deg - true_deg) > max(TIMES_UNCERTAINTY * uncertainty_deg, LEAST_DEG)
