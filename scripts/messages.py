"""Find the messages of the program in its source: what people read, to be translated.

Three rules, each for its own part of the source:

``said``
    Texts given to ``say``, ``say_many`` and, in templates, ``_``: screens, terminal, pictures; and
    to ``message``, which marks those that a table holds until they are said.
``core``
    The core makes sentences and knows nothing of languages. There every string with a blank or a
    conditional word is a message, unless it is made for machines: docstrings, annotations, keys,
    patterns, arguments of string methods, logging, errors that only programmers meet.
``raised``
    Where texts for people go through ``say`` anyway, the words of an error are messages too.
"""  # noqa: INP001  a script, not a package

from __future__ import annotations

import ast
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from string_finder import Finder, called, trimmed

ROOT: Final = Path(__file__).resolve().parents[1]
SRC: Final = ROOT / "src" / "crankwise"

CORE: Final = (
    "angle", "check", "comparison", "drive", "edges", "judge", "pipeline", "readers", "roles",
    "wheel", "document", "store", "workshop", "schemas", "watch",
)  # fmt: skip
RAISED: Final = ("cli", "picture", "report", "batch", "web", "testing")

TOML: Final = {
    "drive/checks.toml": ("look", "found", "hands", "running", "source"),
    "drive/engines/*.toml": ("family", "name", "guide", "notes", "shaft", "wheel"),
    "judge/policy.toml": ("source",),
}
"""Data files with the keys whose values people read."""

NOT_SEEN: Final = {
    "store/migrations": "statements for the database",
    "store/tables.py": "statements for the database",
    "roles/names.py": "words looked for in channel names",
    "readers/labels.py": "words looked for in headers",
    "readers/example.py": "the recipe for a reader; it reads no format of the world",
    "readers/delimited/numbers.py": "words that scopes write for numbers",
    "web/access/headers.py": "headers for browsers",
    "workshop/scenario.py": "what the people of the invented workshop wrote",
}
"""Modules left out, with the reason."""

NO_MESSAGE: Final = {
    "guide-worn:{1}:{2} to {3}": "key of a cause",
    "elongated:unknown drive": "key of a cause",
    "elongated:unknown drive:{1}": "key of a cause",
    "jumped:unknown drive:{1}": "key of a cause",
    "crank deg": "key of a unit",
    "60-2": "a wheel as everybody writes it",
    "Tarn T20": "name of an invented engine",
    "Fell V6": "name of an invented engine",
    "Crankwise {1}, format 1": "title of a schema, for programs",
    'format = "{1}"': "a line of TOML",
    "value = {1}": "a line of TOML",
    "source = {1}": "a line of TOML",
    "crankwise measure -o": "a command",
    "crankwise compare -o": "a command",
    "true": "a value of TOML",
    "false": "a value of TOML",
    "list[dict[str, Any]]": "a type",
    'format = "crankwise.engine/1"\nfamily = ""': "lines of TOML",
    "all addresses": "key of a counter",
}
"""Texts left out, with the reason."""

BY_HAND: Final = (
    "crank", "cam", "intake", "exhaust", "cam-{1}", "intake-{1}", "exhaust-{1}", "intake cam",
    "exhaust cam", "intake-{1} cam", "exhaust-{1} cam", "bank-{1}", "intake and exhaust cam",
    "exhaust and intake cam", "{1} {2}° late", "{1} {2}° early", "{1}° {2}",
    "{1} mm added between {2}", "{1} teeth after the gap", "{1} teeth before the gap", "in time",
    "out of time", "not judged", "guide", "rpm", "to", "job", "visit", "vehicle",
    "recording", "workshop", "fact", "subject", "other", "all cams", "bank {1}", "intake {1}",
    "exhaust {1}", "cam-{1} {2}", "intake-{1} {2}", "exhaust-{1} {2}",
    "intake-{1} and exhaust-{2} cam", "exhaust-{1} and intake-{2} cam",
    "intake to exhaust", "exhaust to intake", "intake-{1} to exhaust-{2}",
    "exhaust-{1} to intake-{2}", "{1} known-goods of the family", "edges", "angle", "cams",
    "compare", "simulate", "read", "unreachable", "unreadable", "not-measurable", "not-comparable",
    "killed", "defect",
    " and ", " or ", ", and ", ", or ", " and the ", ", and the ",
)  # fmt: skip
"""What the core puts together from parts that no message holds: roles, lists, names of drives."""

