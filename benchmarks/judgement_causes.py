"""How often the true cause is named, over simulated faults at the level of shifts.

A fault is drawn as the policy's priors have it, on one of the shipped engines or on one of which
nothing is known; its size from the size's own prior, so large that the largest shift is at least
three times what healthy engines differ by there. The shifts get that difference and the
measurement's noise, one cycle-to-cycle scatter and, in half of the cases, the crank's ripple.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchmarks.pages import table
from crankwise.drive.causes import CauseEvidence, rank_causes
from crankwise.drive.engine_file import shipped
from crankwise.drive.faults import signatures
from crankwise.drive.scoring import WEAR
from crankwise.judge.policy import load_policy
from crankwise.model.engine import Engine

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.drive.signature import FreeSize, Signature
    from crankwise.model.policy import Policy
    from crankwise.model.recording import FloatArray

TIMES_NOISE = 3.0
SCATTER_DOF = (30.0, 30.0)
UNKNOWN_ROLES = (
    ("exhaust", "intake"),
    ("intake-1", "exhaust-1", "intake-2", "exhaust-2"),
    ("intake",),
)
BINS = 10
DESCRIBED = ("Tarn T20", "Fell V6")


@dataclass(frozen=True, slots=True)
class Row:
    """One simulated fault and what was said of it.

    Attributes
    ----------
    engine, fault, key : str
        The engine's family, the kind of fault and its key.
    cams : int
    has_ripple, is_same_vehicle : bool
    place : int
        1 where the true cause was named first.
    place_alike : int
        The same, counting a cause whose mark on these cams is the same by nature as right.
    first : str
        Key of the cause named first.
    first_probability : float
    squared_error : float
        Brier score over all causes: the sum of (probability less truth) squared.
    """

    engine: str
    fault: str
    key: str
    cams: int
    has_ripple: bool
    is_same_vehicle: bool
    place: int
    place_alike: int
    first: str
    first_probability: float
    squared_error: float


@dataclass(frozen=True, slots=True, eq=False)
class _Case:
    engine: Engine
    fault: Signature
    roles: tuple[str, ...]
    is_same_vehicle: bool
    shifts_deg: FloatArray
    evidence: CauseEvidence


def run(n: int, seed: int) -> list[Row]:
    """Simulate and judge ``n`` faults; each has its own seed."""
    policy = load_policy(None)
    engines = [*shipped().values(), Engine("unknown")]
    return [
        _judge(_draw(engines, policy, np.random.default_rng((seed, i))), policy) for i in range(n)
    ]


def report(rows: Sequence[Row]) -> str:
    """Tables in Markdown: how often the true cause is named, and what probabilities are worth."""
    return "\n\n".join((_ranks(rows), _reliability(rows), _brier(rows)))


def _ranks(rows: Sequence[Row]) -> str:
    groups: dict[str, list[Row]] = {"all": list(rows)}
    for row in rows:
        described = "described in full" if row.engine in DESCRIBED else "described in part or not"
        for name in (
            f"engine {described}",
            "one cam" if row.cams == 1 else f"{row.cams} cams",
            "same vehicle" if row.is_same_vehicle else "other vehicle",
            "crank ripple known" if row.has_ripple else "no crank ripple",
            f"fault: {row.fault}",
        ):
            groups.setdefault(name, []).append(row)
    header = (
        "faults", "number", "first", "in first two", "first, alike by nature counted",
        "in first two, alike by nature counted", "expected first",
    )  # fmt: skip
    ordered = sorted(groups, key=lambda name: (name != "all", name.startswith("fault"), name))
    return table(header, [[name, *_shares(groups[name])] for name in ordered])


def _shares(rows: Sequence[Row]) -> list[str]:
    places = np.array([(row.place, row.place_alike) for row in rows])
    shares = [np.mean(places[:, i] <= most) for i in (0, 1) for most in (1, 2)]
    expected = np.mean([row.first_probability for row in rows])
    return [str(len(rows)), *(f"{100 * share:.1f} %" for share in (*shares, expected))]


def _reliability(rows: Sequence[Row]) -> str:
    """Of the causes named first with about this probability, how many were true."""
    said = np.array([row.first_probability for row in rows])
    right = np.array([row.place == 1 for row in rows])
    bins = np.minimum((said * BINS).astype(int), BINS - 1)
    cells = []
    for i in range(BINS):
        inside = bins == i
        if inside.any():
            name = f"{i / BINS:.1f} to {(i + 1) / BINS:.1f}"
            mean, true = said[inside].mean(), right[inside].mean()
            cells.append([name, str(inside.sum()), f"{mean:.3f}", f"{true:.3f}"])
    return table(("probability said", "number", "mean said", "true"), cells)


def _brier(rows: Sequence[Row]) -> str:
    score = float(np.mean([row.squared_error for row in rows]))
    return f"Brier score over all causes (0 is perfect, 2 the worst): {score:.3f}."


def _judge(case: _Case, policy: Policy) -> Row:
    causes = rank_causes(case.evidence, case.engine, policy)
    keys = [cause.cause for cause in causes]
    alike = _alike(case)
    truth = np.array([float(key == case.fault.key) for key in keys])
    said = np.array([cause.probability for cause in causes])
    return Row(
        engine=case.engine.family,
        fault=case.fault.fault,
        key=case.fault.key,
        cams=len(case.roles),
        has_ripple=case.evidence.ripple_shift_deg is not None,
        is_same_vehicle=case.is_same_vehicle,
        place=1 + keys.index(case.fault.key),
        place_alike=1 + min(keys.index(key) for key in alike),
        first=keys[0],
        first_probability=causes[0].probability,
        squared_error=float(np.sum((said - truth) ** 2)),
    )


def _alike(case: _Case) -> set[str]:
    """Faults that can shift these cams exactly as the true one does, and the ripple too."""
    seen = case.shifts_deg
    has_ripple = case.evidence.ripple_shift_deg is not None
    found = {case.fault.key}
    for other in signatures(case.engine, roles=case.roles):
        is_split = has_ripple and (other.fault == "crank-target") != (
            case.fault.fault == "crank-target"
        )
        if other.sizes and np.any(seen) and not is_split and _reaches(other, case.roles, seen):
            found.add(other.key)
    return found


def _reaches(fault: Signature, roles: Sequence[str], shifts_deg: FloatArray) -> bool:
    matrix = fault.matrix(roles)
    sizes, *_ = np.linalg.lstsq(matrix, shifts_deg, rcond=None)
    is_exact = np.allclose(matrix @ sizes, shifts_deg, atol=0.05)
    pairs = zip(fault.sizes, sizes.tolist(), strict=True)
    return is_exact and all(size.allows(round(value, 9)) for size, value in pairs)


def _draw(engines: Sequence[Engine], policy: Policy, rng: np.random.Generator) -> _Case:
    engine = engines[int(rng.integers(len(engines)))]
    roles = engine.roles or UNKNOWN_ROLES[int(rng.integers(len(UNKNOWN_ROLES)))]
    is_same_vehicle = bool(rng.random() < 0.5)
    measured = np.diag(rng.uniform(0.05, 0.15, len(roles)) ** 2)
    build = _build(policy, len(roles), is_same_vehicle=is_same_vehicle)
    noise = np.sqrt(np.diag(measured + build))
    faults = signatures(engine, roles=roles)
    fault, shifts = _fault(faults, roles, noise, policy, rng)
    return _Case(
        engine=engine,
        fault=fault,
        roles=roles,
        is_same_vehicle=is_same_vehicle,
        shifts_deg=shifts,
        evidence=_evidence(fault, roles, shifts, policy, rng, covariances=(measured, build)),
    )


def _build(policy: Policy, count: int, *, is_same_vehicle: bool) -> FloatArray:
    """Covariance of healthy differences: one vehicle on two visits, or two vehicles."""
    spread = policy.spread
    if is_same_vehicle:
        return np.asarray(spread.visit_deg**2 * np.eye(count))
    alone = spread.separation_deg**2 / 2.0
    return np.asarray(np.full((count, count), spread.cam_deg**2 - alone) + alone * np.eye(count))


def _fault(
    faults: Sequence[Signature],
    roles: Sequence[str],
    noise: FloatArray,
    policy: Policy,
    rng: np.random.Generator,
) -> tuple[Signature, FloatArray]:
    """A fault by the priors with the shifts it gives, large enough to be seen."""
    places = Counter(fault.fault for fault in faults)
    weight = np.array([policy.causes.priors[f.fault] / places[f.fault] for f in faults])
    fault = faults[rng.choice(len(faults), p=weight / weight.sum())]
    if not fault.sizes:
        return fault, np.zeros(len(roles))
    while True:
        sizes = np.array([_size(size, rng) for size in fault.sizes])
        shifts = np.asarray(fault.matrix(roles) @ sizes)
        if np.any(np.abs(shifts) >= TIMES_NOISE * noise):
            return fault, shifts


def _size(size: FreeSize, rng: np.random.Generator) -> float:
    if size.whole:
        steps = np.array(size.steps())
        weight = np.exp(-0.5 * (steps / size.typical) ** 2)
        return float(rng.choice(steps, p=weight / weight.sum()))
    while True:
        drawn = float(rng.normal(0.0, size.typical))
        if size.allows(drawn):
            return drawn


def _evidence(
    fault: Signature,
    roles: tuple[str, ...],
    shifts: FloatArray,
    policy: Policy,
    rng: np.random.Generator,
    *,
    covariances: tuple[FloatArray, FloatArray],
) -> CauseEvidence:
    measured, build = covariances
    causes = policy.causes
    seen = rng.multivariate_normal(shifts, measured + build, method="cholesky")
    if fault.fault in WEAR:
        seen = seen + rng.normal(0.0, causes.wear_deg, len(roles))
    spread = np.sqrt(causes.scatter_spread**2 + sum(0.5 / dof for dof in SCATTER_DOF))
    factor = np.array([fault.scatter_factor.get(role, 1.0) for role in roles])
    loose = np.array([fault.is_moving and shift != 0.0 for shift in shifts])
    moves = rng.random(len(roles)) < np.where(
        loose, causes.moving_if_loose, causes.moving_otherwise
    )
    has_ripple = bool(rng.random() < 0.5)
    doubt = (policy.spread.ripple_idle_deg, policy.spread.ripple_starter_deg)[int(rng.integers(2))]
    follows = float(shifts.mean()) if fault.fault == "crank-target" else 0.0
    return CauseEvidence(
        roles=roles,
        shifts_deg=np.asarray(seen),
        measurement_cov=measured,
        build_cov=build,
        scatter_ratio=factor * np.exp(rng.normal(0.0, spread, len(roles))),
        scatter_dof=SCATTER_DOF,
        moving_deg=np.where(moves, 2.0, 0.0),
        ripple_shift_deg=float(rng.normal(follows, doubt)) if has_ripple else None,
        ripple_standard_deg=doubt if has_ripple else None,
    )
