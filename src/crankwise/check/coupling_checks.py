"""Checks of whether a channel carries its own signal, and enough of it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from crankwise.check.context import CheckContext
from crankwise.model.edges import Edges
from crankwise.model.finding import Finding
from crankwise.model.recording import BoolArray, FloatArray
from crankwise.model.teeth import IntArray
from crankwise.roles.naming import cam_name

_FEWEST_CODES = 5
"""With so few, not even which of a coil's crossings is the steep one can be told."""
_MOST_OF_A_CODE_DEG = 0.5
"""That a crossing may be off by half a code; an eighth of what counts as worn (4 degrees)."""
_CROSSTALK_SHARE = 0.04
"""Of the coil's swing, peak to peak: on a sine 1/80 of a pitch, or 0.75 degrees on six teeth."""
_LEAST_OF_A_TOOTH = 3
"""Sightings from which a median leaves one odd one out."""


def few_codes(context: CheckContext) -> Iterator[Finding]:
    """A coil's signal of so few codes that its middle lies anywhere between two of them.

    Half a code is ``pitch / (2 pi codes)`` on a sine. A sensor with two levels needs no more than
    two codes.
    """
    roles = {cam.channel: cam_name(cam.role) for cam in context.cams}
    for channel, role in {context.crank.channel: "crank", **roles}.items():
        edges = context.edges[channel]
        if edges.sensor != "variable-reluctance" or edges.codes == 0:
            continue
        pitch_deg = float(np.median(context.crank.intervals_deg))
        is_coarse = (
            channel == context.crank.channel
            and pitch_deg / (2.0 * np.pi * edges.codes) > _MOST_OF_A_CODE_DEG
        )
        if edges.codes <= _FEWEST_CODES or is_coarse:
            yield Finding(
                "few-codes",
                "caution",
                f"The {role} signal was recorded in only {edges.codes} steps from bottom to top, "
                "so its edges may be out of place. Choose a range that the signal fills, and "
                "record again.",
            )


def crosstalk(context: CheckContext) -> Iterator[Finding]:
    """A crank coil whose voltage steps up and down with a cam.

    The zero of the coil is then no longer in the middle, and its crossings come early or late.
    """
    crank = context.crank_edges
    if crank.sensor != "variable-reluctance" or len(crank.height) == 0:
        return
    for cam in context.cams:
        step = abs(_step_with(context, context.edges[cam.channel]))
        share = step / max(crank.high - crank.low, 1e-300)
        if share > _CROSSTALK_SHARE:
            yield Finding(
                "crosstalk",
                "caution",
                f"The crank signal moves by {share:.0%} of its swing with the "
                f"{cam_name(cam.role)}: one channel leaks into the other, or they share a bad "
                "ground. Crank edges may be out of place. Check the earth leads and record again.",
            )


def _step_with(context: CheckContext, cam: Edges) -> float:
    """How much higher the coil's voltage is while a cam is high, in its unit; 0 if not known.

    The peaks on both sides of a timing edge lie evenly about the coil's zero, or always unevenly
    alike, whatever the speed; so each tooth is compared with itself in turns in which the cam is
    otherwise.
    """
    crank = context.crank_edges
    tooth, after = _tooth_of(context), np.searchsorted(cam.times_s, crank.times_s)
    is_rising = context.crank.timing_edge == "rising"
    chosen = (crank.rising == is_rising) & (tooth >= 0) & (after > 0)
    chosen[0] = False  # the peak before it is not known
    index = np.flatnonzero(chosen)
    if len(index) == 0:
        return 0.0
    # Heights are counted away from the middle: before a falling edge upwards, after it downwards.
    middle = (crank.height[index - 1] - crank.height[index]) / 2.0
    middle = -middle if is_rising else middle
    steps = _differences(middle, tooth[index], cam.rising[after[index] - 1])
    return float(np.median(steps)) if steps else 0.0


def _tooth_of(context: CheckContext) -> IntArray:
    """Tooth that each crank edge follows, -1 outside the runs."""
    wheel = context.angle.teeth.wheel
    place = np.full(len(context.crank_edges.times_s), np.nan)
    for run in context.angle.runs:
        angle = run.angle_at(context.crank_edges.times_s)
        place = np.where(np.isfinite(angle), angle, place)
    # Edges of one tooth must not fall on both sides of a border.
    quarter = 0.25 * min(wheel.intervals_deg)
    known = np.isfinite(place)
    turned = np.where(known, place + quarter, 0.0) % 360.0
    tooth = np.searchsorted(wheel.angles_deg, turned, side="right") - 1
    return np.where(known, tooth, -1)


def _differences(middle: FloatArray, tooth: IntArray, is_high: BoolArray) -> list[float]:
    """Middle with the cam high less that with it low, for each tooth seen in both."""
    order = np.argsort(tooth, kind="stable")
    result = []
    for mine in np.split(order, np.flatnonzero(np.diff(tooth[order])) + 1):
        high, low = middle[mine[is_high[mine]]], middle[mine[~is_high[mine]]]
        if min(len(high), len(low)) >= _LEAST_OF_A_TOOTH:
            result.append(float(np.median(high) - np.median(low)))
    return result
