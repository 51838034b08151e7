"""What is to be done to every recording."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

from crankwise import __version__
from crankwise.model.engine import Engine
from crankwise.model.measurement import Measurement
from crankwise.model.policy import Policy


@dataclass(frozen=True)
class Plan:
    """How every recording is measured, and what it is compared with.

    Attributes
    ----------
    crank, cams, interval_s
        As for :func:`crankwise.pipeline.measure` and :func:`crankwise.readers.read`.
    known_goods : tuple of Measurement
        With none, nothing is compared.
    engine, policy, service_limit_deg
        As for :func:`crankwise.pipeline.compare`.
    version : str
        Of this program: another one may measure otherwise.
    """

    crank: str | None = None
    cams: Mapping[str, str] | None = None
    interval_s: float | None = None
    known_goods: tuple[Measurement, ...] = field(default=(), repr=False)
    engine: Engine | None = field(default=None, repr=False)
    policy: Policy | None = field(default=None, repr=False)
    service_limit_deg: float | None = None
    version: str = __version__

    @cached_property
    def digest(self) -> str:
        """Name of the plan: the same plan has the same one, and every other another."""
        parts = (
            self.version, self.crank, sorted((self.cams or {}).items()), self.interval_s,
            self.known_goods, self.engine, self.policy, self.service_limit_deg,
        )  # fmt: skip
        return hashlib.sha256(repr(parts).encode()).hexdigest()[:16]
