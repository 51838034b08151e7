"""All checks in the order in which their findings are told."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from crankwise.check import cam_checks, coupling_checks, crank_checks, doubt_checks, signal_checks
from crankwise.check.context import CheckContext
from crankwise.model.finding import Finding

Check = Callable[[CheckContext], Iterable[Finding]]

CHECKS: tuple[Check, ...] = (
    crank_checks.wheel_unsure,
    crank_checks.wheel_learned,
    crank_checks.damaged_tooth,
    crank_checks.teeth_lost,
    crank_checks.too_few_teeth,
    crank_checks.target_runout,
    crank_checks.leads_reversed,
    crank_checks.speed_unsteady,
    crank_checks.speed_above_idle,
    cam_checks.no_cam,
    cam_checks.cycle_unknown,
    cam_checks.too_short,
    cam_checks.phaser_moving,
    cam_checks.just_started,
    cam_checks.wide_scatter,
    cam_checks.parking_not_shown,
    doubt_checks.pattern_broken,
    doubt_checks.parts_disagree,
    doubt_checks.crank_doubtful,
    doubt_checks.cam_left_out,
    doubt_checks.cam_doubtful,
    doubt_checks.levels_wander,
    coupling_checks.few_codes,
    coupling_checks.crosstalk,
    signal_checks.sampled_too_slowly,
    signal_checks.clipped,
    signal_checks.noisy,
    signal_checks.dropout,
    signal_checks.glitches,
)


def recording_check(context: CheckContext) -> tuple[Finding, ...]:
    """Findings of every check; a new check is a function added to ``CHECKS``."""
    return tuple(finding for check in CHECKS for finding in check(context))
