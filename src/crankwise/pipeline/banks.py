"""One recording of an engine with two banks, without any known-good: bank against bank.

Both banks carry the same targets and the same drive, so the angle from the intake to the exhaust
cam should be the same on both. Where it is not, one bank has moved inside itself. A bank that moved
as a whole does not show: for that its place against the other bank would have to be known.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NoReturn

import numpy as np

from crankwise.angle.student import combine, student_factor
from crankwise.comparison.separation import apart_deg
from crankwise.comparison.shift import SCATTER
from crankwise.comparison.words import with_uncertainty
from crankwise.errors import UsageError
from crankwise.model.comparison import HealthyLimits, SeparationChange
from crankwise.model.measurement import CamMeasurement, Contribution, Measurement
from crankwise.model.policy import Policy

BANKS = ("bank-1", "bank-2")
_WANTED = tuple(f"{side}-{bank}" for bank in (1, 2) for side in ("intake", "exhaust"))
_TEXT = (
    "bank against bank in one recording: what two healthy banks may differ by is an assumption of "
    "the policy (that of two cams on one chain), and a bank that moved as a whole does not show"
)


def bank_difference(subject: Measurement, policy: Policy) -> SeparationChange:
    """Angle between the cams of bank 2 less that of bank 1.

    Raises
    ------
    UsageError
        The recording does not hold intake and exhaust cams of two banks, or their patterns differ.
    """
    absent = _absent(subject)
    if absent:
        _refuse(subject, absent)
    cams = {cam.role: cam for cam in subject.cams}
    across = [apart_deg(cams[f"{side}-1"], cams[f"{side}-2"]) for side in ("intake", "exhaust")]
    if across[0] is None or across[1] is None:
        raise UsageError(
            "the cam wheels of the two banks differ, so that they can't be laid over each other; "
            "give a known-good with --reference"
        )
    # The same turn lies between the banks for both cams; 360 degrees repeat the pattern.
    change = (across[1] - across[0] + 90.0) % 180.0 - 90.0
    standard, dof, _, expanded = combine([line for role in _WANTED for line in _budget(cams[role])])
    spread = float(np.hypot(policy.spread.separation_deg, standard))
    half = spread * student_factor(policy.spread.build_dof, coverage=policy.limits.coverage)
    return SeparationChange(
        between=BANKS,
        change_deg=change,
        uncertainty_deg=expanded,
        standard_deg=standard,
        dof=dof,
        motion="unchanged" if abs(change) <= expanded else "changed",
        healthy=HealthyLimits(
            low_deg=-half,
            high_deg=half,
            coverage=policy.limits.coverage,
            basis="bank-against-bank",
            known_goods=0,
            text=_TEXT,
        ),
        words=(
            "the angle between intake and exhaust cam of bank 2 differs from that of bank 1 by "
            f"{with_uncertainty(change, expanded)}"
        ),
    )


def has_both_banks(measurement: Measurement) -> bool:
    """Whether a recording holds intake and exhaust cam of two banks."""
    return not _absent(measurement)


def _absent(measurement: Measurement) -> list[str]:
    measured = {cam.role for cam in measurement.cams}
    return [role for role in _WANTED if role not in measured]


def _refuse(subject: Measurement, absent: Sequence[str]) -> NoReturn:
    """Say what keeps the banks from being compared, and what would help."""
    unnamed = [cam.channel for cam in subject.cams if cam.role.startswith("cam-")]
    if unnamed:
        raise UsageError(
            "without a known-good only an engine with two banks can be compared, bank against "
            f"bank, and nothing says which cams are on {', '.join(unnamed)}: name them, for "
            "example with --cam intake-1=CHANNEL, or give a known-good with --reference"
        )
    raise UsageError(
        "without a known-good only an engine with two banks can be compared, bank against bank, "
        f"and not measured: {', '.join(absent)}. Record the crank and all four cams "
        "at once, or give a known-good with --reference"
    )


def _budget(cam: CamMeasurement) -> list[Contribution]:
    """Scatter of one cam's place and the tooth errors at its edges, both averaged over them."""
    scatter = float(np.mean([_square(edge.budget, only=True) for edge in cam.edges]))
    rest = float(np.mean([_square(edge.budget, only=False) for edge in cam.edges]))
    cycles = min(edge.count for edge in cam.edges)
    return [
        Contribution(f"scatter of the {cam.role} cam", scatter**0.5, "A", max(cycles - 1.0, 1.0)),
        Contribution(f"crank at the {cam.role} cam", (rest / len(cam.edges)) ** 0.5, "B", None),
    ]


def _square(budget: tuple[Contribution, ...], *, only: bool) -> float:
    return sum(line.standard_deg**2 for line in budget if (line.source == SCATTER) == only)
