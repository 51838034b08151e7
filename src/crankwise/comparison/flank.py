"""Which flank of the crank teeth each of two recordings was timed by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from crankwise.model.measurement import CrankMeasurement

_USUAL_SHARE = 0.7
"""Of the intervals alike; of quite irregular ones the median says nothing of the widths."""
_UNLIKE_SHARE = 0.03
"""Of a pitch: teeth whose widths differ from those of the spaces by less tell no polarity."""


@dataclass(frozen=True, slots=True)
class Flank:
    """Angle that takes the subject to the known-good's flank of the crank teeth.

    Attributes
    ----------
    turn_deg : float
        To be added to the subject's angles.
    standard_deg : float
        How well it is known (standard uncertainty).
    remarks : tuple of str
        What to say of it.
    """

    turn_deg: float = 0.0
    standard_deg: float = 0.0
    remarks: tuple[str, ...] = ()


def flank_between(subject: CrankMeasurement, known_good: CrankMeasurement) -> Flank:
    """How to make both sides count from the same flank of the teeth."""
    flanks = [_flank_of(side) for side in (subject, known_good)]
    kinds = {side.sensor == "variable-reluctance" for side in (subject, known_good)}
    if len(kinds) == 2:
        half = _tooth_width(subject, known_good) / 2
        coil_is_subject = subject.sensor == "variable-reluctance"
        hall_flank = flanks[1] if coil_is_subject else flanks[0]
        # The middle of a tooth comes before its end and after its beginning.
        early = -half if hall_flank != "leading" else half
        # Where in the tooth a coil crosses depends on its shape: anywhere within half a tooth of
        # the middle is taken as equally likely (rectangular law, GUM 4.3.7).
        text = (
            "one crank sensor is a coil, timed at the middle of a tooth, the other a Hall sensor, "
            f"timed at a flank: half a tooth ({half:.1f}°) was allowed for, and shifts common to "
            "all cams are that much less certain"
        )
        turn = early if coil_is_subject else -early
        return Flank(turn, half / np.sqrt(3.0), (text,))
    if "unknown" in flanks or flanks[0] == flanks[1]:
        if subject.timing_edge != known_good.timing_edge and "unknown" in flanks and not all(kinds):
            text = (
                f"the crank was timed by its {subject.timing_edge} edges in the subject and by its "
                f"{known_good.timing_edge} ones in the known-good, and nothing tells which flank "
                "of the teeth that is"
            )
            width = _tooth_width(subject, known_good)
            return Flank(0.0, width / np.sqrt(3.0), (text,))
        return _upside_down(subject, known_good) if not any(kinds) else Flank()
    width = _tooth_width(subject, known_good)
    sign = -1.0 if flanks[0] == "leading" else 1.0
    text = (
        f"the subject was timed by the {flanks[0]} flank of the crank teeth, the known-good by the "
        f"{flanks[1]} one: the width of a tooth ({width:.2f}°) was taken into account"
    )
    return Flank(sign * width, 0.0, (text,))


def _upside_down(subject: CrankMeasurement, known_good: CrankMeasurement) -> Flank:
    """Whether two levels changed places, as their widths tell where no gap does.

    The timing edges are then the other flanks, and lie nearer those of the known-good by what is
    narrow, tooth or space. Of teeth as wide as their spaces nothing can be told.
    """
    mine, theirs = subject.other_edge_offset_deg, known_good.other_edge_offset_deg
    if mine is None or theirs is None or subject.timing_edge != known_good.timing_edge:
        return Flank()
    if known_good.repeats == 1 and np.ptp(known_good.intervals_deg) < 1e-6:
        return Flank()  # coded in its widths: they have no typical one
    pitch = float(np.median(known_good.intervals_deg))
    as_it_is, turned_over = abs(mine - theirs), abs(mine - (pitch - theirs))
    if as_it_is < _UNLIKE_SHARE * pitch:
        return Flank()
    steps = np.asarray(known_good.intervals_deg)
    is_usual = float(np.mean(np.abs(steps - pitch) < 0.1 * pitch)) > _USUAL_SHARE
    if turned_over > as_it_is / 4.0 or not is_usual:
        text = (
            "teeth and spaces of the crank signals are not equally wide, so the signal may be "
            "upside down in one of them: shifts common to all cams are that much less certain"
        )
        return Flank(0.0, max(mine, theirs) / np.sqrt(3.0), (text,))
    turn = theirs if theirs < pitch / 2.0 else theirs - pitch
    text = (
        "the crank signal of one recording is upside down against the other, as the widths of "
        f"teeth and spaces show: the narrower of them ({abs(turn):.2f}°) was taken into account"
    )
    return Flank(turn, 0.0, (text,))


def _flank_of(side: CrankMeasurement) -> str:
    if side.tooth_level == "unknown":
        return "unknown"
    ends = (side.timing_edge == "falling") == (side.tooth_level == "high")
    return "trailing" if ends else "leading"


def _tooth_width(subject: CrankMeasurement, known_good: CrankMeasurement) -> float:
    """Width of a tooth, crank degrees, from whichever side shows it; else half a pitch."""
    for side in (subject, known_good):
        offset = side.other_edge_offset_deg
        if offset is not None and _flank_of(side) == "leading":
            return offset
        if offset is not None and _flank_of(side) == "trailing":
            return side.pitch_deg - offset
    return subject.pitch_deg / 2
