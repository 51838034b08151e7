"""Read an engine file (TOML); ``docs/engine-file.md`` describes it."""

from __future__ import annotations

import re
from functools import cache
from importlib import resources
from pathlib import Path

from crankwise.drive.path import problem_of
from crankwise.drive.tables import Table
from crankwise.errors import UnreadableError
from crankwise.given import text_of
from crankwise.model.engine import Cam, Drive, DriveKind, Engine, Phaser, Span, Sprocket

FORMAT = "crankwise.engine/1"
ROLE = re.compile(r"(?:intake|exhaust)(?:-[1-9])?|cam-[1-9]\d?")
_ROLE_RULE = "intake, exhaust, with a bank intake-1, exhaust-2 …, or cam-1, cam-2 …"


def load_engine(source: Path | str) -> Engine:
    """Read an engine file.

    Parameters
    ----------
    source : Path or str
        A file; the name of a shipped engine such as ``tarn-t20``, where there is no file of that
        name; or the text of an engine file, told by its line breaks.

    Raises
    ------
    UnreadableError
        It can't be read, or says something impossible; names file, table, key and what is
        allowed.
    """
    if isinstance(source, str) and "\n" in source:
        return parse_engine(source, where="engine file", family="unnamed engine")
    path = Path(source)
    try:
        text = text_of(path)
    except (OSError, ValueError) as error:
        if isinstance(error, FileNotFoundError) and str(source) in shipped():
            return shipped()[str(source)]
        raise UnreadableError(
            f"{source}: the engine file can't be read ({_reason(error)}); check the path, or name "
            f"one of {', '.join(shipped())}"
        ) from error
    return parse_engine(text, where=path.name, family=path.stem)


@cache
def shipped() -> dict[str, Engine]:
    """Engines that come with the package, by name: the two of the demo and generic layouts."""
    folder = resources.files("crankwise.drive").joinpath("engines")
    files = sorted(
        (entry for entry in folder.iterdir() if entry.name.endswith(".toml")),
        key=lambda entry: (entry.name.startswith("generic-"), entry.name),
    )
    return {
        entry.name.removesuffix(".toml"): parse_engine(
            entry.read_text("utf-8"), where=entry.name, family=entry.name
        )
        for entry in files
    }


def parse_engine(text: str, *, where: str, family: str) -> Engine:
    """Read the text of an engine file.

    Parameters
    ----------
    text : str
    where : str
        What to call the file in messages.
    family : str
        Name of the engine where the text gives none.

    Raises
    ------
    UnreadableError
        As :func:`load_engine`.
    """
    engine = _engine(Table.of_text(text, where=where), family)
    problem = problem_of(engine)
    if problem:
        raise UnreadableError(f"{where}: {problem}")
    return engine


def _reason(error: OSError | ValueError) -> str:
    if isinstance(error, OSError):
        return error.strerror or type(error).__name__
    return "it isn't UTF-8 text"


def _engine(table: Table, family: str) -> Engine:
    stated = table.text("format")
    if stated not in {"", FORMAT}:
        raise table.refuse(f"'format' is '{stated}'; this version reads {FORMAT}")
    cylinders = table.whole("cylinders", least=1, most=16)
    crank = table.table("crank") or Table({}, where=table.where)
    drives = [_drive(entry, number) for number, entry in _numbered(table, "drive")]
    engine = Engine(
        family=table.text("family") or family,
        cylinders=cylinders,
        firing_order=_firing_order(table, cylinders),
        crank_wheel=crank.text("wheel"),
        tdc_after_zero_deg=crank.angle("tdc_after_zero_deg", below=360.0),
        cams=_cams(table, tuple(drives)),
        drives=tuple(drives),
        code_limit_deg=table.number("code_limit_deg", above=0, most=90),
        interference=table.choice("interference", ("yes", "no", "unknown")) or "unknown",
        notes=table.text("notes"),
    )
    crank.finish()
    table.finish()
    _unique(table, "drive", "name", [drive.name for drive in drives])
    return engine


def _numbered(table: Table, key: str) -> list[tuple[int, Table]]:
    return list(enumerate(table.tables(key, named_by="name"), start=1))


def _firing_order(table: Table, cylinders: int | None) -> tuple[int, ...]:
    order = table.wholes("firing_order")
    count = len(order) if cylinders is None else cylinders
    if order and sorted(order) != list(range(1, count + 1)):
        raise table.refuse(f"'firing_order' must hold each of the cylinders 1 to {count} once")
    return order


