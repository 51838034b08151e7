"""Fold a cam's edges over the 720-degree cycle and sort them into its pattern."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from crankwise.edges.running import running_median
from crankwise.model.crank_angle import CrankAngle
from crankwise.model.edges import Direction, Edges
from crankwise.model.recording import FloatArray
from crankwise.units import CYCLE_DEG, wrap_cycle_deg, wrap_signed_deg

START_EDGES = 3
"""Edges after power-up that a self-calibrating Hall sensor may place up to 6 target degrees off:
the first three (Allegro ATS673/674 data sheet, page 4)."""
_REST_BEFORE_S = 0.25
_MIN_SHARE = 0.4
_RUN_APART = 1_000_000
"""Keeps the cycles of different runs of teeth apart: their counts begin anew."""
_LEAST_GAP_DEG, _MOST_GAP_DEG = 4.0, 20.0


@dataclass(frozen=True, slots=True, eq=False)
class CamAngles:
    """Crank angles of a cam's edges on one count of revolutions.

    Attributes
    ----------
    edges : Edges
    angle_deg : np.ndarray [shape=(n,)]
        Cumulative crank angle; NaN where the crank is not known.
    coarse_deg : np.ndarray [shape=(n,)]
        The same from the curve that follows less closely.
    rising : np.ndarray [shape=(n,), dtype bool]
    time_s : np.ndarray [shape=(n,)]
    run : np.ndarray [shape=(n,)]
        Run of teeth each edge belongs to.
    started : int
        Edges left out because the engine had just started.
    """

    edges: Edges
    angle_deg: FloatArray
    coarse_deg: FloatArray
    rising: np.ndarray
    time_s: FloatArray
    run: np.ndarray
    started: int

    def where(self, chosen: np.ndarray) -> CamAngles:
        """Only the chosen edges (boolean mask or indices)."""
        return replace(
            self,
            angle_deg=self.angle_deg[chosen],
            coarse_deg=self.coarse_deg[chosen],
            rising=self.rising[chosen],
            time_s=self.time_s[chosen],
            run=self.run[chosen],
        )


@dataclass(frozen=True, slots=True, eq=False)
class Cluster:
    """All sightings of one edge of the pattern.

    Attributes
    ----------
    edge : {"rising", "falling"}
    angle_deg : float
        Median over the cycle, 0 <= angle < 720.
    deviation_deg, coarse_shift_deg : np.ndarray [shape=(n,)]
        Each sighting against the median; the coarse curve's angle less the fine one's.
    cycle : np.ndarray [shape=(n,), dtype int]
        Cycle of each sighting; unique.
    time_s : np.ndarray [shape=(n,)]
    rejected : int
        Sightings left out (outliers, doubles).
    """

    edge: Direction
    angle_deg: float
    deviation_deg: FloatArray
    coarse_shift_deg: FloatArray
    cycle: np.ndarray
    time_s: FloatArray
    rejected: int


def cam_angles(edges: Edges, crank: CrankAngle, *, recording_start_s: float) -> CamAngles:
    """Crank angle of every edge of a cam."""
    count = len(edges.times_s)
    angle, coarse = np.full(count, np.nan), np.full(count, np.nan)
    run_of = np.full(count, -1)
    started = 0
    previous_end_s = recording_start_s
    for number, (fine, rough, teeth) in enumerate(
        zip(crank.runs, crank.coarse_runs, crank.teeth.runs, strict=True)
    ):
        begin, end = teeth.times_s[0], teeth.times_s[-1]
        inside = np.flatnonzero((edges.times_s >= begin) & (edges.times_s <= end))
        if begin - previous_end_s > _REST_BEFORE_S:
            # The sensor woke up before the crank could be followed: its first edges count from
            # its own first one.
            fresh = np.flatnonzero((edges.times_s > previous_end_s) & (edges.times_s <= end))
            started += len(np.intersect1d(inside, fresh[:START_EDGES]))
            inside = np.setdiff1d(inside, fresh[:START_EDGES])
        angle[inside] = fine.angle_at(edges.times_s[inside])
        coarse[inside] = rough.angle_at(edges.times_s[inside])
        run_of[inside] = number
        previous_end_s = end
    everything = CamAngles(edges, angle, coarse, edges.rising, edges.times_s, run_of, started)
    return everything.where(np.isfinite(angle))


def clusters(cam: CamAngles, *, offset_deg: FloatArray) -> list[Cluster]:
    """Sort a cam's edges into its pattern, by angle.

    Parameters
    ----------
    cam : CamAngles
    offset_deg : np.ndarray [shape=(runs,)]
        Added to the angles of each run, so that all count from one cycle.

    Returns
    -------
    list of Cluster
        In order of angle; edges seen in fewer than 40 % of the cycles are left out.
    """
    if len(cam.angle_deg) == 0:
        return []
    total = cam.angle_deg + offset_deg[cam.run]
    found: list[Cluster] = []
    directions: tuple[Direction, Direction] = ("rising", "falling")
    for direction in directions:
        wanted = cam.rising == (direction == "rising")
        found += _one_direction(cam, total, wanted, direction)
    cycles = max((len(item.cycle) for item in found), default=0)
    kept = [item for item in found if len(item.cycle) >= max(_MIN_SHARE * cycles, 2)]
    return sorted(kept, key=lambda item: item.angle_deg)


def _one_direction(
    cam: CamAngles, total: FloatArray, wanted: np.ndarray, direction: Direction
) -> list[Cluster]:
    index = np.flatnonzero(wanted)
    if len(index) == 0:
        return []
    folded = wrap_cycle_deg(total[index])
    order = np.argsort(folded)
    ordered = folded[order]
    gaps = np.diff(np.append(ordered, ordered[0] + CYCLE_DEG))
    cycles = max(float(np.ptp(total[index])) / CYCLE_DEG, 1.0)
    per_cycle = max(len(index) / cycles, 1.0)
    limit = float(np.clip(0.12 * CYCLE_DEG / per_cycle, _LEAST_GAP_DEG, _MOST_GAP_DEG))
    breaks = np.flatnonzero(gaps > limit)
    if len(breaks) == 0:
        return []
    # Begin after a break, so that a cluster across 0/720 stays whole.
    order = np.roll(order, -(breaks[0] + 1))
    sizes = np.diff(np.append(breaks, breaks[0] + len(order)))
    parts = np.split(order, np.cumsum(sizes)[:-1])
    return [_cluster(cam, total, index[part], direction) for part in parts if len(part)]


def _cluster(cam: CamAngles, total: FloatArray, index: np.ndarray, direction: Direction) -> Cluster:
    index = np.sort(index)
    anchor = total[index[0]]
    relative = wrap_signed_deg(total[index] - anchor)
    middle = float(np.median(relative))
    cycle = np.round((total[index] - anchor - middle) / CYCLE_DEG).astype(np.intp)
    cycle += _RUN_APART * cam.run[index]
    deviation = relative - middle
    # Against its neighbours in time: a cam that moves is no outlier, a lone stray edge is.
    off = deviation - running_median(deviation, 5)
    spread = 1.482602 * float(np.median(np.abs(off)))
    usual = float(np.percentile(np.abs(off), 80))
    smooth = np.abs(off) <= max(8.0 * spread, 3.0 * usual, 0.5)
    # Of two sightings in one cycle the nearer one counts.
    nearest = np.lexsort((np.abs(deviation), cycle))
    first = np.append(True, np.diff(cycle[nearest]) != 0)
    single = np.zeros(len(index), dtype=np.bool_)
    single[nearest[first]] = True
    keep = smooth & single
    chosen = index[keep]
    return Cluster(
        edge=direction,
        angle_deg=float(wrap_cycle_deg(anchor + middle)),
        deviation_deg=deviation[keep],
        coarse_shift_deg=cam.coarse_deg[chosen] - cam.angle_deg[chosen],
        cycle=cycle[keep] + int((anchor + middle) // CYCLE_DEG),
        time_s=cam.time_s[chosen],
        rejected=int((~keep).sum()),
    )
