"""An engine file as a form, and back: every field stands for one value of the file.

Fields are called by their place in the file, counted from 1: ``drive.1.sprocket.2.teeth``. What is
typed is written into the file as it is, and the reader of engine files judges it, so that the form
and the file can't have rules of their own.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

from crankwise.drive.engine_file import FORMAT
from crankwise.drive.engine_writer import Value, toml_value
from crankwise.language import message

if TYPE_CHECKING:
    from collections.abc import Iterator

Kind = Literal["text", "number", "flag", "choice", "words", "numbers"]


@dataclass(frozen=True, slots=True)
class Field:
    """One value of a table: its key, what it is called, and how it is written."""

    key: str
    label: str
    kind: Kind = "text"
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Part:
    """A kind of table: its key, what it is called, its fields and what is inside it.

    ``many`` says that there may be several, which can be added and removed.
    """

    key: str
    label: str
    fields: tuple[Field, ...]
    parts: tuple[Part, ...] = ()
    many: bool = False


ENGINE: Final = Part(
    "",
    message("Engine"),
    (
        Field("family", message("Engine family")),
        Field("cylinders", message("Cylinders"), "number"),
        Field("firing_order", message("Firing order"), "numbers"),
        Field(
            "interference", message("Pistons can hit valves"), "choice", ("yes", "no", "unknown")
        ),
        Field("code_limit_deg", message("Code limit, crank degrees"), "number"),
        Field("notes", message("Notes")),
    ),
    (
        Part(
            "crank",
            message("Crank wheel"),
            (
                Field("wheel", message("Wheel")),
                Field(
                    "tdc_after_zero_deg",
                    message("Top dead centre after the zero, degrees"),
                    "number",
                ),
            ),
        ),
        Part(
            "cam",
            message("Cam"),
            (
                Field("role", message("Role")),
                Field("wheel", message("Sensor wheel in words")),
                Field("wheel_teeth", message("Teeth of the sensor wheel"), "number"),
            ),
            (
                Part(
                    "phaser",
                    message("Phaser"),
                    (
                        Field("fitted", message("Fitted"), "choice", ("true", "false")),
                        Field(
                            "parked",
                            message("Parked"),
                            "choice",
                            ("retarded", "advanced", "middle"),
                        ),
                        Field("authority_deg", message("Range, crank degrees"), "number"),
                    ),
                ),
            ),
            many=True,
        ),
        Part(
            "drive",
            message("Chain or belt"),
            (
                Field("name", message("Name")),
                Field("kind", message("Kind"), "choice", ("chain", "belt")),
                Field("pitch_mm", message("Pitch, mm"), "number"),
                Field("links", message("Links"), "number"),
                Field("path_known", message("Tight strand known"), "choice", ("true", "false")),
            ),
            (
                Part(
                    "sprocket",
                    message("Sprocket"),
                    (
                        Field("shaft", message("Shaft")),
                        Field("teeth", message("Teeth"), "number"),
                        Field("cams", message("Cams that turn with it"), "words"),
                        Field("accessory", message("Turns a pump or the like"), "flag"),
                    ),
                    many=True,
                ),
                Part(
                    "span",
                    message("Span"),
                    (
                        Field("between", message("From, to"), "words"),
                        Field("length_pitches", message("Free length, pitches"), "number"),
                        Field("length_mm", message("or free length, mm"), "number"),
                        Field("guide", message("Guide")),
                        Field("tensioner", message("Tensioner"), "flag"),
                    ),
                    many=True,
                ),
            ),
            many=True,
        ),
    ),
)


@dataclass(frozen=True, slots=True)
class Filled:
    """A table with its values as they are typed, by the place of each field."""

    part: Part
    place: str
    values: Mapping[str, str]
    below: tuple[Filled, ...]


def filled(text: str) -> Filled:
    """Return the form of an engine file's text, which must be TOML."""
    return _filled(ENGINE, "", tomllib.loads(text))


