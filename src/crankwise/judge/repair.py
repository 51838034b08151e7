"""Whether a repair is right, what remains, and whether the result may become a known-good."""

from __future__ import annotations

from crankwise.compare.words import signed
from crankwise.model.comparison import CamShift, Comparison, RepairCheck

_SPOILING = {
    "phaser-moving": "a phaser moved",
    "wheel-unsure": "the crank wheel is not sure",
    "damaged-tooth": "a crank tooth is damaged",
    "too-short": "too few cycles were recorded",
    "wide-scatter": "a cam scatters more than usual",
    "edges-disagree": "a cam's edges don't move alike",
}


def repair_check(after: Comparison, before: tuple[CamShift, ...]) -> RepairCheck:
    """Judge the engine after a repair, beside what it was before.

    Parameters
    ----------
    after : Comparison
        After the repair, judged.
    before : tuple of CamShift
        Shifts before it, against the same known-goods.
    """
    is_right = after.verdict.level == "in-time"
    remains: list[str] = []
    earlier = {cam.role: cam for cam in before}
    for cam in after.cams:
        was = earlier.get(cam.role)
        then = f"{signed(was.shift_deg)} ± {was.uncertainty_deg:.1f}°" if was else "not measured"
        now = f"{signed(cam.shift_deg)} ± {cam.uncertainty_deg:.1f}°"
        inside = cam.healthy is None or cam.healthy.contains(cam.shift_deg)
        place = "within" if inside else "still beyond"
        remains.append(f"{cam.role} cam: before {then}, now {now}, {place} the healthy limits")
    may, why = _may_become_known_good(after, is_right=is_right)
    return RepairCheck(before, is_right, tuple(remains), may, why)


def _may_become_known_good(after: Comparison, *, is_right: bool) -> tuple[bool, str]:
    if not is_right:
        return False, f"the verdict after the repair is {after.verdict.level}"
    for finding in after.findings:
        if finding.code in _SPOILING and not finding.text.startswith("Known-good"):
            return False, _SPOILING[finding.code]
    return True, (
        "the engine is in time after the repair; make sure that the phasers stood at their stops "
        "and that a second recording agrees"
    )
