"""Faults on demand: each a frozen dataclass that names where it sits.

``role`` is ``crank`` or the role of a cam. Teeth are counted from 1, the first after the zero.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from crankwise.errors import UsageError


@dataclass(frozen=True, slots=True)
class PhaserSpec:
    """A cam phaser: parked, or moving within its authority.

    Attributes
    ----------
    movement : {"parked", "drift", "step", "hunting"}
    authority_deg : (float, float)
        Range it can reach from park, crank degrees; positive is later.
    rate_deg_per_s : float
        Of ``drift``, signed; begins at ``at_s``.
    step_deg, step_s : float
        Of ``step``: size, signed, and the time it takes.
    amplitude_deg, frequency_hz : float
        Of ``hunting``, which swings between park and twice the amplitude (signed).
    at_s : float
        When the movement begins, seconds after the first sample.
    """

    movement: Literal["parked", "drift", "step", "hunting"] = "parked"
    authority_deg: tuple[float, float] = (0.0, 0.0)
    rate_deg_per_s: float = 0.0
    step_deg: float = 0.0
    step_s: float = 0.25
    amplitude_deg: float = 0.0
    frequency_hz: float = 0.0
    at_s: float = 0.0

    def __post_init__(self) -> None:
        low, high = self.authority_deg
        if low > high:
            raise UsageError(f"phaser.authority_deg: {low} is above {high}; give (low, high)")
        if self.step_s <= 0:
            raise UsageError("phaser.step_s: must be positive")


@dataclass(frozen=True, slots=True)
class MissingTooth:
    """A tooth that is not there at all."""

    role: str
    tooth: int
    kind: Literal["missing-tooth"] = "missing-tooth"


@dataclass(frozen=True, slots=True)
class DamagedTooth:
    """A bent or worn tooth: moved by ``shift_deg`` and wider by ``wider_deg`` on both flanks."""

    role: str
    tooth: int
    shift_deg: float = 0.0
    wider_deg: float = 0.0
    kind: Literal["damaged-tooth"] = "damaged-tooth"


@dataclass(frozen=True, slots=True)
class MissedTeeth:
    """Teeth that the sensor misses at random; ``share`` of all (0 to 1)."""

    role: str
    share: float
    kind: Literal["missed-teeth"] = "missed-teeth"


@dataclass(frozen=True, slots=True)
class ExtraEdges:
    """``count`` false pulses of ``width_s`` at random times on a switching sensor."""

    role: str
    count: int
    width_s: float
    kind: Literal["extra-edges"] = "extra-edges"


@dataclass(frozen=True, slots=True)
class Dropout:
    """The signal is gone for a while: a bad plug; ``as_missing`` writes NaN samples instead."""

    role: str
    start_s: float
    duration_s: float
    as_missing: bool = False
    kind: Literal["dropout"] = "dropout"


@dataclass(frozen=True, slots=True)
class SwappedChannels:
    """The probes of two roles are on each other's wire: the channel names are exchanged."""

    first: str
    second: str
    kind: Literal["swapped-channels"] = "swapped-channels"


@dataclass(frozen=True, slots=True)
class ChainJumped:
    """The chain jumped on a cam sprocket: exact steps of 720/sprocket_teeth, positive is later.

    Empty ``roles`` means every cam (the chain jumped on the crank sprocket).
    """

    teeth: int
    sprocket_teeth: int
    roles: tuple[str, ...] = ()
    kind: Literal["chain-jumped"] = "chain-jumped"


@dataclass(frozen=True, slots=True)
class PhaserMoving:
    """The phaser of one cam moves during the recording."""

    role: str
    phaser: PhaserSpec
    kind: Literal["phaser-moving"] = "phaser-moving"


@dataclass(frozen=True, slots=True)
class TargetMoved:
    """The crank target, a cam target or its sensor sits ``shift_deg`` later than it should.

    A crank target that sits later makes every cam look earlier by as much.
    """

    role: str
    shift_deg: float
    kind: Literal["target-moved"] = "target-moved"


@dataclass(frozen=True, slots=True)
class Stall:
    """The engine dies ``at_s`` seconds after the first sample."""

    at_s: float
    kind: Literal["stall"] = "stall"


Fault = (
    MissingTooth
    | DamagedTooth
    | MissedTeeth
    | ExtraEdges
    | Dropout
    | SwappedChannels
    | ChainJumped
    | PhaserMoving
    | TargetMoved
    | Stall
)