def _filled(part: Part, place: str, table: Mapping[str, Any]) -> Filled:
    below: list[Filled] = []
    for inner in part.parts:
        if inner.many:
            tables = table.get(inner.key, [])
            below += [
                _filled(inner, f"{place}{inner.key}.{number}.", entry)
                for number, entry in enumerate(tables, 1)
            ]
        else:
            below.append(_filled(inner, f"{place}{inner.key}.", table.get(inner.key, {})))
    values = {field.key: _typed(table.get(field.key)) for field in part.fields}
    return Filled(part, place, values, tuple(below))


def _typed(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return ", ".join(str(item) for item in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def text_of(form: Mapping[str, str]) -> str:
    """Return the engine file that a form stands for, whatever was typed."""
    lines = [f'format = "{FORMAT}"', *_lines(ENGINE, "", form)]
    return "\n".join(lines) + "\n"


def _lines(part: Part, place: str, form: Mapping[str, str]) -> Iterator[str]:
    for field in part.fields:
        typed = form.get(place + field.key, "").strip()
        if typed:
            yield f"{field.key} = {toml_value(_value(field, typed))}"
    for inner in part.parts:
        numbers = _numbers(f"{place}{inner.key}.", form) if inner.many else [None]
        for number in numbers:
            start = f"{place}{inner.key}." + (f"{number}." if number else "")
            lines = list(_lines(inner, start, form))
            if lines or inner.many:
                name = re.sub(r"\.\d+", "", start).rstrip(".")
                yield ""
                yield f"[[{name}]]" if inner.many else f"[{name}]"
                yield from lines


def _numbers(start: str, form: Mapping[str, str]) -> list[int]:
    """Numbers of the tables of one kind in a form, in order."""
    found = (re.match(re.escape(start) + r"(\d{1,3})\.", name) for name in form)
    return sorted({int(match[1]) for match in found if match})


def _value(field: Field, typed: str) -> Value:
    """What is written into the file; what is no number is written as text, and refused there."""
    if field.kind == "words":
        return tuple(part.strip() for part in typed.split(",") if part.strip())
    if field.kind == "numbers":
        numbers = re.split(r"[\s,-]+", typed)
        return tuple(map(int, numbers)) if all(n.isdecimal() for n in numbers) else typed
    if typed in {"true", "false"} and field.kind in {"flag", "choice"}:
        return typed == "true"
    return _number(typed) if field.kind == "number" else typed


def _number(typed: str) -> Value:
    plain = typed.replace(",", ".")
    if re.fullmatch(r"-?\d{1,9}", plain):
        return int(plain)
    return float(plain) if re.fullmatch(r"-?\d{0,9}\.\d{1,9}", plain) else typed


def place_of(message: str) -> str:
    """Return the field or table that an error about an engine file speaks of; empty if none.

    >>> place_of("x, [[drive]] 1 'chain', [[drive.sprocket]] 2 'crank': 'teeth' must be a whole")
    'drive.1.sprocket.2.teeth'
    >>> place_of("x, [[cam]] 1 'intake', [cam.phaser]: 'parked' must be one of")
    'cam.1.phaser.parked'
    """
    head, _, rule = message.partition(": ")
    place = ""
    for name, number in re.findall(r"\[+([a-z.]+)\]+(?: (\d+))?", head):
        place += name.rpartition(".")[2] + "." + (f"{number}." if number else "")
    key = re.match(r"'([a-z_]+)'", rule)
    return place + (key[1] if key else "")


def changed(form: Mapping[str, str], action: str) -> dict[str, str]:
    """Return a form with a table added or removed: ``add drive.1.sprocket``, ``remove cam.2``."""
    verb, _, place = action.partition(" ")
    values = dict(form)
    if verb == "add" and re.fullmatch(r"[a-z.\d]{1,60}", place):
        number = max(_numbers(f"{place}.", form), default=0) + 1
        values[f"{place}.{number}.new"] = ""
    elif verb == "remove":
        values = {k: v for k, v in values.items() if not k.startswith(f"{place}.")}
    return values
