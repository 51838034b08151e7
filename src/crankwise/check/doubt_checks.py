"""Checks of whether channels, parts of the recording and patterns belong together.

What does not belong together is measured all the same, and then looks as sure as anything else.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from crankwise.check.context import CheckContext
from crankwise.model.edges import Edges
from crankwise.model.finding import Finding
from crankwise.model.measurement import CamEdge, CamMeasurement
from crankwise.roles.naming import cam_name
from crankwise.units import CYCLE_DEG, wrap_signed_deg

_SEEN_SHARE = 0.75
_REJECTED_SHARE = 0.25
_STRAY_SHARE = 0.06
_SPREAD_DEG, _SPREAD_TIMES = 1.5, 6.0
"""One edge that scatters by so much, and by so much more than the steadiest, is no one edge."""
_MOST_SPREAD_DEG = 7.0
"""Nor is one that scatters by so much, ten times what chain dynamics do, whatever the others do."""
_FEW_TEETH = 24
_MORE_EDGES = 4
"""Times as many edges: no cam, coil or injector of an engine changes so much oftener than its crank
wheel, but a crank wheel does so against a cam."""
_ALIKE_DEG = 4.0
_NARROW_DEG = 18.0
"""An injector open for 3 ms at idle makes pulses of 15 degrees; common practice, no source."""
_EVEN = 0.04
_JUMP_SHARE = 0.35
_JUMP_SAMPLES = 30.0
_CUT_SHARE = 0.8
"""A sine cut off so low that it jumps like this stands at its limits for longer (arcsine law)."""


def pattern_broken(context: CheckContext) -> Iterator[Finding]:
    """A cam pattern that one target can't make, or that is not there all the time."""
    possible = context.crank.revolutions / 2.0 - len(context.angle.runs)
    for cam in context.cams:
        reason = _broken(cam, possible, stray=context.stray.get(cam.channel, 0.0))
        if reason:
            yield Finding(
                "pattern-broken",
                "caution",
                f"The pattern of the {cam_name(cam.role)} is not whole: {reason}. Edges are lost "
                "or added, or the recording holds two engines or has lost samples: don't rely on "
                "the angles of this cam.",
            )


def _broken(cam: CamMeasurement, possible: float, *, stray: float) -> str:
    """What is wrong with a pattern, in words; empty if nothing is."""
    edges = cam.edges
    if any(edge.edge == before.edge for before, edge in _neighbours(edges)):
        return "rising and falling edges do not alternate"
    least = min((edge.count for edge in edges), default=0)
    if edges and least < _SEEN_SHARE * possible:
        return f"one of its edges was seen in only {least} cycles of {int(possible) + 1}"
    if stray > _STRAY_SHARE:
        return f"{stray:.0%} of the edges lie elsewhere"
    if any(edge.rejected > max(_REJECTED_SHARE * edge.count, 1.0) for edge in edges):
        return "edges often come far from their place"
    if cam.moving_deg == 0 and _one_wanders([edge.scatter_deg for edge in edges]):
        return "one of its edges wanders while the others stand"
    return ""


def _neighbours(edges: Sequence[CamEdge]) -> Iterator[tuple[CamEdge, CamEdge]]:
    """Each edge with the one before it in the cycle."""
    for place, edge in enumerate(edges):
        yield edges[place - 1], edge


def _one_wanders(scatter_deg: Sequence[float]) -> bool:
    limit = max(_SPREAD_DEG, _SPREAD_TIMES * min(scatter_deg, default=0.0))
    limit = min(limit, _MOST_SPREAD_DEG)
    return max(scatter_deg, default=0.0) > limit


def parts_disagree(context: CheckContext) -> Iterator[Finding]:
    """Parts of the recording in which the cams lie elsewhere."""
    if context.apart:
        yield Finding(
            "parts-disagree",
            "caution",
            "In part of the recording the cams lie elsewhere against the crank; that part was left "
            "out, and which part is right is open. Samples were lost in one channel, the timing "
            "changed on the way, or two recordings stand in one file: record again.",
        )


def crank_doubtful(context: CheckContext) -> Iterator[Finding]:
    """A channel taken for the crank that may well be a cam."""
    teeth = context.crank.teeth_per_rev
    if teeth >= _FEW_TEETH and context.crank.repeats == 1:
        return
    rival = _rival(context)
    if rival:
        yield Finding(
            "crank-doubtful",
            "caution",
            f"'{context.crank.channel}' was taken for the crank, but {rival}: it may be a cam "
            "itself. Check which probe sat where, and name the crank channel.",
        )
        return
    # Counted as they came: where few cycles were seen, not all edges make it into a pattern.
    count = len(context.crank_edges.times_s)
    is_slow = any(len(context.edges[cam.channel].times_s) >= count for cam in context.cams)
    turns_with_it = not context.crank.cycle_known and all(
        _repeats(cam) for cam in context.cams if cam.edges
    )
    if is_slow or turns_with_it or any(_turns_too_often(cam) for cam in context.cams):
        yield Finding(
            "crank-doubtful",
            "caution",
            f"'{context.crank.channel}' was taken for the crank, but the cams come back as often "
            "as it does: it may be a cam itself, and the true crank is missing or on another "
            "channel. Check which probe sat where.",
        )


