"""Checks of the crank signal and the engine's speed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from crankwise.angle.sparse import FEWEST_TOLD, off_neighbours_deg
from crankwise.check.context import CheckContext
from crankwise.model.finding import Finding

_SURE = 0.95
_SCATTER_SHARE = 0.2
"""Of a pitch, the standard deviation of the teeth: no wheel is made so badly, and another one with
a few teeth more or less fits as well."""
_FEWEST_BESIDE_GAP = 12
_GAP_LOG, _GAP_TIMES = 0.16, 8.0
"""A coil sees the teeth beside a gap up to 0.7 degrees off (8 % of a gap of 18 degrees); a gap that
is a pitch wider or narrower is off by 0.22 and more, up to gaps of five pitches."""
_DAMAGE_DEG = 0.8
_DAMAGE_TIMES = 8.0
_MISSING_SHARE = 0.4
_UNSTEADY = 0.15
_FEW_TEETH = 24
_IDLE_LIMIT_RPM = 1200.0
"""Published monitors compare the positions below 1200 rpm only (GM documents 134405, 164910)."""
_RUNOUT = 0.12


def wheel_unsure(context: CheckContext) -> Iterator[Finding]:
    """The wheel, or which repeat of it, is not beyond doubt."""
    choice = context.crank.choice
    scatter = context.angle.tooth_error_sd_deg
    if scatter > _SCATTER_SHARE * context.crank.pitch_deg:
        yield Finding(
            "wheel-unsure",
            "caution",
            f"The teeth of the crank signal lie {scatter:.1f}° about their places on a "
            f"{context.crank.wheel} wheel: it is another wheel, or the signal is not that of one "
            "wheel all the time. Check the probe and record again.",
        )
    elif _gap_is_off(context):
        yield Finding(
            "wheel-unsure",
            "caution",
            f"The gap of the crank signal is not as wide as that of a {context.crank.wheel} wheel: "
            "it is another wheel, or the engine slows down there every turn. Record the engine at "
            "a steadier speed, or add its wheel to the catalogue.",
        )
    elif choice.confidence < 0.999 * _SURE and not context.angle.teeth.wheel.learned:
        rival = f" The next best is {choice.runner_up}." if choice.runner_up else ""
        yield Finding(
            "wheel-unsure",
            "caution",
            f"The crank wheel is probably {context.crank.wheel} "
            f"({choice.confidence:.0%} sure).{rival} Record longer and at a steadier speed.",
        )


def _gap_is_off(context: CheckContext) -> bool:
    """Whether the engine would have to change its speed in the gap as it does nowhere else.

    Compared is the logarithm of the time a degree takes, in each interval against the two on
    either side, median over the turns.
    """
    wheel = context.angle.teeth.wheel
    steps, count = np.asarray(wheel.intervals_deg), wheel.teeth_per_rev
    is_gap = steps > 1.5 * steps.min()
    if not wheel.has_gap or wheel.learned or count < _FEWEST_BESIDE_GAP:
        return False
    tooth, off = [np.empty(0, dtype=np.int64)], [np.empty(0)]
    for run in context.angle.teeth.runs:
        slow = np.log(np.diff(run.times_s) / np.diff(run.angles_deg(wheel)))
        if len(slow) >= 5:  # an interval and its two neighbours on either side
            off.append(slow[2:-2] - (slow[:-4] + slow[1:-3] + slow[3:-1] + slow[4:]) / 4.0)
            tooth.append(run.number[2:-3] % count)
    which, values = np.concatenate(tooth), np.concatenate(off)
    typical = np.array([float(np.median(values[which == k])) if (which == k).any() else 0.0
                        for k in range(count)])  # fmt: skip
    # Two intervals on either side of a gap are compared with it.
    clear = ~np.any([np.roll(is_gap, by) for by in range(-2, 3)], axis=0)
    if not clear.any():
        return False
    spread = 1.482602 * float(np.median(np.abs(typical[clear])))
    return bool((np.abs(typical[is_gap]) > max(_GAP_LOG, _GAP_TIMES * spread)).any())


def wheel_learned(context: CheckContext) -> Iterator[Finding]:
    """No wheel of the catalogue fits."""
    if context.angle.teeth.wheel.learned:
        yield Finding(
            "wheel-learned",
            "caution",
            f"No wheel of the catalogue fits; one with {context.crank.teeth_per_rev} teeth was "
            "learned from this recording. Its spacing is as good as the speed was steady: compare "
            "only with recordings of the same engine, or add the wheel to the catalogue.",
        )


def damaged_tooth(context: CheckContext) -> Iterator[Finding]:
    """A tooth that is missing turn after turn, or far out of place."""
    count = context.crank.teeth_per_rev
    lost = _lost_share(context)
    for tooth in np.flatnonzero(lost > _MISSING_SHARE).tolist():
        yield Finding(
            "damaged-tooth",
            "fault",
            f"Crank tooth {tooth + 1} after the zero made no edge in {lost[tooth]:.0%} of the "
            "revolutions: look for a broken tooth, debris on the wheel, or too wide an air gap; "
            "or the catalogue lacks this wheel.",
        )
    if len(context.angle.tooth_error_deg):
        # Part of a lone tooth's error passes for speed; what was learned is scaled up to the whole.
        error = context.angle.tooth_error_deg / context.angle.learned_share
    elif count >= FEWEST_TOLD:
        error = off_neighbours_deg(context.angle.teeth)
    else:
        return
    spread = 1.482602 * float(np.median(np.abs(error)))
    limit = max(_DAMAGE_DEG, _DAMAGE_TIMES * spread)
    steps = np.asarray(context.crank.intervals_deg)
    for tooth in _lone(np.abs(error), limit):
        # Coils see the teeth on both sides of a gap out of place; that is no damage.
        beside_gap = max(steps[tooth], steps[tooth - 1]) > 1.5 * context.crank.pitch_deg
        if lost[tooth] > _MISSING_SHARE or (beside_gap and context.crank.sensor != "hall"):
            continue
        yield Finding(
            "damaged-tooth",
            "fault",
            f"Crank tooth {tooth + 1} of {count} after the zero comes {abs(error[tooth]):.1f}° "
            f"{'late' if error[tooth] > 0 else 'early'} every revolution "
            f"(others scatter by {spread:.2f}°): look for a bent tooth.",
        )


def _lone(size: np.ndarray, limit: float) -> list[int]:
    """Largest of each group of neighbouring teeth over the limit.

    One bad tooth pulls the curve, and with it the teeth beside it, out of place.
    """
    chosen: list[int] = []
    half = len(size) // 2
    for tooth in np.argsort(-size).tolist():
        near = [abs((tooth - other + half) % len(size) - half) for other in chosen]
        if size[tooth] > limit and all(apart > 2 for apart in near):
            chosen.append(tooth)
    return sorted(chosen)


def _lost_share(context: CheckContext) -> np.ndarray:
    """Share of the revolutions in which each tooth made no edge, shape (teeth,)."""
    count = context.crank.teeth_per_rev
    seen, expected = np.zeros(count), np.zeros(count)
    for run in context.angle.teeth.runs:
        seen += np.bincount(run.number % count, minlength=count)
        every = np.arange(run.number[0], run.number[-1] + 1)
        expected += np.bincount(every % count, minlength=count)
    return np.asarray(1.0 - seen / np.maximum(expected, 1.0))


def teeth_lost(context: CheckContext) -> Iterator[Finding]:
    """Edges missing or added here and there."""
    rejected = context.crank.rejected
    lost = _lost_share(context)
    # What is missing in most turns is told as a damaged tooth, not as a stray loss.
    steady = float(lost[lost > _MISSING_SHARE].sum()) * (context.crank.revolutions + 1)
    missing = max(rejected.missing - int(np.ceil(steady)), 0)
    if missing == 0 and rejected.extra == 0:
        return
    yield Finding(
        "edges-repaired",
        "note" if missing + rejected.extra < 5 else "caution",
        f"In the crank signal {missing} teeth made no edge and {rejected.extra} edges belonged to "
        "no tooth; both were found by their place and left out. If there are many, check the "
        "probe's contact and its earth.",
    )


def too_few_teeth(context: CheckContext) -> Iterator[Finding]:
    """A wheel with so few teeth that speed ripple between them stays unseen."""
    teeth = context.crank.teeth_per_rev
    if teeth < _FEW_TEETH:
        yield Finding(
            "few-crank-teeth",
            "caution",
            f"The crank wheel has {teeth} teeth a revolution: how the speed changes between them "
            "can only be estimated, and the uncertainty is wide. Compare with recordings taken in "
            "the same way.",
        )


def target_runout(context: CheckContext) -> Iterator[Finding]:
    """A coil's amplitude that swings once a turn."""
    edges = context.crank_edges
    if edges.sensor != "variable-reluctance" or len(edges.height) == 0:
        return
    depth = _once_a_turn(context)
    if depth > _RUNOUT:
        yield Finding(
            "target-runout",
            "note" if depth < 2 * _RUNOUT else "caution",
            f"The crank sensor's amplitude swings by ±{depth:.0%} once a revolution: the wheel "
            "runs out or the sensor sits loose. Angles may be off by a few tenths of a degree, "
            "alike in every recording of this engine.",
        )


