"""Why a cause, and of what size, in plain sentences with numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from crankwise.comparison.words import signed
from crankwise.drive.growth import cam_sprockets
from crankwise.drive.likelihood import likeliest_sizes
from crankwise.drive.path import tight_length_mm
from crankwise.drive.scoring import effect, observed, uncertainty
from crankwise.model.policy import HEALTHY, NONE_OF_THESE, WRONG_REFERENCE
from crankwise.roles.naming import cam_name

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.drive.evidence import CauseEvidence
    from crankwise.drive.hypotheses import Hypothesis
    from crankwise.drive.signature import FreeSize, Signature
    from crankwise.model.engine import Engine
    from crankwise.model.policy import CausePolicy
    from crankwise.model.recording import FloatArray

_CLEAR = 2.0
"""Standard deviations from which a difference is called one."""

_SAME, _SHOWN = 0.15, 0.05
"""Differences that aren't worth a second number, and shifts that round to one, crank degrees."""

_ALIKE = 0.1
"""Cams that shift alike within this share can't be told from a moved crank target by phase."""

_BEFORE_ALL = ("elongated", "guide-worn", "jumped")
"""Faults that may lie before all cams."""

_RULES = {
    "elongated": "a longer strand makes cams late and never early",
    "guide-worn": "what is pulled over that guide comes late and nothing else",
    "slack-side": "the tight strand still holds the mean places, only the cycles scatter",
    "jumped": "whole teeth and nothing between",
    "phaser-off-stop": "one cam alone, within its range",
    "crank-target": "every cam alike, early or late, while the valves are in time",
    "cam-target": "one cam alone, early or late, while the valves are in time",
}
_RIPPLE_MISSING = (
    "The recordings hold no crank ripple to go by, and phase alone can't tell a worn chain before "
    "all cams from a moved crank target."
)


def likeliest(
    hypothesis: Hypothesis, evidence: CauseEvidence, policy: CausePolicy
) -> list[tuple[Signature, FloatArray]]:
    """Each fault of a hypothesis with its likeliest sizes."""
    sizes = likeliest_sizes(
        observed(evidence),
        matrix=effect(hypothesis, evidence),
        covariance=uncertainty(hypothesis, evidence, policy),
        sizes=hypothesis.sizes,
    )
    ends = np.cumsum([len(fault.sizes) for fault in hypothesis.faults])
    return list(zip(hypothesis.faults, np.split(sizes, ends[:-1]), strict=True))


def size_words(engine: Engine, faults: Sequence[tuple[Signature, FloatArray]]) -> str:
    """Likeliest size of each fault, in words; empty where none has a size."""
    words = [_size(engine, fault, sizes) for fault, sizes in faults]
    return ", and ".join(word for word in words if word)


def because(
    hypothesis: Hypothesis,
    evidence: CauseEvidence,
    policy: CausePolicy,
    faults: Sequence[tuple[Signature, FloatArray]],
) -> str:
    """Say what speaks for a hypothesis and what it leaves unexplained."""
    seen = seen_words(evidence)
    if hypothesis.key == HEALTHY:
        return f"{seen}: {_against_healthy(evidence)}."
    if hypothesis.key == WRONG_REFERENCE:
        return f"{seen}. Another build, engine or state may differ like this, without any fault."
    if hypothesis.key == NONE_OF_THESE:
        return f"{seen}. What was not thought of may give any shifts; nothing else speaks for it."
    given = sum((fault.matrix(evidence.roles) @ sizes for fault, sizes in faults), start=0.0)
    parts = [
        f"{seen}. {_explained(hypothesis, np.asarray(given), evidence, policy)}",
        _scatter(hypothesis, evidence),
        _movement(hypothesis, evidence),
        _ripple(hypothesis, np.asarray(given), evidence),
    ]
    return " ".join(part for part in parts if part)


def seen_words(evidence: CauseEvidence) -> str:
    """Shift of every cam, in words: ``exhaust 3.9° late, intake in place``."""
    standard = np.sqrt(np.diag(evidence.measurement_cov))
    words = [
        f"{role} {late(shift)}" if abs(shift) > _CLEAR * u else f"{role} in place"
        for role, shift, u in zip(evidence.roles, evidence.shifts_deg, standard, strict=True)
    ]
    return "Seen: " + ", ".join(words)


def late(shift_deg: float) -> str:
    """Write a shift in words.

    >>> late(3.94), late(-0.5)
    ('3.9° late', '0.5° early')
    """
    return f"{abs(shift_deg):.1f}° {'late' if shift_deg >= 0 else 'early'}"


def _against_healthy(evidence: CauseEvidence) -> str:
    times = np.abs(evidence.shifts_deg) / np.sqrt(np.diag(evidence.covariance))
    worst = int(np.argmax(times))
    return (
        f"{evidence.roles[worst]} is furthest off, by {times[worst]:.1f} standard deviations of "
        "what healthy engines differ by here"
    )


