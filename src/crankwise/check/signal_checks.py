"""Checks of how the signals were recorded."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from crankwise.check.context import CheckContext
from crankwise.model.finding import Finding
from crankwise.roles.naming import cam_name
from crankwise.units import rpm_to_deg_per_s

_COARSE_STEP_DEG = 0.5
_GOOD_STEP_DEG = 0.1
_CLIPPED = 0.002
_CUT_TO_LEVELS = 0.3
"""A sine so cut off stays at its limits as a signal of two levels does (arcsine law: below 0.89
of its height)."""
_NOISY = 0.08


def _roles(context: CheckContext) -> dict[str, str]:
    roles = {cam.channel: cam_name(cam.role) for cam in context.cams}
    return {context.crank.channel: "crank", **roles}


def sampled_too_slowly(context: CheckContext) -> Iterator[Finding]:
    """One sample is a large angle: says what rate would do."""
    interval_s = context.recording.interval_s
    if interval_s is None:
        return
    speed = rpm_to_deg_per_s(context.crank.speed_rpm.mean)
    step_deg = interval_s * speed
    if step_deg > _COARSE_STEP_DEG:
        nice = _next_round(speed / _GOOD_STEP_DEG)
        yield Finding(
            "sampled-slowly",
            "caution",
            f"One sample is {step_deg:.2f} crank degrees. Set the scope to {nice:,.0f} samples "
            "a second or more on each channel for a tenth of a degree.",
        )


def _next_round(rate_hz: float) -> float:
    """The next of 1, 2, 5, 10, … at or above.

    >>> _next_round(42_000.0)
    50000.0
    """
    decade = 10.0 ** np.floor(np.log10(rate_hz))
    return float(next(step * decade for step in (1, 2, 5, 10) if step * decade >= rate_hz))


def clipped(context: CheckContext) -> Iterator[Finding]:
    """Signals cut off by the scope's range."""
    for channel, role in _roles(context).items():
        share = context.edges[channel].clipped_fraction
        is_square = context.edges[channel].sensor != "variable-reluctance"
        if role == "crank" and is_square and share > _CUT_TO_LEVELS:
            yield Finding(
                "clipped",
                "caution",
                f"{share:.1%} of the {role} signal lies beyond the scope's range: what is left "
                "does not tell a coil from a sensor with two levels, nor which of its edges "
                "count. Choose a wider range and record again.",
            )
        elif share > _CLIPPED:
            yield Finding(
                "clipped",
                "note",
                f"{share:.1%} of the {role} signal lies beyond the scope's range. Crossings are "
                "still good; choose a wider range to see the peaks.",
            )


def noisy(context: CheckContext) -> Iterator[Finding]:
    """Noise that is large beside the signal."""
    for channel, role in _roles(context).items():
        edges = context.edges[channel]
        span = edges.high - edges.low
        if span > 0 and edges.noise > _NOISY * span:
            yield Finding(
                "noisy",
                "note",
                f"The noise on the {role} signal is {edges.noise / span:.0%} of its swing. Check "
                "the earth lead and keep the probe away from ignition parts.",
            )


def dropout(context: CheckContext) -> Iterator[Finding]:
    """Samples or edges lost."""
    for channel, role in _roles(context).items():
        edges = context.edges[channel]
        lost = edges.rejected.get("dropout", 0)
        if lost or edges.dead_time_s > 0:
            yield Finding(
                "dropout",
                "caution",
                f"The {role} signal has {edges.dead_time_s * 1000:.1f} ms without samples and "
                f"{lost} edges beside them were left out. Check the connection and the scope's "
                "memory.",
            )


def glitches(context: CheckContext) -> Iterator[Finding]:
    """Pulses far too short for teeth."""
    for channel, role in _roles(context).items():
        count = context.edges[channel].rejected.get("glitch", 0) // 2
        if count:
            yield Finding(
                "glitches",
                "note",
                f"{count} pulses on the {role} signal were far too short for teeth and were left "
                "out: interference from ignition, most likely.",
            )