SAYING: Final = {"say", "say_many", "message", "told", "_", "open_table"}


@dataclass(frozen=True, slots=True)
class Found:
    """A message and the file it stands in, relative to the project's folder."""

    text: str
    origin: str
    plural: str = ""


def all_messages() -> list[Found]:
    """Every message, by the file it stands in; one that stands in several comes with each."""
    found = [Found(text, "scripts/messages.py") for text in BY_HAND]
    for path in sorted(SRC.rglob("*.py")):
        place = path.relative_to(SRC).as_posix()
        if not any(place.startswith(name) for name in NOT_SEEN):
            found += of_module(ast.parse(path.read_text(encoding="utf-8")), place)
    for pattern, keys in TOML.items():
        for path in sorted(SRC.glob(pattern)):
            values = tomllib.loads(path.read_text(encoding="utf-8"))
            origin = path.relative_to(ROOT).as_posix()
            found += [Found(text, origin) for text in _at_keys(values, keys)]
    for path in sorted(SRC.rglob("templates/**/*.html")):
        found += of_template(path, path.relative_to(ROOT).as_posix())
    return [message for message in found if message.text not in NO_MESSAGE]


def of_module(tree: ast.Module, place: str) -> Iterator[Found]:
    """Messages of one module; ``place`` is its path below the package."""
    package = place.partition("/")[0].removesuffix(".py")
    origin = f"src/crankwise/{place}"
    finder = Finder(tree)
    for node in _parts_for_people(tree, package):
        finder.visit(node)
    words = _literals(tree) if package == "model" else ()
    yield from (Found(text, origin) for text in (*finder.found, *words))
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and called(node) in SAYING:
            yield from _said(node, origin, finder.constants)


def _parts_for_people(tree: ast.Module, package: str) -> Iterator[ast.AST]:
    """Parts of a module in which every string is for people, unless it is for machines."""
    if package in CORE:
        yield tree
    if package in RAISED:
        yield from (node for node in ast.walk(tree) if isinstance(node, ast.Raise))


def _said(call: ast.Call, origin: str, constants: Mapping[str, str]) -> Iterator[Found]:
    """Texts given to what says them, as they stand there or as a constant of the module."""
    texts = [
        constants.get(getattr(node, "id", ""), getattr(node, "value", "")) for node in call.args
    ]
    match called(call), [text for text in texts if isinstance(text, str) and text]:
        case "say_many", [one, many]:
            yield Found(one, origin, many)
        case "open_table", titles:
            yield from (Found(title.strip(), origin) for title in titles)
        case _, [text]:
            yield Found(text, origin)


def of_template(path: Path, origin: str) -> Iterator[Found]:
    """Texts of ``_`` and its like in a template."""
    from jinja2 import Environment, nodes  # noqa: PLC0415  only where there are templates

    tree = Environment(autoescape=True).parse(path.read_text(encoding="utf-8"))
    for call in tree.find_all(nodes.Call):
        texts = [node.value for node in call.args if isinstance(node, nodes.Const)]
        match getattr(call.node, "name", ""), texts:
            case "_" | "say" | "told", [str(text)]:
                yield Found(text, origin)
            case "say_many" | "_many", [str(one), str(many), *_]:
                yield Found(one, origin, many)


def _at_keys(value: object, keys: Sequence[str]) -> Iterator[str]:
    if isinstance(value, dict):
        for key, inner in value.items():
            if key in keys and isinstance(inner, str):
                yield trimmed(inner)
            else:
                yield from _at_keys(inner, keys)
    elif isinstance(value, list):
        for inner in value:
            yield from _at_keys(inner, keys)


def _literals(tree: ast.Module) -> Iterator[str]:
    """Words that a value of the model can be."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Subscript) and getattr(node.value, "id", "") == "Literal":
            for word in ast.walk(node.slice):
                if isinstance(word, ast.Constant) and isinstance(word.value, str):
                    yield word.value
