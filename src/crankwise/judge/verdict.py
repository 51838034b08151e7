"""The verdict: level, reasons, advice, what would change it. Never a bare number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from crankwise.comparison.words import both_cams, signed, with_uncertainty
from crankwise.judge.code_limit import SERVICE
from crankwise.judge.codes import expected_codes
from crankwise.model.comparison import (
    CamShift,
    Cause,
    HealthyLimits,
    Level,
    LimitsInfo,
    NextCheck,
    SeparationChange,
    Verdict,
)
from crankwise.model.engine import Engine
from crankwise.model.finding import Finding
from crankwise.model.policy import HEALTHY
from crankwise.roles.naming import cam_name

_ORDER: tuple[Level, ...] = ("in-time", "drifting", "worn", "out-of-time")
BLOCKING = {
    "phaser-moving": (
        "a phaser moved during the recording, so this is no base-timing measurement",
        "Record again with the phaser solenoids unplugged as the maker describes.",
    ),
    "wheel-unsure": (
        "the crank wheel is not known for sure",
        "Record longer and at a steadier speed, or name the crank channel.",
    ),
    "crank-doubtful": (
        "the channel taken for the crank may be a cam",
        "Check which probe sat where, and name the crank channel.",
    ),
    "pattern-broken": (
        "the pattern of a cam is not whole",
        "Check the cam sensor, its probe and its target, and record again.",
    ),
    "parts-disagree": (
        "parts of the recording don't belong together",
        "Record again in one go, all channels together.",
    ),
    "levels-wander": (
        "a signal does not keep its levels",
        "Set the channel to DC coupling, leave its range alone, and record again.",
    ),
    "few-codes": (
        "a signal was recorded in too few steps",
        "Choose a range that the signal fills, and record again.",
    ),
    "crosstalk": (
        "a cam's signal leaks into that of the crank",
        "Check the earth leads and the probes, and record again.",
    ),
}
"""Findings with which nothing can be judged: the reason, and what to do."""
_DECIDES = (
    "Follow the vehicle maker's procedure and the rules of licensed practice; this is a "
    "measurement, not a repair order. The technician decides."
)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A change to be judged: of a cam, or of the angle between two.

    ``roles`` are the one or two that it belongs to; ``name`` what it is called in a sentence.
    """

    roles: tuple[str, ...]
    name: str
    change_deg: float
    uncertainty_deg: float
    healthy: HealthyLimits | None
    words: str

    @property
    def is_beyond_healthy(self) -> bool:
        """Whether healthy engines don't differ by as much."""
        return self.healthy is not None and not self.healthy.contains(self.change_deg)


def furthest(
    cams: Sequence[CamShift], separations: Sequence[SeparationChange], limits: LimitsInfo
) -> Quantity:
    """Return the quantity that has moved furthest, on which the verdict rests."""
    return max(
        quantities(cams, separations),
        key=lambda item: (_rank(item, limits), abs(item.change_deg)),
    )


def judge(
    cams: Sequence[CamShift],
    separations: Sequence[SeparationChange],
    limits: LimitsInfo,
    *,
    loose: Sequence[str],
    causes: Sequence[Cause],
    check: NextCheck | None,
    findings: Sequence[Finding],
    engine: Engine | None,
) -> Verdict:
    """Judge a comparison.

    The level is that of the quantity that has moved furthest. A change counts only beyond what
    healthy engines differ by; from the share of the code limit that the policy names it is
    ``worn``, from the limit on ``out-of-time``. A cam that scatters beyond healthy engines makes it
    at least ``drifting``; ``loose`` says which, in sentences.
    """
    changes = quantities(cams, separations)
    worst = furthest(cams, separations, limits)
    blocked = _blocked(findings) or _too_wide(changes, worst, limits, findings)
    if blocked:
        return _not_judged(blocked, worst)
    level = _ORDER[_rank(worst, limits)]
    if level == "in-time" and limits.basis == "bank-against-bank" and not loose:
        level = "not-judged"  # whatever moves a whole bank, or both alike, leaves no mark
        summary = _inside_banks(worst)
    elif level == "in-time" and loose:
        level = "drifting"
        summary = f"The valve timing sits where healthy engines have it, but loosely. {loose[0]}"
    else:
        summary = _summary(level, worst)
    return Verdict(
        level=level,
        summary=summary,
        reasons=(*loose, *_reasons(changes, limits)),
        advice=_advice(level, causes, check, limits),
        would_change=_would_change(level, worst, limits),
        cautions=_cautions(level, engine),
        codes=expected_codes(cams, limits.code_limit_deg),
    )


