"""What is known of an engine and of the chain or belt that drives its camshafts.

Everything is optional: ``None`` and the empty tuple mean that it is not known, never a default.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from crankwise.errors import UsageError

DriveKind = Literal["chain", "belt"]
Parked = Literal["retarded", "advanced", "middle"]
Interference = Literal["yes", "no", "unknown"]

CRANK = "crank"
"""Name of the crankshaft among the shafts."""


@dataclass(frozen=True, slots=True)
class Phaser:
    """A cam phaser.

    Attributes
    ----------
    fitted : bool
        ``False`` says that the cam is known to have none.
    parked : {"retarded", "advanced", "middle"} or None
        Where its lock pin holds it with the solenoid unplugged.
    authority_deg : float or None
        Whole range from stop to stop, crank degrees.
    """

    fitted: bool = True
    parked: Parked | None = None
    authority_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Cam:
    """One camshaft.

    Attributes
    ----------
    role : str
        ``intake``, ``exhaust``, with a bank ``intake-1`` …, or ``cam-1`` …
    wheel : str
        The sensor's target in a few words; empty if not known.
    wheel_teeth : int or None
        Real teeth of the target.
    phaser : Phaser or None
        ``None``: not known whether there is one.
    """

    role: str
    wheel: str = ""
    wheel_teeth: int | None = None
    phaser: Phaser | None = None


@dataclass(frozen=True, slots=True)
class Sprocket:
    """One sprocket or belt pulley with teeth.

    Attributes
    ----------
    shaft : str
        ``crank``, the role of a cam, or a name of one's own for another shaft.
    teeth : int or None
    cams : tuple of str
        Roles of the cams that turn with this shaft: the cam itself, or several geared together.
    accessory : bool
        Turns a pump or the like, and no cam.
    """

    shaft: str
    teeth: int | None = None
    cams: tuple[str, ...] = ()
    accessory: bool = False


@dataclass(frozen=True, slots=True)
class Span:
    """The free strand from one sprocket to the next on the path.

    Attributes
    ----------
    length_pitches, length_mm : float or None
        Free length of the new chain between the teeth it engages, in the unit it was given;
        at most one of the two.
    guide : str
        Name of the guide or blade beside it; empty if there is none or it is not known.
    tensioner : bool
        Whether the tensioner works on this span.
    """

    length_pitches: float | None = None
    length_mm: float | None = None
    guide: str = ""
    tensioner: bool = False


@dataclass(frozen=True, slots=True)
class Drive:
    """One chain or belt.

    Attributes
    ----------
    name : str
    kind : {"chain", "belt"}
    pitch_mm : float or None
    links : int or None
        Length of the whole chain or belt in pitches.
    sprockets : tuple of Sprocket
        In path order: the driving one first, then along the strand it pulls (the tight strand),
        so that the last is the one before the slack side.
    spans : tuple of Span
        ``spans[i]`` runs from ``sprockets[i]`` to the next; the last one, back to the driving
        sprocket, is the slack side. As many as there are sprockets; left out, nothing is known
        of any.
    path_known : bool
        ``False``: the sprockets are right but not which strand is tight.
    """

    name: str
    kind: DriveKind
    pitch_mm: float | None = None
    links: int | None = None
    sprockets: tuple[Sprocket, ...] = ()
    spans: tuple[Span, ...] = ()
    path_known: bool = True

    def __post_init__(self) -> None:
        if not self.spans:
            object.__setattr__(self, "spans", (Span(),) * len(self.sprockets))
        if len(self.spans) != len(self.sprockets):
            raise UsageError(
                f"drive '{self.name}': {len(self.spans)} spans for {len(self.sprockets)} "
                "sprockets; a loop has as many of one as of the other"
            )

    def span_name(self, index: int) -> str:
        """Name of a span by the two shafts it joins, for example ``crank to exhaust``."""
        following = self.sprockets[(index + 1) % len(self.sprockets)]
        return f"{self.sprockets[index].shaft} to {following.shaft}"

    def span_length_mm(self, index: int) -> float | None:
        """Free length of a span, mm; ``None`` if it is not known."""
        span = self.spans[index]
        if span.length_mm is not None:
            return span.length_mm
        if span.length_pitches is not None and self.pitch_mm is not None:
            return span.length_pitches * self.pitch_mm
        return None


@dataclass(frozen=True, slots=True)
class Engine:
    """One engine family.

    Attributes
    ----------
    family : str
    cylinders : int or None
    firing_order : tuple of int
    crank_wheel : str
        Name in the wheel catalogue, for example ``60-2``.
    tdc_after_zero_deg : float or None
        Top dead centre of cylinder 1 after the zero, 0 <= angle < 360.
    cams : tuple of Cam
    drives : tuple of Drive
    code_limit_deg : float or None
        Shift at which service information says that the controller sets a correlation code.
    interference : {"yes", "no", "unknown"}
        Whether pistons and valves meet when the timing is lost.
    notes : str
    """

    family: str
    cylinders: int | None = None
    firing_order: tuple[int, ...] = ()
    crank_wheel: str = ""
    tdc_after_zero_deg: float | None = None
    cams: tuple[Cam, ...] = ()
    drives: tuple[Drive, ...] = ()
    code_limit_deg: float | None = None
    interference: Interference = "unknown"
    notes: str = ""

    @property
    def roles(self) -> tuple[str, ...]:
        """Roles of all cams, in file order."""
        return tuple(cam.role for cam in self.cams)

    def cam(self, role: str) -> Cam:
        """Return the cam with this role; raises KeyError."""
        for cam in self.cams:
            if cam.role == role:
                return cam
        raise KeyError(role)
