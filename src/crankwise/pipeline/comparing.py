"""From a subject and its known-goods to a comparison with causes and verdict."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from crankwise.comparison.against import Against, against
from crankwise.comparison.ripple import RippleChange, ripple_change
from crankwise.comparison.shift import ODD_EDGES
from crankwise.comparison.words import with_uncertainty
from crankwise.drive.causes import CauseEvidence, next_check, rank_causes
from crankwise.drive.missing import missing
from crankwise.errors import UsageError
from crankwise.judge.code_limit import CodeLimit, code_limit
from crankwise.judge.policy import load_policy
from crankwise.judge.repair import repair_check
from crankwise.judge.scatter import loose_cams
from crankwise.judge.verdict import BLOCKING, judge
from crankwise.model.comparison import (
    Comparison,
    CrankTeeth,
    HealthyLimits,
    LimitsInfo,
    RippleShift,
    SideInfo,
)
from crankwise.model.engine import Engine
from crankwise.model.finding import Finding, Step
from crankwise.model.measurement import Measurement
from crankwise.model.policy import Policy
from crankwise.pipeline.banks import bank_difference
from crankwise.roles.naming import cam_name

_CARRIED = {
    "phaser-moving",
    "wheel-unsure",
    "wheel-learned",
    "few-crank-teeth",
    "damaged-tooth",
    "too-short",
    "wide-scatter",
    "speed-unsteady",
    "sampled-slowly",
    "above-idle",
    "parking-not-shown",
    "pattern-broken",
    "parts-disagree",
    "crank-doubtful",
    "cam-left-out",
    "cam-doubtful",
    "levels-wander",
    "few-codes",
    "crosstalk",
}
"""Findings of a recording that bear on what a comparison of it is worth."""
_WORTH_TELLING_DEG = 0.5
"""Edges this far off the others are told; less may be certain and still not matter."""


def compare(
    subject: Measurement,
    known_goods: Sequence[Measurement],
    *,
    engine: Engine | None = None,
    policy: Policy | None = None,
    same_vehicle: bool = False,
    service_limit_deg: float | None = None,
    before: Measurement | None = None,
) -> Comparison:
    """Compare a measurement with one or many known-goods, and judge it.

    Parameters
    ----------
    subject : Measurement
    known_goods : sequence of Measurement
        With none, an engine with two banks is compared bank against bank.
    engine : Engine, optional
        What is known of the engine; each missing item narrows what can be said.
    policy : Policy, optional
        The built-in policy if not given.
    same_vehicle : bool
        The known-goods are this very vehicle at an earlier time.
    service_limit_deg : float, optional
        A limit from service information, crank degrees; replaces the policy's code limit.
    before : Measurement, optional
        The engine before a repair, if the subject was recorded after it.

    Raises
    ------
    UsageError
        No known-good for an engine with one bank, or a limit that is not positive.
    NotMeasurableError
        Wrong engine, wrong wheel, damaged target: says which and why.
    """
    if service_limit_deg is not None and not 0 < service_limit_deg < 180:
        raise UsageError("the limit from service information must lie between 0° and 180°")
    rules = policy or load_policy(None)
    if not known_goods:
        return _banks(subject, engine, rules, service_limit_deg)
    known_goods = _named_apart(known_goods)
    usable, unfit = _usable(known_goods)
    result = against(subject, usable, policy=rules, same_vehicle=same_vehicle)
    result = replace(result, left_out=(*unfit, *result.left_out))
    draft = _judged(
        subject, known_goods, result, engine, rules, service_limit_deg=service_limit_deg
    )
    draft = replace(
        draft,
        history=(Step("compare", {"known_goods": len(known_goods), "same_vehicle": same_vehicle}),),
    )
    if before is None:
        return draft
    earlier = against(before, usable, policy=rules, same_vehicle=same_vehicle)
    return replace(draft, repair=repair_check(draft, earlier.cams, before.findings))


def _judged(
    subject: Measurement,
    known_goods: Sequence[Measurement],
    result: Against,
    engine: Engine | None,
    rules: Policy,
    *,
    service_limit_deg: float | None,
) -> Comparison:
    """Causes and verdict on top of what the shifts say."""
    ripple = ripple_change(
        subject,
        result.pivot,
        turn_deg=result.match.turn_deg + result.match.edge_deg,
        idle_deg=rules.spread.ripple_idle_deg,
        starter_deg=rules.spread.ripple_starter_deg,
    )
    causes = rank_causes(_evidence(result, ripple), engine, rules)
    check = next_check(causes, rules)
    limits = _limits(result.cams[0].healthy, code_limit(engine, rules, service_limit_deg), rules)
    findings = _findings(subject, known_goods, result, engine)
    verdict = judge(
        result.cams,
        result.separations,
        limits,
        loose=loose_cams(result, rules),
        causes=causes,
        check=check,
        findings=findings,
        engine=engine,
    )
    # What can't be judged has no causes either: they would be read all the same.
    is_judged = verdict.level != "not-judged"
    left_out = {name for name, _ in result.left_out}
    return Comparison(
        subject=_side(subject, set()),
        known_goods=tuple(_side(item, left_out) for item in known_goods),
        cams=result.cams,
        separations=result.separations,
        ripple=_ripple_words(ripple),
        limits=limits,
        causes=causes if is_judged else (),
        next_check=check if is_judged else None,
        verdict=verdict,
        findings=findings,
        crank=CrankTeeth.of(subject.crank),
    )


def _limits(healthy: HealthyLimits | None, limit: CodeLimit, rules: Policy) -> LimitsInfo:
    assert healthy is not None  # noqa: S101  (every change that is judged has limits)
    return LimitsInfo(
        basis=healthy.basis,
        text=healthy.text,
        code_limit_deg=limit.degrees,
        code_limit_source=limit.source,
        worn_from_deg=limit.degrees * rules.limits.worn_share,
        known_goods=healthy.known_goods,
    )


def _banks(
    subject: Measurement, engine: Engine | None, rules: Policy, service_limit_deg: float | None
) -> Comparison:
    """Bank against bank, for want of a known-good: no causes follow from it."""
    change = bank_difference(subject, rules)
    limits = _limits(change.healthy, code_limit(engine, rules, service_limit_deg), rules)
    findings = (
        *(item for item in subject.findings if item.code in _CARRIED),
        *_of_the_engine_file(engine, subject),
    )
    return Comparison(
        subject=_side(subject, set()),
        known_goods=(),
        cams=(),
        separations=(change,),
        ripple=None,
        limits=limits,
        causes=(),
        next_check=None,
        verdict=judge(
            (),
            (change,),
            limits,
            loose=(),
            causes=(),
            check=None,
            findings=findings,
            engine=engine,
        ),
        findings=findings,
        crank=CrankTeeth.of(subject.crank),
        history=(Step("compare", {"known_goods": 0, "same_vehicle": False}),),
    )


def _named_apart(known_goods: Sequence[Measurement]) -> list[Measurement]:
    """Known-goods once each, under names of their own: scopes number their files anew.

    The same recording given twice would count as two engines that agree.
    """
    seen: Counter[str] = Counter()
    named: list[Measurement] = []
    hashes: set[str] = set()
    for item in known_goods:
        if item.recording.sha256 in hashes:
            continue
        hashes.add(item.recording.sha256)
        name = item.recording.name
        seen[name] += 1
        if seen[name] > 1:
            own = replace(item.recording, name=f"{name} ({seen[name]})")
            named.append(replace(item, recording=own))
        else:
            named.append(item)
    return named


def _usable(
    known_goods: Sequence[Measurement],
) -> tuple[list[Measurement], list[tuple[str, str]]]:
    """Known-goods without a finding that spoils them; all of them where none is without."""
    spoiled = {
        id(item): next((f.text for f in item.findings if f.code in BLOCKING), None)
        for item in known_goods
    }
    good = [item for item in known_goods if spoiled[id(item)] is None]
    if not good:
        return list(known_goods), []
    bad = [
        (item.recording.name, reason)
        for item in known_goods
        if (reason := spoiled[id(item)]) is not None
    ]
    return good, bad


def _evidence(result: Against, ripple: RippleChange | None) -> CauseEvidence:
    ratios = [np.nan if cam.scatter_ratio is None else cam.scatter_ratio for cam in result.cams]
    pairs = [result.pairs[cam.role].match for cam in result.cams]
    mine = min(min(edge.count for edge in pair.subject.edges) for pair in pairs)
    theirs = min(min(edge.count for edge in pair.known_good.edges) for pair in pairs)
    return CauseEvidence(
        roles=result.roles,
        shifts_deg=np.array([cam.shift_deg for cam in result.cams]),
        measurement_cov=result.measurement_cov,
        build_cov=result.build_cov,
        scatter_ratio=np.array(ratios, dtype=np.float64),
        scatter_dof=(max(mine - 1.0, 1.0), max(theirs - 1.0, 1.0)),
        moving_deg=np.array([pair.subject.moving_deg for pair in pairs]),
        ripple_shift_deg=ripple.shift_deg if ripple else None,
        ripple_standard_deg=ripple.standard_deg if ripple else None,
    )


def _side(measurement: Measurement, set_aside: set[str]) -> SideInfo:
    return SideInfo(
        name=measurement.recording.name,
        sha256=measurement.recording.sha256,
        speed_rpm=measurement.crank.speed_rpm,
        wheel=measurement.crank.wheel,
        timing_edge=measurement.crank.timing_edge,
        set_aside=measurement.recording.name in set_aside,
    )


def _ripple_words(ripple: RippleChange | None) -> RippleShift | None:
    if ripple is None:
        return None
    expanded = 1.96 * ripple.standard_deg
    if abs(ripple.shift_deg) <= expanded:
        words = (
            f"the crank's own speed ripple sits at the gap as in the known-good (within ± "
            f"{expanded:.1f}°): the crank wheel has not visibly moved"
        )
    else:
        words = (
            f"the crank's own speed ripple moved by {ripple.shift_deg:+.1f}° ± {expanded:.1f}° "
            "against the gap: the crank wheel or its sensor may have moved"
        )
    return RippleShift(ripple.order, ripple.shift_deg, expanded, words)


def _findings(
    subject: Measurement,
    known_goods: Sequence[Measurement],
    result: Against,
    engine: Engine | None,
) -> tuple[Finding, ...]:
    return (
        *_of_the_known_goods(subject, known_goods, result),
        *_of_the_edges(result),
        *(item for item in subject.findings if item.code in _CARRIED),
        *_carried_from(known_goods, result),
        *_of_the_engine_file(engine, subject),
    )


def _of_the_known_goods(
    subject: Measurement, known_goods: Sequence[Measurement], result: Against
) -> Iterator[Finding]:
    """How they were laid over the subject, and which could not be."""
    for text in result.match.remarks:
        yield Finding("matched", "note", f"{_upper(text)}.")
    for name, reason in result.left_out:
        yield Finding(
            "known-good-left-out", "caution", f"Known-good {name} was left out: {reason}."
        )
    if result.alone:
        yield Finding(
            "cam-without-known-good",
            "note",
            f"No known-good has the {' and the '.join(map(cam_name, result.alone))}: "
            "what it does could not be compared.",
        )
    if any(item.recording.sha256 == subject.recording.sha256 for item in known_goods):
        yield Finding(
            "same-recording",
            "caution",
            "A known-good is the very recording that is judged: it can only agree with itself.",
        )


def _of_the_edges(result: Against) -> Iterator[Finding]:
    """Cams whose edges did not all move by the same angle."""
    for cam in result.cams:
        worst = max(cam.edges, key=lambda edge: abs(edge.residual_deg))
        if cam.consistency < ODD_EDGES and abs(worst.residual_deg) > _WORTH_TELLING_DEG:
            yield Finding(
                "edges-disagree",
                "caution",
                f"The edges of the {cam_name(cam.role)} don't move alike: the {worst.edge} edge at "
                f"{worst.known_good_deg:.1f}° is "
                f"{with_uncertainty(worst.residual_deg, worst.uncertainty_deg)} off the "
                "others. Look at the cam wheel and compare with another known-good.",
            )


def _carried_from(known_goods: Sequence[Measurement], result: Against) -> Iterator[Finding]:
    """What limits a known-good limits the comparison with it."""
    left_out = {name for name, _ in result.left_out}
    for known_good in known_goods:
        if known_good.recording.name in left_out:
            continue
        for item in known_good.findings:
            if item.code in _CARRIED - {"parking-not-shown", "above-idle"}:
                text = f"Known-good {known_good.recording.name}: {item.text}"
                yield Finding(item.code, item.level, text)


def _of_the_engine_file(engine: Engine | None, subject: Measurement) -> Iterator[Finding]:
    if engine is None:
        yield Finding(
            "no-engine-file",
            "note",
            "No engine file was given: shifts can't be turned into chain elongation or "
            "sprocket teeth, and causes are told apart less well.",
        )
    else:
        listed = {cam.role for cam in engine.cams}
        unlisted = [cam.role for cam in subject.cams if cam.role not in listed]
        if listed and unlisted:
            yield Finding(
                "engine-file",
                "caution",
                f"The engine file of the {engine.family} does not list: {', '.join(unlisted)}. It "
                "may be that of another engine, and causes then mean nothing: check file and "
                "roles.",
            )
        for text in missing(engine):
            yield Finding("engine-file", "note", text)


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
