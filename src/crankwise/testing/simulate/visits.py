"""The vans of Bramblegate Workshop at any mileage: chains wear in proportion to it."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from crankwise.errors import UsageError
from crankwise.testing.simulate.parts import CamSpec
from crankwise.testing.simulate.presets import PRESETS, VANS
from crankwise.testing.simulate.spec import SimulationSpec

_FRESH_SCATTER_DEG: Final = 0.10
_FRESH_SLACK_DEG: Final = 0.10

_BUILD_DEG: Final = {
    **{
        name: {"exhaust": van.build_exhaust_deg, "intake": van.build_intake_deg}
        for name, van in VANS.items()
    },
    "van-6": {"exhaust": -0.22, "intake": -0.41},
}
"""Where each van's cams stand with a fresh chain, crank degrees against the family."""


def van_at(name: str, *, mileage: int, chain_fitted_at: int = 0) -> SimulationSpec:
    """Describe one of the six vans at a mileage.

    Parameters
    ----------
    name : str
        ``van-1`` to ``van-6``; the preset of that name is the van at its last mileage.
    mileage : int
        Miles on the clock, from ``chain_fitted_at`` on.
    chain_fitted_at : int
        Miles at which its present chain and guides were fitted.

    Raises
    ------
    UsageError
        There is no such van, or the chain would be fitted later than that.
    """
    if name not in _BUILD_DEG:
        raise UsageError(f"no van {name!r}; there are {', '.join(_BUILD_DEG)}")
    if not 0 <= chain_fitted_at <= mileage:
        raise UsageError(
            f"{name}: a chain fitted at {chain_fitted_at} miles is not there yet at {mileage}"
        )
    last = PRESETS[name]
    share = (mileage - chain_fitted_at) / int(last.facts["mileage"])
    return replace(
        last,
        about=f"Bramblegate Workshop, {name}, {mileage} miles",
        cams=tuple(_worn(cam, _BUILD_DEG[name][cam.role], share) for cam in last.cams),
        facts={**last.facts, "mileage": str(mileage)},
    )


def _worn(last: CamSpec, build_deg: float, share: float) -> CamSpec:
    def between(fresh: float, worn: float) -> float:
        return fresh + (worn - fresh) * share

    return replace(
        last,
        shift_deg=between(build_deg, last.shift_deg),
        scatter_deg=between(min(_FRESH_SCATTER_DEG, last.scatter_deg), last.scatter_deg),
        slack_deg=between(min(_FRESH_SLACK_DEG, last.slack_deg), last.slack_deg),
    )
