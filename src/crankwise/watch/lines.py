"""What a file that was seen comes down to on one line: speed, each cam, the verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from crankwise.angle.position import from_gap_deg
from crankwise.language import told
from crankwise.picture.words import angle_words, shift_words

if TYPE_CHECKING:
    from crankwise.model.comparison import CamShift, EdgeShift, Level
    from crankwise.model.measurement import CamEdge, CamMeasurement
    from crankwise.model.seen import Seen


@dataclass(frozen=True, slots=True)
class CamLine:
    """One cam: its edge next to the gap.

    Attributes
    ----------
    role : str
    place : str
        As counted in teeth.
    degrees : str
        The shift with its uncertainty where it was compared, else the angle with its own.
    """

    role: str
    place: str
    degrees: str


@dataclass(frozen=True, slots=True)
class Line:
    """One file, as the language spoken writes it.

    Attributes
    ----------
    name : str
    level : str or None
        Of the verdict, if there is one.
    speed : str
        Empty where nothing was measured.
    cams : tuple of CamLine
    remarks : str
        What else there is to say.
    """

    name: str
    level: Level | None
    speed: str
    cams: tuple[CamLine, ...]
    remarks: str


def line_of(seen: Seen) -> Line:
    """Return what is told of a file on one line."""
    compared, measured = seen.comparison, seen.measurement
    speed = told(f"{measured.crank.speed_rpm.mean:.0f} rpm") if measured else ""
    if compared is not None and compared.cams:
        cams = tuple(_compared(cam) for cam in compared.cams)
    else:
        cams = tuple(_measured(cam) for cam in measured.cams if cam.edges) if measured else ()
    level = compared.verdict.level if compared else None
    return Line(seen.file.path, level, speed, cams, _remarks(seen.text))


def _remarks(text: str) -> str:
    """Tell as a whole what is one sentence, else each remark by itself."""
    whole = told(text)
    return whole if whole != text else "; ".join(map(told, text.split("; ")))


def _compared(cam: CamShift) -> CamLine:
    edge: EdgeShift = min(cam.edges, key=lambda edge: from_gap_deg(edge.known_good_deg))
    return CamLine(cam.role, edge.subject_teeth, shift_words(cam.shift_deg, cam.uncertainty_deg))


def _measured(cam: CamMeasurement) -> CamLine:
    edge: CamEdge = min(cam.edges, key=lambda edge: from_gap_deg(edge.angle_deg))
    return CamLine(cam.role, edge.teeth, angle_words(edge.angle_deg, edge.uncertainty_deg))