def _rival(context: CheckContext) -> str:
    """Why another channel may be the crank instead of one with few teeth; empty if none may."""
    if context.roles.fixed:
        return ""  # the user said which channels count
    others = [name for name in context.edges if name != context.crank.channel]
    named = [name for name in others if context.roles.hints[name].kind == "crank"]
    if named and not context.cams:
        return f"'{named[0]}' is named like it, and no cam fits"
    least = _MORE_EDGES * len(context.crank_edges.times_s)
    busiest = max(others, key=lambda name: _changes(context.edges[name]), default="")
    if busiest and _changes(context.edges[busiest]) >= least:
        return f"'{busiest}' changes far more often"
    return ""


def _changes(edges: Edges) -> int:
    """How often a channel changes, also where that is too fast for edges."""
    return len(edges.times_s) + edges.rejected.get("too-fast", 0)


def _repeats(cam: CamMeasurement) -> bool:
    """Whether the pattern of a cam comes back after one revolution of the crank."""
    return _comes_back(cam, CYCLE_DEG / 2)


def _turns_too_often(cam: CamMeasurement) -> bool:
    """Whether a pattern of unlike teeth comes back three times a cycle or more often."""
    return any(
        len(cam.edges) % times == 0 and len(cam.edges) >= 4 * times
        and _comes_back(cam, CYCLE_DEG / times)
        for times in range(3, 9)
    ) and not _comes_back(cam, CYCLE_DEG * 2 / max(len(cam.edges), 1))  # fmt: skip


def _comes_back(cam: CamMeasurement, after_deg: float) -> bool:
    angle = np.array([edge.angle_deg for edge in cam.edges])
    rising = np.array([edge.edge == "rising" for edge in cam.edges])
    for each in (True, False):
        ours = angle[rising == each]
        if len(ours):
            apart = np.abs(wrap_signed_deg(ours[:, None] + after_deg - ours[None, :])).min(axis=1)
            if apart.max() > _ALIKE_DEG:
                return False
    return True


def cam_left_out(context: CheckContext) -> Iterator[Finding]:
    """A channel that is named like a cam but was not measured as one."""
    if context.roles.fixed:
        return  # the user said which channels count
    measured = {cam.channel for cam in context.cams}
    for channel, hint in context.roles.hints.items():
        if hint.kind != "cam" or channel in measured or channel == context.crank.channel:
            continue
        yield Finding(
            "cam-left-out",
            "caution",
            f"'{channel}' is named like a cam but was left out, because its edges make no cam "
            "pattern against this crank. Check its probe, and whether the names are right.",
        )


def cam_doubtful(context: CheckContext) -> Iterator[Finding]:
    """Narrow, even pulses: ignition and injection come at fixed angles too."""
    for cam in context.cams:
        named = context.roles.hints[cam.channel].kind or cam.channel in set(
            context.roles.fixed.values()
        )
        if not named and _is_even_and_narrow(cam):
            yield Finding(
                "cam-doubtful",
                "caution",
                f"'{cam.channel}' was taken for the {cam_name(cam.role)}, but its pulses are short "
                "and all alike: ignition or injection looks so as well. Name the channels.",
            )


def _is_even_and_narrow(cam: CamMeasurement) -> bool:
    """Whether all pulses have one width, under that of a cam tooth."""
    angle = np.array([edge.angle_deg for edge in cam.edges])
    if len(angle) < 2 or len(angle) % 2:
        return False
    steps = np.diff(np.append(angle, angle[0] + CYCLE_DEG))
    width = min(steps[::2], steps[1::2], key=lambda part: float(part.mean()))
    return bool(width.mean() < _NARROW_DEG and np.ptp(width) <= max(_EVEN * width.mean(), 0.5))


def levels_wander(context: CheckContext) -> Iterator[Finding]:
    """A signal that jumps like a sensor with two levels but does not keep them.

    A coil's voltage goes from one side to the other for about as long as a tooth passes. One that
    gets across within two samples, while its edges lie thirty and more apart, comes from another
    sensor, through AC coupling or with its range changed on the way.
    """
    roles = {cam.channel: cam_name(cam.role) for cam in context.cams}
    for channel, role in {context.crank.channel: "crank", **roles}.items():
        edges = context.edges[channel]
        interval_s = context.recording.interval_s
        if interval_s is None or edges.jumps == 0 or edges.clipped_fraction > _CUT_SHARE:
            continue
        apart = float(np.percentile(np.diff(edges.times_s), 10.0)) / interval_s
        if apart > _JUMP_SAMPLES and edges.jumps > _JUMP_SHARE * len(edges.times_s):
            yield Finding(
                "levels-wander",
                "caution",
                f"The {role} signal jumps between two levels but does not keep them: AC coupling, "
                "a range changed while recording, or a bad ground. Its edges may be out of place. "
                "Set the channel to DC coupling and record again.",
            )