def _explained(
    hypothesis: Hypothesis, given: FloatArray, evidence: CauseEvidence, policy: CausePolicy
) -> str:
    """Say what the likeliest sizes give, by which rule, and what they leave."""
    rules = "; ".join(dict.fromkeys(_RULES[fault.fault] for fault in hypothesis.faults))
    rest = evidence.shifts_deg - given
    variance = np.diag(uncertainty(hypothesis, evidence, policy))[: len(rest)]
    off = np.abs(rest) / np.sqrt(variance)
    worst = int(np.argmax(off))
    pairs = zip(evidence.roles, given, strict=True)
    gives = ", ".join(f"{role} {late(g)}" for role, g in pairs if abs(g) >= _SHOWN)
    if np.abs(rest).max() <= _SAME:
        text = f"This gives just that: {rules}"
    else:
        text = f"At its likeliest size this gives {gives or 'no shift'}: {rules}"
    if off[worst] > _CLEAR:
        return f"{text}; {abs(rest[worst]):.1f}° at {evidence.roles[worst]} stays unexplained."
    return f"{text}."


def _scatter(hypothesis: Hypothesis, evidence: CauseEvidence) -> str:
    """Mention scatter where the cause hints at it or the cam shows it."""
    ratios = evidence.scatter_ratio
    if not np.isfinite(ratios).any():
        return ""
    expected = np.array([hypothesis.scatter_factor(role) for role in evidence.roles])
    most = int(np.nanargmax(np.where(np.isfinite(ratios), np.maximum(expected, ratios), np.nan)))
    if max(expected[most], ratios[most]) < 1.4:
        return ""
    typical = f"{expected[most]:g} times is typical" if expected[most] > 1 else "it wouldn't"
    return (
        f"From cycle to cycle {evidence.roles[most]} scatters {ratios[most]:.1f} times as much as "
        f"in the known-good, where {typical}."
    )


def _movement(hypothesis: Hypothesis, evidence: CauseEvidence) -> str:
    moving = np.nan_to_num(evidence.moving_deg)
    if not np.any(moving > 0.0):
        return ""
    most = int(np.argmax(moving))
    role = evidence.roles[most]
    fits = "as a loose phaser does" if hypothesis.moves(role) else "which this doesn't explain"
    return f"The {cam_name(role)} moved by {moving[most]:.1f}° while recording, {fits}."


def _ripple(hypothesis: Hypothesis, given: FloatArray, evidence: CauseEvidence) -> str:
    """Name the evidence that tells a moved crank target from all that moves every cam alike."""
    is_target = any(fault.fault == "crank-target" for fault in hypothesis.faults)
    strands = any(fault.fault in _BEFORE_ALL for fault in hypothesis.faults)
    most = float(np.abs(given).max())
    is_alike = strands and most > 0.0 and float(np.ptp(given)) <= _ALIKE * most
    if not is_target and not is_alike:
        return ""
    if evidence.ripple_shift_deg is None or evidence.ripple_standard_deg is None:
        return _RIPPLE_MISSING
    shift, expanded = evidence.ripple_shift_deg, 1.96 * evidence.ripple_standard_deg
    expected = float(given.mean()) if is_target else 0.0
    fits = abs(shift - expected) <= _CLEAR * evidence.ripple_standard_deg
    return (
        f"The crank's own ripple shifted by {signed(shift)} ± {expanded:.1f}° against the gap, "
        f"where this gives {signed(expected)}: {'it fits' if fits else 'it does not fit'}."
    )


def _size(engine: Engine, fault: Signature, sizes: FloatArray) -> str:
    pairs = list(zip(fault.sizes, sizes.tolist(), strict=True))
    if fault.fault == "phaser-off-stop":
        return f"{abs(pairs[0][1]):.1f}° off its parked position, {_side(pairs[0][1])}"
    words = [_one_size(size, value) for size, value in pairs if abs(value) > 0.005]
    if fault.fault == "elongated" and words and pairs[0][0].unit == "%":
        words += _strand(engine, fault, pairs[0][1])
    return ", ".join(words)


def _one_size(size: FreeSize, value: float) -> str:
    if size.unit == "%":
        return f"{value:.2f} % elongation"
    if size.unit == "mm":
        return f"{value:.1f} mm {size.name.removeprefix('length ')}"
    if size.unit == "teeth":
        return f"{abs(value):.0f} {'tooth' if abs(value) == 1 else 'teeth'} {_side(value)}"
    if size.low >= 0.0:
        return f"{value:.1f}° {size.name}"
    return late(value) + (", whole teeth of unknown size" if size.least else "")


def _side(value: float) -> str:
    return "late" if value >= 0 else "early"


def _strand(engine: Engine, fault: Signature, percent: float) -> list[str]:
    """Millimetres by which the tight strands up to the last cam have grown."""
    name = fault.key.partition(":")[2]
    drive = next(drive for drive in engine.drives if drive.name == name)
    length_mm = tight_length_mm(drive, cam_sprockets(engine, drive)[-1])
    return [] if length_mm is None else [f"{length_mm * percent / 100:.1f} mm of the tight strands"]
