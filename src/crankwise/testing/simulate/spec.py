"""The whole specification: what turns, what is wrong with it, and the scope that records it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from crankwise.errors import UsageError
from crankwise.testing.simulate.faults import (
    ChainJumped,
    Fault,
    PhaserMoving,
    Stall,
    SwappedChannels,
)
from crankwise.testing.simulate.parts import CamSpec, CrankSpec, EngineSpec, SpeedSpec, require

MAX_SAMPLES = 200_000_000
"""Refuse anything larger: a typing slip in the interval would fill the memory."""


@dataclass(frozen=True, slots=True)
class ExtraSpec:
    """A channel that is neither crank nor cam.

    Attributes
    ----------
    kind : {"flat", "injector", "ignition"}
        ``flat`` rests at ``level_v``; ``injector`` is pulled to ground for ``pulse_s`` once a
        cycle and kicks up as it lets go; ``ignition`` shows a short pulse at every firing.
    channel : str
    level_v : float
        Resting level.
    pulse_s : float
        Length of a pulse.
    """

    kind: Literal["flat", "injector", "ignition"]
    channel: str
    level_v: float
    pulse_s: float = 3e-3


@dataclass(frozen=True, slots=True)
class ScopeSpec:
    """The recording instrument.

    Attributes
    ----------
    duration_s : float
        From the first sample on.
    kind : {"sampled", "events"}
        Samples, or a list of state changes as a logic analyser saves it.
    interval_s, rate_hz : float or None
        Give one of them for samples.
    resolution_s : float or None
        Time step of an event list; ``None`` keeps the times exact.
    range_v : float or None
        Full scale, plus and minus; beyond it the signal is clipped. ``None`` never clips.
    bits : int or None
        Resolution over twice ``range_v``; ``None`` is ideal.
    over_range : {"flat", "infinite"}
        What is written beyond the range: the limit itself, or infinity.
    noise_v : float
        Standard deviation of white noise.
    coupling : {"dc", "ac"}
    corner_hz : float
        Corner of AC coupling.
    drift_v, drift_hz : float
        Amplitude and frequency of a wandering baseline.
    spike_v : float
        Largest height of the spikes picked up at each firing.
    spike_s : float
        Time constant with which a spike dies out.
    start_s : float
        Time written for the first sample.
    order : tuple of str
        Channel names in file order; empty means crank, cams, others.
    """

    duration_s: float
    kind: Literal["sampled", "events"] = "sampled"
    interval_s: float | None = None
    rate_hz: float | None = None
    resolution_s: float | None = None
    range_v: float | None = None
    bits: int | None = None
    over_range: Literal["flat", "infinite"] = "flat"
    noise_v: float = 0.0
    coupling: Literal["dc", "ac"] = "dc"
    corner_hz: float = 1.0
    drift_v: float = 0.0
    drift_hz: float = 0.5
    spike_v: float = 0.0
    spike_s: float = 15e-6
    start_s: float = 0.0
    order: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        require(
            what="scope.duration_s",
            holds=0 < self.duration_s <= 3600,
            rule="must be above 0 and at most 3600 s",
        )
        if self.kind == "events":
            require(
                what="scope.resolution_s",
                holds=self.resolution_s is None or self.resolution_s > 0,
                rule="must be positive",
            )
            return
        given = [value for value in (self.interval_s, self.rate_hz) if value is not None]
        require(
            what="scope",
            holds=len(given) == 1,
            rule="give either interval_s or rate_hz for a sampled recording",
        )
        require(what="scope interval", holds=given[0] > 0, rule="must be positive")
        require(
            what="scope",
            holds=self.duration_s / self.step_s < MAX_SAMPLES,
            rule=f"more than {MAX_SAMPLES} samples; shorten duration_s or sample more slowly",
        )
        require(
            what="scope.bits",
            holds=self.bits is None or (1 <= self.bits <= 24 and self.range_v is not None),
            rule="must be 1 to 24 and needs range_v",
        )

    @property
    def step_s(self) -> float:
        """Sampling interval of a sampled recording.

        Raises
        ------
        UsageError
            It is an event list.
        """
        if self.interval_s is not None:
            return self.interval_s
        if self.rate_hz is not None:
            return 1.0 / self.rate_hz
        raise UsageError("scope: an event list has no sampling interval")


@dataclass(frozen=True, slots=True)
class SimulationSpec:
    """Everything needed to make one recording; together with a seed it fixes every sample.

    Attributes
    ----------
    name : str
        Of the recording.
    engine : EngineSpec
    speed : SpeedSpec
    crank : CrankSpec
    cams : tuple of CamSpec
    scope : ScopeSpec
    extras : tuple of ExtraSpec
        Channels beside crank and cams.
    faults : tuple of Fault
    vehicle : str
        Recordings with the same name here have the same errors of their targets whatever the
        seed: one vehicle on several visits. Empty draws them from the seed.
    start_angle_deg : float or None
        Crank angle at the first sample; ``None`` draws it.
    about : str
        What it shows, in a sentence.
    facts : Mapping of str to str
        What a workshop would note beside it: engine family, mileage …
    """

    name: str
    engine: EngineSpec
    speed: SpeedSpec
    crank: CrankSpec
    cams: tuple[CamSpec, ...]
    scope: ScopeSpec
    extras: tuple[ExtraSpec, ...] = ()
    faults: tuple[Fault, ...] = ()
    vehicle: str = ""
    start_angle_deg: float | None = None
    about: str = ""
    facts: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        names = self.channel_names
        require(
            what="channels",
            holds=len(set(names)) == len(names),
            rule=f"two have the same name among {', '.join(names)}",
        )
        roles = ["crank", *(cam.role for cam in self.cams)]
        require(
            what="cams",
            holds=len(set(roles)) == len(roles),
            rule=f"two have the same role among {', '.join(roles[1:])}",
        )
        order = self.scope.order
        require(
            what="scope.order",
            holds=not order or sorted(order) == sorted(names),
            rule=f"must hold each of {', '.join(names)} once",
        )
        for fault in self.faults:
            self._check_roles(fault, roles)

    def _check_roles(self, fault: Fault, roles: list[str]) -> None:
        if isinstance(fault, Stall):
            return
        if isinstance(fault, SwappedChannels):
            named: tuple[str, ...] = (fault.first, fault.second)
        elif isinstance(fault, ChainJumped):
            named = fault.roles
        else:
            named = (fault.role,)
        allowed = roles[1:] if isinstance(fault, ChainJumped | PhaserMoving) else roles
        for role in named:
            require(
                what=f"fault {fault.kind}",
                holds=role in allowed,
                rule=f"no role {role!r} here; there are {', '.join(allowed)}",
            )

    @property
    def channel_names(self) -> tuple[str, ...]:
        """Names of all channels: crank, cams, others."""
        return (
            self.crank.channel,
            *(cam.channel for cam in self.cams),
            *(extra.channel for extra in self.extras),
        )
