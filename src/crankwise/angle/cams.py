"""Clusters of cam edges to measured edges with their uncertainty budgets."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from crankwise.angle.delay import sensor_delay_s
from crankwise.angle.folding import CamAngles, Cluster
from crankwise.angle.movement import Movement, movement
from crankwise.angle.position import teeth_in_words
from crankwise.angle.sparse import FEWEST_TOLD
from crankwise.angle.student import combine
from crankwise.angle.unseen import UnseenRipple
from crankwise.model.crank_angle import CrankAngle
from crankwise.model.measurement import CamEdge, CamMeasurement, Contribution
from crankwise.model.recording import FloatArray
from crankwise.units import rpm_to_deg_per_s, wrap_cycle_deg

MIN_CYCLES = 3
"""Fewest sightings from which a mean and its scatter are stated."""


def measure_cam(
    cam: CamAngles,
    pattern: Sequence[Cluster],
    crank: CrankAngle,
    *,
    role: str,
    ripple: UnseenRipple,
) -> CamMeasurement:
    """Measure one cam.

    Parameters
    ----------
    cam : CamAngles
    pattern : sequence of Cluster
        Its edges over the cycle.
    crank : CrankAngle
    role : str
    ripple : UnseenRipple
        What speed ripple between the teeth adds to the uncertainty.
    """
    moves = movement(pattern)
    usable = [item for item in pattern if len(item.cycle) >= MIN_CYCLES]
    edges = tuple(_edge(cam, item, moves, crank, ripple) for item in usable)
    cycles = max((len(item.cycle) for item in pattern), default=0)
    delay = sensor_delay_s(usable, crank) if moves.moving_deg == 0 else None
    return CamMeasurement(
        channel=cam.edges.channel,
        role=role,
        sensor=cam.edges.sensor,
        cycles=cycles,
        edges=tuple(sorted(edges, key=lambda edge: edge.angle_deg)),
        moving_deg=moves.moving_deg,
        common_scatter_deg=moves.scatter_deg,
        delay_s=delay[0] if delay else None,
        delay_uncertainty_s=delay[1] if delay else None,
    )


def _edge(
    cam: CamAngles,
    cluster: Cluster,
    moves: Movement,
    crank: CrankAngle,
    ripple: UnseenRipple,
) -> CamEdge:
    deviation = cluster.deviation_deg
    count = len(deviation)
    scatter = float(np.std(deviation, ddof=1))
    angle = float(wrap_cycle_deg(cluster.angle_deg + float(np.mean(deviation))))
    budget = _budget(cam, cluster, moves, crank, scatter_deg=scatter, ripple=ripple)
    _, dof, factor, expanded = combine(budget)
    wheel = crank.teeth.wheel
    return CamEdge(
        edge=cluster.edge,
        angle_deg=angle,
        teeth=teeth_in_words(
            angle,
            pitch_deg=wheel.pitch_deg,
            gap_deg=wheel.intervals_deg[-1],
            has_gap=wheel.has_gap,
        ),
        scatter_deg=scatter,
        drift_deg_per_s=_trend(cluster.time_s, deviation),
        uncertainty_deg=expanded,
        coverage_factor=factor,
        dof=dof,
        count=count,
        rejected=cluster.rejected,
        budget=budget,
    )


def _budget(
    cam: CamAngles,
    cluster: Cluster,
    moves: Movement,
    crank: CrankAngle,
    *,
    scatter_deg: float,
    ripple: UnseenRipple,
) -> tuple[Contribution, ...]:
    count = len(cluster.deviation_deg)
    alike = _effective_count(cluster.deviation_deg)
    follow = abs(float(np.mean(cluster.coarse_shift_deg)))
    least = _least_timing_deg(cam, cluster, crank)
    mean_of_cycles = float(scatter_deg / np.sqrt(alike))
    is_told = crank.teeth.wheel.teeth_per_rev >= FEWEST_TOLD
    spacing = crank.unlearned_sd_deg
    dof = crank.unlearned_dof if np.isfinite(crank.unlearned_dof) else None
    lines = [
        # Sampling, noise and the engine's own scatter all show in the spread over the cycles.
        Contribution("scatter over the cycles", mean_of_cycles, "A", count - 1.0),
        Contribution("sampling and noise that repeat every cycle", least, "B", None),
        Contribution("tooth spacing not told from speed", spacing if is_told else 0.0, "A", dof),
        Contribution(
            "tooth spacing or speed, with too few teeth to tell",
            0.0 if is_told else spacing,
            "A",
            dof,
        ),
        Contribution("course of the angle between teeth", float(follow / np.sqrt(3.0)), "B", None),
        Contribution("speed ripple between the teeth", ripple.at(cluster.angle_deg), "B", None),
    ]
    if moves.moving_deg > 0:
        # Anywhere in the range is as likely as anywhere else (rectangular law, GUM 4.3.7).
        lines.append(
            Contribution("movement of the cam", float(moves.moving_deg / np.sqrt(12.0)), "B", None)
        )
    return tuple(line for line in lines if line.standard_deg > 0)


def _effective_count(deviation_deg: FloatArray) -> float:
    """Independent sightings: fewer where neighbouring cycles go together (first-order Markov).

    Only a correlation beyond what chance makes (2/sqrt(n)) counts.
    """
    count = len(deviation_deg)
    centred = deviation_deg - deviation_deg.mean()
    power = float((centred**2).sum())
    if count < 8 or power == 0:
        return float(count)
    lag_one = float((centred[1:] * centred[:-1]).sum()) / power
    if lag_one <= 2.0 / np.sqrt(count):
        return float(count)
    return max(count * (1 - lag_one) / (1 + lag_one), 2.0)


def _least_timing_deg(cam: CamAngles, cluster: Cluster, crank: CrankAngle) -> float:
    """Part of the edge-time uncertainty that averaging over cycles can't be trusted to remove.

    When the speed wanders by less than a sample interval a cycle, sampling errors repeat. The
    spread of the cycle times against the interval tells how far they average out.
    """
    count = len(cluster.time_s)
    standard_s = float(np.median(cam.edges.standard_uncertainty_s))
    periods = np.diff(cluster.time_s)
    speed = float(np.mean(crank.runs[0].speed_rpm_at(np.array([_middle_deg(crank)]))))
    wander_s = float(np.std(periods)) if count > 2 else 0.0
    averaging = 1.0 + (count - 1.0) * min(wander_s / (4.0 * standard_s + 1e-15), 1.0)
    share = _repeat_share(averaging, count)
    return float(standard_s * rpm_to_deg_per_s(speed) / np.sqrt(averaging) * share)


def _repeat_share(averaging: float, count: int) -> float:
    """Share not already in the scatter: none where cycles average freely, all where they repeat."""
    return float(np.sqrt(max(1.0 - (averaging - 1.0) / max(count - 1.0, 1.0), 0.0)))


def _middle_deg(crank: CrankAngle) -> float:
    return 0.5 * (crank.runs[0].start_deg + crank.runs[0].end_deg)


def _trend(time_s: FloatArray, deviation_deg: FloatArray) -> float:
    """Slope by least squares, degrees a second."""
    centred = time_s - time_s.mean()
    power = float((centred**2).sum())
    return float((centred * deviation_deg).sum() / power) if power > 0 else 0.0
