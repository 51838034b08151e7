"""Everything the recording check looks at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from crankwise.model.crank_angle import CrankAngle
from crankwise.model.edges import Edges
from crankwise.model.measurement import CamMeasurement, CrankMeasurement
from crankwise.model.recording import Recording
from crankwise.roles.assign import Roles


@dataclass(frozen=True, slots=True, eq=False)
class CheckContext:
    """One recording with all that was found in it.

    ``started`` counts cam edges left out because the engine had just started; ``apart`` counts runs
    of teeth that were left out because the cams lie elsewhere in them. ``stray`` is the share of
    each cam channel's edges that belong to no edge of its pattern (0 to 1).
    """

    recording: Recording
    edges: Mapping[str, Edges]
    roles: Roles
    angle: CrankAngle
    crank: CrankMeasurement
    cams: tuple[CamMeasurement, ...]
    started: int
    apart: int = 0
    stray: Mapping[str, float] = field(default_factory=dict)

    @property
    def crank_edges(self) -> Edges:
        """Edges of the crank channel."""
        return self.edges[self.crank.channel]

    @property
    def is_cranking(self) -> bool:
        """Whether the starter turned the engine all the time."""
        return self.crank.speed_rpm.mean < 400.0
