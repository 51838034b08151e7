"""The shift from which a controller is expected to set a code."""

from __future__ import annotations

from dataclasses import dataclass

from crankwise.drive.growth import smallest_tooth_step_deg
from crankwise.model.engine import Engine
from crankwise.model.policy import Policy

SERVICE = "service information"


@dataclass(frozen=True, slots=True)
class CodeLimit:
    """Crank degrees, and where the figure comes from in words."""

    degrees: float
    source: str


def code_limit(engine: Engine | None, policy: Policy, service_limit_deg: float | None) -> CodeLimit:
    """Limit to judge by: typed in, from the engine file, a sprocket tooth, or the policy's.

    A figure from service information goes before everything. One tooth of the cam sprocket is a
    limit where it is smaller: makers call a tooth a fault (facts of several makers: one tooth).
    """
    if service_limit_deg is not None:
        return CodeLimit(service_limit_deg, f"{SERVICE}, as given")
    if engine is not None and engine.code_limit_deg is not None:
        return CodeLimit(engine.code_limit_deg, f"engine file of the {engine.family}")
    limit = CodeLimit(policy.limits.code_limit_deg, policy.limits.code_limit_source)
    step = smallest_tooth_step_deg(engine) if engine is not None else None
    if step is not None and step < limit.degrees:
        return CodeLimit(step, "one tooth of the cam sprocket")
    return limit
