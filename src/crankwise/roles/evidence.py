"""Is a channel a cam? The evidence its edges give once the crank's angle is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from crankwise.angle.folding import CamAngles, Cluster
from crankwise.angle.movement import movement
from crankwise.model.recording import FloatArray
from crankwise.units import CYCLE_DEG

_MIN_REPEATING = 0.7
_MOST_SCATTER_DEG = 4.0
_MOST_EDGES = 80
_RATHER_TIME = 0.5
_MOST_PULSES = 8


@dataclass(frozen=True, slots=True)
class CamEvidence:
    """Whether a channel looks like a cam, and why in words."""

    is_cam: bool
    why: str


def cam_evidence(cam: CamAngles, pattern: Sequence[Cluster]) -> CamEvidence:
    """Judge a channel that is not the crank.

    A cam's edges come back at the same crank angles every cycle. What the engine control switches
    also comes once a cycle, but its pulses last for a time, not for an angle.
    """
    against = _does_not_repeat(cam, pattern) or _unlike_a_cam(cam, pattern)
    if against:
        return CamEvidence(is_cam=False, why=against)
    return CamEvidence(
        is_cam=True, why=f"{len(pattern)} edges come back at the same crank angles every cycle"
    )


def _does_not_repeat(cam: CamAngles, pattern: Sequence[Cluster]) -> str:
    """Why the edges make no pattern; empty if they do."""
    total = len(cam.angle_deg)
    if total == 0:
        return "no edges while the crank turned"
    if not pattern:
        return "its edges do not repeat over the cycle"
    repeating = sum(len(item.cycle) for item in pattern) / total
    if repeating < _MIN_REPEATING:
        return f"only {round(100 * repeating)} % of its edges repeat over the cycle"
    return ""


def _unlike_a_cam(cam: CamAngles, pattern: Sequence[Cluster]) -> str:
    """Why a repeating pattern is no cam's; empty if it may be one."""
    if len(pattern) > _MOST_EDGES:
        return f"{len(pattern)} edges a cycle are too many for a cam"
    scatter = float(np.median([_own_scatter(item, pattern) for item in pattern]))
    if scatter > _MOST_SCATTER_DEG:
        return f"its edges wander by {scatter:.0f} degrees from cycle to cycle"
    if _lasts_for_a_time(cam, pattern):
        return "its pulses last for a time, not for an angle"
    return ""


def _own_scatter(item: Cluster, pattern: Sequence[Cluster]) -> float:
    """Scatter of an edge about the movement of the whole pattern, degrees."""
    moves = movement(pattern)
    common = np.interp(item.cycle, moves.cycle, moves.common_deg) if len(moves.cycle) else 0.0
    return 1.482602 * float(np.median(np.abs(item.deviation_deg - common)))


def _lasts_for_a_time(cam: CamAngles, pattern: Sequence[Cluster]) -> bool:
    """Whether pulse widths are steadier in seconds than in degrees.

    Compares the spread of ln(width) over all pulses in both; on an engine that runs very evenly
    they are alike, and nothing is concluded. Pulses of unlike widths are teeth of a pattern.
    """
    pulses = _pulses(pattern)
    if not pulses or len(pulses) > _MOST_PULSES:
        return False
    width_s = np.concatenate([pulse[0] for pulse in pulses])
    width_deg = np.concatenate([pulse[1] for pulse in pulses])
    means = np.array([float(np.mean(pulse[1])) for pulse in pulses])
    if len(width_s) < 6 or means.max() > 1.6 * means.min():
        return False
    resolution = np.sqrt(2.0) * float(
        np.median(cam.edges.standard_uncertainty_s) / np.median(width_s)
    )
    # What sampling alone scatters says nothing about either.
    in_time = np.sqrt(max(float(np.var(np.log(np.maximum(width_s, 1e-9)))) - resolution**2, 0.0))
    in_angle = np.sqrt(max(float(np.var(np.log(np.maximum(width_deg, 1e-9)))) - resolution**2, 0.0))
    return bool(in_angle > resolution and in_time < _RATHER_TIME * in_angle)


def _pulses(pattern: Sequence[Cluster]) -> list[tuple[FloatArray, FloatArray]]:
    """Widths in seconds and in degrees of the shorter of the two levels, pulse by pulse."""
    count = len(pattern)
    if count < 2 or count % 2:
        return []
    both: list[list[tuple[FloatArray, FloatArray]]] = [[], []]
    for i, first in enumerate(pattern):
        second = pattern[(i + 1) % count]
        if first.edge == second.edge:
            return []
        both[i % 2].append(_widths(first, second, wraps=i == count - 1))
    shorter = min(both, key=lambda level: sum(float(np.median(w[1])) for w in level if len(w[1])))
    return [widths for widths in shorter if len(widths[0])]


def _widths(first: Cluster, second: Cluster, *, wraps: bool) -> tuple[FloatArray, FloatArray]:
    _, left, right = np.intersect1d(
        first.cycle, second.cycle - 1 if wraps else second.cycle, return_indices=True
    )
    nominal = second.angle_deg - first.angle_deg + (CYCLE_DEG if wraps else 0.0)
    width_deg = nominal + second.deviation_deg[right] - first.deviation_deg[left]
    return second.time_s[right] - first.time_s[left], width_deg
