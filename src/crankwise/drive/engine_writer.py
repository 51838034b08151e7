"""Write an engine back to TOML: the same engine always gives the same text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.drive.engine_file import FORMAT
from crankwise.model.engine import Cam, Drive, Engine, Span, Sprocket

if TYPE_CHECKING:
    from collections.abc import Iterable

Value = str | bool | int | float | tuple[str, ...] | tuple[int, ...] | None

_ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t"}


def to_toml(engine: Engine) -> str:
    """Text of an engine file that :func:`~crankwise.drive.engine_file.load_engine` reads back.

    What is not known is left out.
    """
    lines = [
        *_pairs(
            ("format", FORMAT),
            ("family", engine.family),
            ("cylinders", engine.cylinders),
            ("firing_order", engine.firing_order),
            ("interference", engine.interference),
            ("code_limit_deg", engine.code_limit_deg),
            ("notes", engine.notes),
        )
    ]
    crank = _pairs(("wheel", engine.crank_wheel), ("tdc_after_zero_deg", engine.tdc_after_zero_deg))
    if crank:
        lines += ["", "[crank]", *crank]
    for cam in engine.cams:
        lines += _cam(cam)
    for drive in engine.drives:
        lines += _drive(drive)
    return "\n".join(lines) + "\n"


def _cam(cam: Cam) -> list[str]:
    lines = ["", "[[cam]]"]
    lines += _pairs(("role", cam.role), ("wheel", cam.wheel), ("wheel_teeth", cam.wheel_teeth))
    if cam.phaser is not None:
        lines += ["[cam.phaser]"]
        lines += _pairs(
            ("fitted", cam.phaser.fitted),
            ("parked", cam.phaser.parked),
            ("authority_deg", cam.phaser.authority_deg),
        )
    return lines


def _drive(drive: Drive) -> list[str]:
    lines = ["", "[[drive]]"]
    lines += _pairs(
        ("name", drive.name),
        ("kind", drive.kind),
        ("pitch_mm", drive.pitch_mm),
        ("links", drive.links),
        ("path_known", drive.path_known),
    )
    for sprocket in drive.sprockets:
        lines += _sprocket(sprocket)
    for index, span in enumerate(drive.spans):
        if span != Span():
            lines += _span(drive, index)
    return lines


def _sprocket(sprocket: Sprocket) -> list[str]:
    pairs = _pairs(
        ("shaft", sprocket.shaft),
        ("teeth", sprocket.teeth),
        ("cams", () if sprocket.cams == (sprocket.shaft,) else sprocket.cams),
        ("accessory", sprocket.accessory or None),
    )
    return ["", "[[drive.sprocket]]", *pairs]


def _span(drive: Drive, index: int) -> list[str]:
    span = drive.spans[index]
    following = drive.sprockets[(index + 1) % len(drive.sprockets)]
    pairs = _pairs(
        ("between", (drive.sprockets[index].shaft, following.shaft)),
        ("length_pitches", span.length_pitches),
        ("length_mm", span.length_mm),
        ("guide", span.guide),
        ("tensioner", span.tensioner or None),
    )
    return ["", "[[drive.span]]", *pairs]


def _pairs(*pairs: tuple[str, Value]) -> list[str]:
    return [f"{key} = {toml_value(value)}" for key, value in pairs if value not in (None, "", ())]


def toml_value(value: Value) -> str:
    """Write one value as TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, tuple):
        return _listed(toml_value(item) for item in value)
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    return str(value)


def _listed(items: Iterable[str]) -> str:
    return "[" + ", ".join(items) + "]"


def _quoted(text: str) -> str:
    return '"' + "".join(_ESCAPES.get(char) or _printable(char) for char in text) + '"'


def _printable(char: str) -> str:
    """TOML bars control characters, DEL among them, from text."""
    return f"\\u{ord(char):04x}" if ord(char) < 0x20 or ord(char) == 0x7F else char