def _once_a_turn(context: CheckContext) -> float:
    """Relative amplitude of the first order of peak height over speed."""
    edges = context.crank_edges
    sums, weight = 0.0 + 0.0j, 0.0
    for run, fitted in zip(context.angle.teeth.runs, context.angle.runs, strict=True):
        index = np.clip(np.searchsorted(edges.times_s, run.times_s), 0, len(edges.height) - 1)
        angle = fitted.angle_at(run.times_s)
        regular = np.isfinite(angle)
        # The peaks beside the gap are taller for their own reasons.
        height = edges.height[index] / fitted.speed_rpm_at(np.nan_to_num(angle))
        regular &= height < 1.5 * np.median(height[regular])
        sums += complex((height[regular] * np.exp(1j * np.deg2rad(angle[regular]))).sum())
        weight += float(height[regular].sum())
    return 2.0 * abs(sums) / weight if weight else 0.0


def leads_reversed(context: CheckContext) -> Iterator[Finding]:
    """A coil whose sharp crossing rises: its two leads, or the probe's, are the other way round."""
    if context.crank.sensor == "variable-reluctance" and context.crank.timing_edge == "rising":
        yield Finding(
            "leads-reversed",
            "note",
            "The crank coil's sharp crossing rises; usual wiring makes it fall. Probably the probe "
            "leads are swapped. That does no harm here: the sharp edge is used, whichever it is.",
        )


