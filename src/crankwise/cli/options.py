"""Options that several commands share, and how what is typed becomes values."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from crankwise.errors import UsageError
from crankwise.language import LANGUAGES, using

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

PICTURE_SUFFIXES: Final = (".svg", ".png")
_LONGEST_INTERVAL_S: Final = 0.1
_SECONDS_IN: Final = {"": 1.0, "s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "ns": 1e-9}


@dataclass(frozen=True, slots=True)
class Shared:
    """What was asked before the command's name."""

    quiet: bool
    store: str | None = None


def _speak(ctx: typer.Context, value: str | None) -> str | None:
    """Speak a language from here on, until the command has ended."""
    if value is None or ctx.resilient_parsing:
        return value
    if value not in LANGUAGES:
        raise typer.BadParameter(
            f"there is no language {value!r}; give one of: {', '.join(LANGUAGES)}"
        )
    ctx.with_resource(using(value))
    return value


Lang = Annotated[
    str | None,
    # Before all others, so that what is wrong with them is said in it.
    typer.Option(
        "--lang", metavar="CODE", callback=_speak, is_eager=True, help="Language: en, de."
    ),
]
Quiet = Annotated[
    bool, typer.Option("--quiet", "-q", help="Print nothing but errors and what --json asks for.")
]
Crank = Annotated[
    str | None, typer.Option("--crank", metavar="CHANNEL", help="Channel of the crank sensor.")
]
Cams = Annotated[
    list[str] | None,
    typer.Option(
        "--cam",
        metavar="ROLE=CHANNEL",
        help="Channel of a cam sensor, e.g. intake=CH2 or exhaust-2=CH5; may be repeated.",
    ),
]
Interval = Annotated[
    str | None,
    typer.Option(
        "--interval",
        metavar="SECONDS",
        help="Sampling interval, for a file that does not say it: 0.00001 or 10us.",
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]
Picture = Annotated[
    Path | None,
    typer.Option("--picture", metavar="FILE", help="Draw the angle view as .svg or .png."),
]


def is_quiet(ctx: typer.Context, *, quiet: bool) -> bool:
    """Whether ``--quiet`` stands before or after the command's name."""
    return quiet or (isinstance(ctx.obj, Shared) and ctx.obj.quiet)


def parse_interval(text: str | None) -> float | None:
    """Read a sampling interval in seconds.

    Raises
    ------
    UsageError
        Not a positive time below 0.1 s, with a unit this knows.

    >>> parse_interval("10us"), parse_interval("0.00001"), parse_interval("2 ms")
    (1e-05, 1e-05, 0.002)
    """
    if text is None:
        return None
    match = re.fullmatch(r"\s*(\d+\.?\d*|\.\d+)(e[+-]?\d{1,3})?\s*([a-zµμ]*)\s*", text)
    if match is None or match[3] not in _SECONDS_IN:
        raise UsageError(
            f"--interval {text!r} is not a time: write seconds (0.00001) or a unit (10us, 0.1ms)"
        )
    # Dividing by an exact power of ten keeps 10us the same number as 0.00001.
    interval_s = float(f"{match[1]}{match[2] or ''}") / round(1.0 / _SECONDS_IN[match[3]])
    if not 0.0 < interval_s < _LONGEST_INTERVAL_S:
        raise UsageError(
            f"--interval {text!r} is {interval_s:g} s, no sampling interval for a crank sensor: "
            "write the unit, for example 10us"
        )
    return interval_s


def parse_cams(pairs: Iterable[str]) -> dict[str, str] | None:
    """Read ``ROLE=CHANNEL`` pairs into a mapping; None where there are none.

    Raises
    ------
    UsageError
        Not a pair, an unknown role, or a role or channel given twice.

    >>> parse_cams(["intake=CH B", "exhaust-2=CH D"])
    {'intake': 'CH B', 'exhaust-2': 'CH D'}
    """
    from crankwise.schemas import RULES, broken_rule  # noqa: PLC0415  keeps --help fast

    cams: dict[str, str] = {}
    rule = RULES["CamMeasurement", "role"]
    for pair in pairs:
        role, equals, channel = pair.partition("=")
        if not equals or not channel or broken_rule(rule, role):
            raise UsageError(
                f"--cam {pair!r} is not ROLE=CHANNEL: write {rule.words}, then = and its channel"
            )
        if role in cams or channel in cams.values():
            raise UsageError(f"--cam {pair!r} gives a role or a channel a second time")
        cams[role] = channel
    return cams or None


def check_outputs(inputs: Sequence[Path], *, output: Path | None, picture: Path | None) -> None:
    """Refuse places for results that can't work before anything is measured.

    Raises
    ------
    UsageError
        A result would replace an input, two results share a name, the picture has no known
        ending, or a folder does not exist.
    """
    if picture is not None and picture.suffix.lower() not in PICTURE_SUFFIXES:
        raise UsageError(f"--picture {picture}: end the name in .svg or .png")
    if picture is not None and output is not None and picture.resolve() == output.resolve():
        raise UsageError(f"--output and --picture both name {picture}: give them two names")
    for place in (output, picture):
        if place is None:
            continue
        if place.exists() and any(item.exists() and place.samefile(item) for item in inputs):
            raise UsageError(f"{place} is a file to read from: choose another name for the result")
        if not place.resolve().parent.is_dir():
            raise UsageError(f"{place}: its folder does not exist; make it first")
