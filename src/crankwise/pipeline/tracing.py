"""From what measuring found to a trace: angles of every moment on the measurement's cycle."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from crankwise.angle.cycle import Cycle
from crankwise.angle.folding import CamAngles, Cluster
from crankwise.model.crank_angle import CrankAngle
from crankwise.model.measurement import CamEdge, CamMeasurement
from crankwise.model.trace import CamTrace, Trace, TraceRun
from crankwise.units import wrap_signed_deg

_ROUNDING_DEG = 1e-6
"""A measured edge is the mean of its cluster, up to rounding."""

FoundCam = tuple[str, CamAngles, tuple[Cluster, ...]]


def trace_of(
    crank: str,
    angle: CrankAngle,
    cycle: Cycle,
    *,
    cams: Iterable[FoundCam],
    measured: Iterable[CamMeasurement],
) -> Trace:
    """Put the runs of teeth and all cam edges on the measurement's cycle.

    Parameters
    ----------
    crank : str
        Channel of the crank.
    angle : CrankAngle
    cycle : Cycle
    cams : iterable of (role, CamAngles, clusters)
        As found.
    measured : iterable of CamMeasurement
        The same cams as measured.
    """
    return Trace(
        crank=crank,
        runs=tuple(_runs(angle, cycle)),
        cams=tuple(
            _cam(found, edges=cam.edges, cycle=cycle)
            for found, cam in zip(cams, measured, strict=True)
        ),
    )


def _runs(angle: CrankAngle, cycle: Cycle) -> Iterable[TraceRun]:
    teeth = angle.teeth
    for run, curve, offset in zip(teeth.runs, angle.runs, cycle.offset_deg, strict=True):
        is_placed = bool(np.isfinite(offset))
        from_own = float(offset) if is_placed else 0.0
        yield TraceRun(
            times_s=run.times_s,
            tooth_deg=run.angles_deg(teeth.wheel) + from_own,
            curve=curve,
            offset_deg=from_own,
            is_placed=is_placed,
        )


def _cam(found: FoundCam, *, edges: Sequence[CamEdge], cycle: Cycle) -> CamTrace:
    """Edges of the runs whose place in the cycle is known."""
    role, cam, pattern = found
    placed = cam.where(np.isfinite(cycle.offset_deg)[cam.run])
    return CamTrace(
        role=role,
        channel=cam.edges.channel,
        times_s=placed.time_s,
        angle_deg=placed.angle_deg + cycle.offset_deg[placed.run],
        rising=placed.rising,
        edge=_edge_of_each(placed, pattern, edges),
    )


def _edge_of_each(
    cam: CamAngles, pattern: Sequence[Cluster], edges: Sequence[CamEdge]
) -> npt.NDArray[np.int16]:
    """Place in the measured pattern of each edge, by the cluster it was counted in."""
    place = np.full(len(cam.time_s), -1, dtype=np.int16)
    for cluster in pattern:
        middle = cluster.angle_deg + float(np.mean(cluster.deviation_deg))
        for number, edge in enumerate(edges):
            apart = abs(wrap_signed_deg(edge.angle_deg - middle))
            if edge.edge == cluster.edge and apart < _ROUNDING_DEG:
                place[np.searchsorted(cam.time_s, cluster.time_s)] = number
    return place