def speed_unsteady(context: CheckContext) -> Iterator[Finding]:
    """The speed changed a good deal during the recording."""
    speed = np.asarray(context.crank.speed_trace.speed_rpm)
    if len(speed) < 8:
        return
    smooth = np.convolve(speed, np.ones(4) / 4, mode="valid")
    swing = float((smooth.max() - smooth.min()) / smooth.mean())
    if swing > _UNSTEADY:
        teeth = context.crank.teeth_per_rev
        if teeth < _FEW_TEETH:
            yield Finding(
                "speed-unsteady",
                "caution",
                f"The speed went from {smooth.min():.0f} to {smooth.max():.0f} rpm. How it changes "
                f"between {teeth} teeth a revolution is a guess then, and angles may be off by "
                "more than stated: hold the idle steady and record again.",
            )
            return
        yield Finding(
            "speed-unsteady",
            "note",
            f"The speed went from {smooth.min():.0f} to {smooth.max():.0f} rpm. Sensor delays turn "
            "into different angles at different speeds: hold the idle steady for a base-timing "
            "measurement.",
        )


def speed_above_idle(context: CheckContext) -> Iterator[Finding]:
    """Faster than the speed up to which makers compare crank and cam."""
    mean = context.crank.speed_rpm.mean
    if mean > _IDLE_LIMIT_RPM:
        yield Finding(
            "above-idle",
            "note",
            f"Recorded at {mean:.0f} rpm. Makers compare crank and cam below "
            f"{_IDLE_LIMIT_RPM:.0f} rpm, where phasers are parked; record at idle as well.",
        )
