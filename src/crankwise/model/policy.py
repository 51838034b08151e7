"""What a verdict rests on besides the measurement: limits, spreads, priors, each with its source.

The values stand in ``judge/policy.toml``, in the open; this is only their shape.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

FORMAT = "crankwise.policy/1"

FAULTS = (
    "elongated",
    "guide-worn",
    "slack-side",
    "jumped",
    "phaser-off-stop",
    "crank-target",
    "cam-target",
)
HEALTHY, WRONG_REFERENCE, NONE_OF_THESE = "healthy", "wrong-reference", "none-of-these"
CAUSES = (HEALTHY, *FAULTS, WRONG_REFERENCE, NONE_OF_THESE)
"""Kinds of cause that have a prior."""

OTHER_PAIRS = "two-faults"
"""Key of all pairs of faults that aren't worth a line of their own."""


@dataclass(frozen=True, slots=True)
class LimitPolicy:
    """From where on a shift matters.

    Attributes
    ----------
    code_limit_deg : float
        Shift from which a controller is expected to set a correlation code, crank degrees.
    code_limit_source : str
        Where it comes from, in words.
    worn_share : float
        Share of the code limit from which a shift counts as worn (0 to 1).
    coverage : float
        Share of healthy engines inside the limits of one quantity (0 to 1).
    """

    code_limit_deg: float
    code_limit_source: str
    worn_share: float
    coverage: float


@dataclass(frozen=True, slots=True)
class SpreadPolicy:
    """How much healthy things differ; standard deviations.

    Attributes
    ----------
    cam_deg, separation_deg : float
        Difference between two healthy vehicles of one family, of a cam's place and of the
        separation of two cams on one chain, crank degrees.
    build_dof : float
        For how many observed values ``cam_deg`` and ``separation_deg`` count.
    visit_deg, visit_dof : float
        A cam of the same vehicle on two visits, beyond measurement, crank degrees; two cams vary
        each for itself.
    edge_deg : float
        One edge of a cam's wheel against the others, from one wheel to the next, crank degrees.
    delay_s : float
        Difference of the delays of two sensors with their wiring, seconds.
    ripple_idle_deg, ripple_starter_deg : float
        Phase of the crank's own speed ripple against its pistons at idle (combustion and load
        take part) and turned by the starter (compression alone), crank degrees.
    """

    cam_deg: float
    separation_deg: float
    build_dof: float
    visit_deg: float
    visit_dof: float
    edge_deg: float
    delay_s: float
    ripple_idle_deg: float
    ripple_starter_deg: float


@dataclass(frozen=True, slots=True)
class CausePolicy:
    """How probable causes are before anything is measured, and how sure the hints are.

    Attributes
    ----------
    priors : Mapping of str to float
        For each of :data:`CAUSES`, in any unit: only their ratios matter. That of a kind of fault
        is shared out evenly over the places where the engine can have it.
    pair_factor : float
        Probability of two faults at once over the product of their priors.
    scatter_spread : float
        Standard deviation of the logarithm of the scatter ratio about what a fault hints at.
    scatter_spread_unknown : float
        The same where nothing is hinted at: wrong reference, none of these.
    moving_if_loose, moving_otherwise : float
        Probability that a cam is seen to move while recording, with its phaser off its stop and
        without.
    wear_deg : float
        Standard deviation by which one cam is off what the plain geometry of a worn drive gives,
        crank degrees.
    wrong_common_deg, wrong_each_deg : float
        Standard deviation of the shift against another build or engine: what all cams share, and
        each by itself, crank degrees.
    none_deg : float
        Standard deviation of each cam's shift if none of the causes holds, crank degrees.
    settled_from : float
        Probability of a healthy engine from which no further check is asked for.
    """

    priors: Mapping[str, float]
    pair_factor: float
    scatter_spread: float
    scatter_spread_unknown: float
    moving_if_loose: float
    moving_otherwise: float
    wear_deg: float
    wrong_common_deg: float
    wrong_each_deg: float
    none_deg: float
    settled_from: float


@dataclass(frozen=True, slots=True)
class RefusalPolicy:
    """From where on two recordings aren't compared at all.

    Attributes
    ----------
    edge_residual_deg : float
        Most that one edge may lie off its cam's shift, crank degrees.
    largest_shift_deg : float
        Largest shift that is still believed, crank degrees.
    """

    edge_residual_deg: float
    largest_shift_deg: float


@dataclass(frozen=True, slots=True)
class Policy:
    """The whole policy.

    Attributes
    ----------
    limits : LimitPolicy
    spread : SpreadPolicy
    causes : CausePolicy
    refusal : RefusalPolicy
    sources : Mapping of str to str
        Where each value comes from, by its key such as ``spread.cam_deg``.
    """

    limits: LimitPolicy
    spread: SpreadPolicy
    causes: CausePolicy
    refusal: RefusalPolicy
    sources: Mapping[str, str]
