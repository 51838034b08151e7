"""Whether a repair is right, what remains, and whether the result may become a known-good."""

from __future__ import annotations

from collections.abc import Sequence

from crankwise.comparison.words import with_uncertainty
from crankwise.model.comparison import CamShift, Comparison, RepairCheck
from crankwise.model.finding import Finding
from crankwise.roles.naming import cam_name

_SPOILING = {
    "phaser-moving": "a phaser moved",
    "wheel-unsure": "the crank wheel is not sure",
    "damaged-tooth": "a crank tooth is damaged",
    "too-short": "too few cycles were recorded",
    "wide-scatter": "a cam scatters more than usual",
    "edges-disagree": "a cam's edges don't move alike",
    "pattern-broken": "a cam's pattern is not whole",
    "parts-disagree": "parts of the recording don't belong together",
    "crank-doubtful": "the crank channel is not sure",
    "levels-wander": "a signal does not keep its levels",
    "few-codes": "a signal was recorded in too few steps",
    "crosstalk": "a cam's signal leaks into that of the crank",
}


def repair_check(
    after: Comparison, before: tuple[CamShift, ...], before_findings: Sequence[Finding]
) -> RepairCheck:
    """Judge the engine after a repair, beside what it was before.

    Parameters
    ----------
    after : Comparison
        After the repair, judged.
    before : tuple of CamShift
        Shifts before it, against the same known-goods.
    before_findings : sequence of Finding
        Of the recording before it: what its numbers are worth.
    """
    is_right = after.verdict.level == "in-time"
    earlier = {cam.role: cam for cam in before}
    remains = [_cam_remains(cam, earlier.get(cam.role)) for cam in after.cams]
    remains += [
        f"{change.words}: still beyond the healthy limits"
        for change in after.separations
        if change.healthy is not None and not change.healthy.contains(change.change_deg)
    ]
    remains += [
        f"the recording before the repair: {_SPOILING[item.code]}"
        for item in before_findings
        if item.code in _SPOILING
    ]
    may, why = _may_become_known_good(after, is_right=is_right)
    return RepairCheck(before, is_right, tuple(remains), may, why)


def _cam_remains(cam: CamShift, was: CamShift | None) -> str:
    then = with_uncertainty(was.shift_deg, was.uncertainty_deg) if was else "not measured"
    now = with_uncertainty(cam.shift_deg, cam.uncertainty_deg)
    inside = cam.healthy is None or cam.healthy.contains(cam.shift_deg)
    return (
        f"{cam_name(cam.role)}: before {then}, now {now}, "
        f"{'within' if inside else 'still beyond'} the healthy limits"
    )


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