def _not_judged(blocked: Sequence[tuple[str, str]], worst: Quantity) -> Verdict:
    amount = with_uncertainty(worst.change_deg, worst.uncertainty_deg)
    seen = f"What was measured, for what it is worth: the {worst.name} at {amount}."
    return Verdict(
        level="not-judged",
        summary=f"Not judged: {blocked[0][0]}.",
        reasons=(*(f"{_upper(reason)}." for reason, _ in blocked), seen),
        advice=(*(remedy for _, remedy in blocked), _DECIDES),
        would_change=("A recording without this would let it be judged.",),
    )


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def quantities(cams: Sequence[CamShift], separations: Sequence[SeparationChange]) -> list[Quantity]:
    """Return all changes that a verdict looks at."""
    return [*map(_of_cam, cams), *map(_of_separation, separations)]


def _of_cam(cam: CamShift) -> Quantity:
    return Quantity(
        (cam.role,), cam_name(cam.role), cam.shift_deg, cam.uncertainty_deg, cam.healthy, cam.words
    )


def _of_separation(change: SeparationChange) -> Quantity:
    if change.between[0].startswith("bank"):
        name = "difference between the two banks"
    else:
        name = f"angle between {both_cams(*change.between)}"
    return Quantity(
        change.between, name, change.change_deg, change.uncertainty_deg, change.healthy,
        change.words,
    )  # fmt: skip


def _rank(item: Quantity, limits: LimitsInfo) -> int:
    size = abs(item.change_deg)
    if not item.is_beyond_healthy:
        # A figure from service information holds whatever healthy engines differ by, once the
        # change is beyond it with all of its uncertainty.
        is_over = size - item.uncertainty_deg >= limits.code_limit_deg
        return 3 if limits.code_limit_source.startswith(SERVICE) and is_over else 0
    if size >= limits.code_limit_deg:
        return 3
    return 2 if size >= limits.worn_from_deg else 1


def _blocked(findings: Sequence[Finding]) -> list[tuple[str, str]]:
    """Reasons and remedies; a spoiled known-good blocks only if no other was left."""
    codes = dict.fromkeys(item.code for item in findings if item.code in BLOCKING)
    return [BLOCKING[code] for code in codes]


def _too_wide(
    quantities: Sequence[Quantity],
    worst: Quantity,
    limits: LimitsInfo,
    findings: Sequence[Finding],
) -> list[tuple[str, str]]:
    """Uncertainty as wide as what counts as worn proves neither health nor wear."""
    widest = max(item.uncertainty_deg for item in quantities)
    again = "Record longer, at a steady speed, in the same way as the known-good."
    surely_moved = abs(worst.change_deg) - worst.uncertainty_deg >= limits.worn_from_deg
    if widest >= limits.worn_from_deg and not (surely_moved and worst.is_beyond_healthy):
        return [
            (
                (
                    f"the uncertainty (± {widest:.1f}°) is as wide as what would count as worn "
                    f"({limits.worn_from_deg:.1f}°)"
                ),
                again,
            )
        ]
    codes = {item.code for item in findings}
    if worst.is_beyond_healthy and {"wide-scatter", "speed-unsteady"} <= codes:
        return [("the cams scatter widely while the speed changes", again)]
    return []


def _summary(level: Level, worst: Quantity) -> str:
    amount = with_uncertainty(worst.change_deg, worst.uncertainty_deg)
    if level == "in-time":
        return (
            f"The valve timing is where healthy engines have it; the {worst.name} is furthest off, "
            f"by {amount}."
        )
    if level == "drifting":
        return (
            f"The {worst.name} has moved beyond what healthy engines differ by, but little: "
            f"{amount}."
        )
    if level == "worn":
        return (
            f"The {worst.name} has moved so far that wear or a fault must be looked for: {amount}."
        )
    return (
        f"The {worst.name} has moved as far as the engine control is expected to tolerate, or "
        f"further: {amount}."
    )


def _inside_banks(worst: Quantity) -> str:
    amount = with_uncertainty(worst.change_deg, worst.uncertainty_deg)
    return (
        "Not judged: intake and exhaust stand to each other alike in both banks, the difference "
        f"being {amount}, but a bank that moved as a whole does not show."
    )


