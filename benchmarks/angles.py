"""Cam edges measured against the truth of simulated recordings.

There are two truths. *What the recording holds* is the mean place of an edge over the cycles that
were recorded; nothing but the measurement parts the result from it. *The long-run place* is where
the edge would average over endless cycles; scatter over few cycles parts the two, and the stated
uncertainty covers that as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING
from zlib import crc32

import numpy as np

from benchmarks.conditions import CONDITIONS
from benchmarks.pages import table
from benchmarks.spread import spread
from crankwise.errors import CrankwiseError
from crankwise.pipeline import measure
from crankwise.testing.simulate import simulate
from crankwise.units import wrap_signed_deg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.model.measurement import CamEdge, Measurement
    from crankwise.model.recording import FloatArray
    from crankwise.testing.simulate import EdgeTruth, Truth

ROLE = "intake"


@dataclass(frozen=True, slots=True)
class EdgeError:
    """One cam edge of one recording: errors against the two truths and what was stated."""

    recorded_deg: float
    long_run_deg: float
    uncertainty_deg: float


@dataclass(frozen=True, slots=True)
class Job:
    """One recording of a condition."""

    condition: str
    seed: int


@dataclass(frozen=True, slots=True)
class Errors:
    """Errors of all edges of a condition, one row for each recording.

    Attributes
    ----------
    recorded_deg, long_run_deg, uncertainty_deg : np.ndarray [shape=(recordings, edges)]
    unmeasured : int
        Recordings that were refused, or whose edges were not those of the target.
    """

    recorded_deg: FloatArray
    long_run_deg: FloatArray
    uncertainty_deg: FloatArray
    unmeasured: int

    @property
    def covered(self) -> FloatArray:
        """Share of edges in each recording whose stated interval holds the long-run place."""
        return np.asarray(np.mean(np.abs(self.long_run_deg) <= self.uncertainty_deg, axis=1))

    @property
    def edges(self) -> int:
        """Edges measured."""
        return int(self.recorded_deg.size)


def worst(error_deg: FloatArray) -> float:
    """Largest error of any edge of any recording, degrees."""
    return float(np.abs(error_deg).max())


def rms(error_deg: FloatArray) -> float:
    """Root of the mean squared error over all edges, degrees."""
    return float(np.sqrt(np.mean(error_deg**2)))


def median_worst(error_deg: FloatArray) -> float:
    """Median over the recordings of the worst of their edges, degrees."""
    return float(np.median(np.abs(error_deg).max(axis=1)))


def share_error(covered: FloatArray) -> float:
    """Standard error of a mean share; edges of one recording err together, recordings don't."""
    return float(np.std(covered, ddof=1) / np.sqrt(len(covered)))


def errors_by_condition(recordings: int, *, workers: int) -> dict[str, Errors]:
    """Simulate and measure so many recordings of every condition.

    Target errors and scatter are drawn anew for each recording. The seeds come from the name of
    the condition, so that a new condition changes no figure of the others.
    """
    jobs = [
        Job(name, crc32(name.encode()) + number)
        for name, number in product(CONDITIONS, range(recordings))
    ]
    results = spread(errors_of, jobs, workers=workers, what="angles")
    found: dict[str, list[list[EdgeError]]] = {name: [] for name in CONDITIONS}
    for job, result in zip(jobs, results, strict=True):
        found[job.condition].append(result)
    return {name: _stacked(rows) for name, rows in found.items()}


def _stacked(rows: Sequence[list[EdgeError]]) -> Errors:
    measured = [row for row in rows if row]
    values = np.array(
        [[(e.recorded_deg, e.long_run_deg, e.uncertainty_deg) for e in row] for row in measured]
    ).reshape(len(measured), -1, 3)
    return Errors(
        recorded_deg=values[:, :, 0],
        long_run_deg=values[:, :, 1],
        uncertainty_deg=values[:, :, 2],
        unmeasured=len(rows) - len(measured),
    )


def errors_of(job: Job) -> list[EdgeError]:
    """Errors of the edges of one recording; empty if it could not be measured."""
    simulation = simulate(CONDITIONS[job.condition], seed=job.seed)
    try:
        result = measure(simulation.recording, crank="crank", cams={ROLE: ROLE})
    except CrankwiseError:
        return []
    known = simulation.truth.cam(ROLE).edges
    edges = result.cam(ROLE).edges
    # Another wheel or another count of edges has no place to be compared at.
    if result.crank.wheel != simulation.truth.crank.wheel or len(edges) != len(known):
        return []
    return _best_turn(simulation.truth, result)


def _best_turn(truth: Truth, result: Measurement) -> list[EdgeError]:
    """Errors with the cycle begun at the turn that fits: the crank alone can't tell which."""
    edges = result.cam(ROLE).edges
    tables = [
        [_error(edge, truth, timing_edge=result.crank.timing_edge, turn_deg=turn) for edge in edges]
        for turn in (0.0, 360.0)
    ]
    return min(tables, key=lambda rows: max(abs(row.recorded_deg) for row in rows))


def _error(edge: CamEdge, truth: Truth, *, timing_edge: str, turn_deg: float) -> EdgeError:
    """Error of one edge against the nearest true one of its direction."""
    cam = truth.cam(ROLE)

    def error_deg(item: EdgeTruth) -> float:
        place = item.angle_by_crank_edge_deg[timing_edge]
        return float(wrap_signed_deg(edge.angle_deg - turn_deg - place))

    nearest = min((e for e in cam.edges if e.edge == edge.edge), key=lambda e: abs(error_deg(e)))
    # How far the flank lay, over the recorded cycles, from where it lies in the long run.
    strayed_deg = float(
        wrap_signed_deg(nearest.geometric_deg - nearest.nominal_deg - cam.shift_deg)
    )
    recorded_deg = error_deg(nearest)
    return EdgeError(recorded_deg, recorded_deg + strayed_deg, edge.uncertainty_deg)


HEADER = (
    "condition",
    "edges",
    "worst",
    "RMS",
    "median worst",
    "long-run worst",
    "long-run RMS",
    "long-run median worst",
    "median ±",
    "covered ± standard error",
)


def errors_table(by_condition: dict[str, Errors]) -> str:
    """Errors, stated uncertainty and its coverage for every condition and over all."""
    rows = [_row(name, errors) for name, errors in by_condition.items()]
    covered = overall_coverage(by_condition)
    edges = sum(errors.edges for errors in by_condition.values())
    blank = [""] * (len(HEADER) - 3)
    rows.append(["all", str(edges), *blank, _share(covered)])
    return table(HEADER, rows)


def overall_coverage(by_condition: dict[str, Errors]) -> FloatArray:
    """Share covered in each recording of all conditions."""
    return np.concatenate([errors.covered for errors in by_condition.values()])


def _row(name: str, errors: Errors) -> list[str]:
    if not errors.edges:
        return [name, "0", *[""] * (len(HEADER) - 2)]
    stray = f" ({errors.unmeasured} recordings not measured)" if errors.unmeasured else ""
    figures = [
        figure(error)
        for error in (errors.recorded_deg, errors.long_run_deg)
        for figure in (worst, rms, median_worst)
    ]
    return [
        name + stray,
        str(errors.edges),
        *(f"{value:.3f}" for value in figures),
        f"{np.median(errors.uncertainty_deg):.3f}",
        _share(errors.covered),
    ]


def _share(covered: FloatArray) -> str:
    return f"{100 * covered.mean():.1f} ± {100 * share_error(covered):.1f} %"