def _cams(table: Table, drives: tuple[Drive, ...]) -> tuple[Cam, ...]:
    """Cams listed, then those that only a sprocket names (a cam without a sensor)."""
    listed = [_cam(entry) for entry in table.tables("cam", named_by="role")]
    roles = [cam.role for cam in listed]
    _unique(table, "cam", "role", roles)
    for drive in drives:
        for role in (role for sprocket in drive.sprockets for role in sprocket.cams):
            if role not in roles:
                roles.append(role)
                listed.append(Cam(role))
    return tuple(listed)


def _cam(table: Table) -> Cam:
    role = table.text("role")
    _check_role(table, "role", role)
    phaser = table.table("phaser")
    cam = Cam(
        role=role,
        wheel=table.text("wheel"),
        wheel_teeth=table.whole("wheel_teeth", least=1, most=360),
        phaser=_phaser(phaser) if phaser else None,
    )
    table.finish()
    return cam


def _phaser(table: Table) -> Phaser:
    phaser = Phaser(
        fitted=table.flag("fitted", absent=True),
        parked=table.choice("parked", ("retarded", "advanced", "middle")),
        authority_deg=table.number("authority_deg", above=0, most=180),
    )
    table.finish()
    if not phaser.fitted and (phaser.parked or phaser.authority_deg):
        raise table.refuse("'fitted' is false, so 'parked' and 'authority_deg' make no sense")
    return phaser


def _drive(table: Table, number: int) -> Drive:
    kind: DriveKind | None = table.choice("kind", ("chain", "belt"))
    if kind is None:
        raise table.refuse('\'kind\' is missing; write kind = "chain" or kind = "belt"')
    sprockets = tuple(_sprocket(entry) for entry in table.tables("sprocket", named_by="shaft"))
    if len(sprockets) < 2:
        raise table.refuse(
            "it needs its sprockets, each a [[drive.sprocket]]: the driving one first, then "
            "along the tight strand"
        )
    drive = Drive(
        name=table.text("name") or f"{kind} {number}",
        kind=kind,
        pitch_mm=table.number("pitch_mm", above=0, most=60),
        links=table.whole("links", least=8, most=2000),
        sprockets=sprockets,
        spans=_spans(table, sprockets),
        path_known=table.flag("path_known", absent=True),
    )
    table.finish()
    return drive


def _sprocket(table: Table) -> Sprocket:
    shaft = table.text("shaft")
    if not shaft:
        raise table.refuse("'shaft' is missing; write crank, a cam's role, or a name of your own")
    cams = table.words("cams")
    for role in cams:
        _check_role(table, "cams", role)
    if not cams and ROLE.fullmatch(shaft):
        cams = (shaft,)
    sprocket = Sprocket(
        shaft=shaft,
        teeth=table.whole("teeth", least=6, most=300),
        cams=cams,
        accessory=table.flag("accessory", absent=False),
    )
    table.finish()
    return sprocket


def _spans(table: Table, sprockets: tuple[Sprocket, ...]) -> tuple[Span, ...]:
    """Spans in path order; those not listed are there, with nothing known of them."""
    shafts = [sprocket.shaft for sprocket in sprockets]
    places = list(zip(shafts, [*shafts[1:], shafts[0]], strict=True))
    spans: dict[tuple[str, str], Span] = {}
    for entry in table.tables("span", named_by="guide"):
        ends = entry.words("between")
        place = (ends[0], ends[1]) if len(ends) == 2 else ("", "")
        if place not in places:
            allowed = ", ".join(f'["{start}", "{end}"]' for start, end in places)
            raise entry.refuse(f"'between' must be one of {allowed}, in the order of the path")
        if place in spans:
            raise entry.refuse(f"the span between {place[0]} and {place[1]} stands twice")
        spans[place] = _span(entry)
    return tuple(spans.get(place, Span()) for place in places)


def _span(table: Table) -> Span:
    span = Span(
        length_pitches=table.number("length_pitches", above=0, most=2000),
        length_mm=table.number("length_mm", above=0, most=20_000),
        guide=table.text("guide"),
        tensioner=table.flag("tensioner", absent=False),
    )
    table.finish()
    if span.length_pitches is not None and span.length_mm is not None:
        raise table.refuse("give 'length_pitches' or 'length_mm', not both")
    return span


def _check_role(table: Table, key: str, role: str) -> None:
    if not ROLE.fullmatch(role):
        raise table.refuse(f"'{key}' must be {_ROLE_RULE}, not '{role}'")


def _unique(table: Table, kind: str, key: str, names: list[str]) -> None:
    for name in names:
        if names.count(name) > 1:
            raise table.refuse(f"two [[{kind}]] tables have the {key} '{name}'; give each its own")