def _reasons(quantities: Sequence[Quantity], limits: LimitsInfo) -> tuple[str, ...]:
    reasons = [f"{_upper(item.words)}." for item in quantities]
    for item in quantities:
        if item.healthy is None:
            continue
        reasons.append(
            f"The {item.name}: {with_uncertainty(item.change_deg, item.uncertainty_deg)} is "
            f"{'beyond' if item.is_beyond_healthy else 'within'} "
            f"{signed(item.healthy.low_deg)} to {signed(item.healthy.high_deg)}, where "
            f"{item.healthy.coverage:.1%} of healthy engines lie."
        )
        if _near(item, limits.code_limit_deg):
            reasons.append(
                f"Its uncertainty reaches over the code limit of {limits.code_limit_deg:g}°."
            )
        elif _near(item, limits.worn_from_deg):
            reasons.append(
                f"Its uncertainty reaches over {limits.worn_from_deg:g}°, from where it counts as "
                "worn."
            )
    reasons.append(f"Limits rest on: {limits.text}.")
    reasons.append(
        f"Code limit {limits.code_limit_deg:g}° ({limits.code_limit_source}); worn from "
        f"{limits.worn_from_deg:.1f}°."
    )
    return tuple(reasons)


def _near(item: Quantity, limit_deg: float) -> bool:
    return abs(abs(item.change_deg) - limit_deg) < item.uncertainty_deg


def _advice(
    level: Level, causes: Sequence[Cause], check: NextCheck | None, limits: LimitsInfo
) -> tuple[str, ...]:
    advice = {
        "not-judged": [
            (
                "Nothing to do inside the banks. Compare with a known-good before relying on the "
                "timing of a whole bank."
            ),
        ],
        "in-time": [
            "No action for the timing. Keep this measurement for the vehicle's next visit."
        ],
        "drifting": [
            (
                "Confirm with a second recording that agrees, then watch it: measure again at the "
                "next service."
            ),
        ],
        "worn": [
            (
                "Confirm with a second recording that agrees, then look for the cause before it "
                "goes further."
            ),
        ],
        "out-of-time": [
            "Do not put this off: confirm with a second recording, then open up and look.",
        ],
    }[level]
    if level == "in-time" and causes and causes[0].cause != HEALTHY and causes[0].probability > 0.5:
        likeliest = f"{causes[0].name} ({causes[0].probability:.0%})"
        advice = [
            (
                "Nothing is beyond what healthy engines differ by, yet the likeliest reading is: "
                f"{likeliest}. Measure this vehicle again at the next service and compare it with "
                "itself."
            ),
        ]
    if level in {"drifting", "worn", "out-of-time"}:
        if limits.basis == "one-other-vehicle":
            advice.append(
                "The comparison rests on one other vehicle. A known-good of this very vehicle, or "
                "more of the family, would say more."
            )
        if check is not None:
            advice.append(f"Next: {check.text}")
        elif causes:
            advice.append(f"Likeliest: {causes[0].name}.")
    advice.append(_DECIDES)
    return tuple(advice)


def _would_change(level: Level, worst: Quantity, limits: LimitsInfo) -> tuple[str, ...]:
    changes: list[str] = []
    if limits.basis == "bank-against-bank":
        changes.append("A known-good of this engine would show whether a whole bank has moved.")
    elif limits.basis != "same-vehicle":
        changes.append(
            "A recording of this vehicle from earlier would take the build spread out of it: "
            "fractions of a degree would then count."
        )
    if 0 < limits.known_goods < 5 and limits.basis != "same-vehicle":
        changes.append("More known-goods of the family would narrow or widen the healthy limits.")
    now = with_uncertainty(worst.change_deg, worst.uncertainty_deg, sign=False)
    if level in {"in-time", "drifting"}:
        changes.append(f"At {limits.worn_from_deg:.1f}° it would count as worn (now {now}).")
    elif level == "worn":
        changes.append(f"At {limits.code_limit_deg:g}° it would count as out of time (now {now}).")
    return tuple(changes)


def _cautions(level: Level, engine: Engine | None) -> tuple[str, ...]:
    if level == "in-time":
        return ()
    if engine is not None and engine.interference == "yes":
        danger = (
            "This is an interference engine: if the chain or belt jumps or breaks, pistons can hit "
            "valves. Never turn crank or cam with the drive off."
        )
        return (danger,)
    if engine is not None and engine.interference == "no":
        return ()
    unknown = (
        "Whether pistons and valves can meet in this engine is not known here: treat it as an "
        "interference engine until service information says otherwise."
    )
    return (unknown,)
