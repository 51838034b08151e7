"""An engine and its drives in words, as they stand around the drawing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.language import say, told
from crankwise.model.engine import CRANK
from crankwise.roles.naming import cam_name

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crankwise.model.engine import Cam, Drive, Engine, Span, Sprocket


def facts(engine: Engine) -> str:
    """Cylinders, firing order, interference and code limit, as far as known, in one line."""
    found = []
    if engine.cylinders is not None:
        found.append(say("{count} cylinders", count=engine.cylinders))
    if engine.firing_order:
        order = "-".join(map(str, engine.firing_order))
        found.append(say("firing order {order}", order=order))
    if engine.interference == "yes":
        found.append(say("valves and pistons meet when the timing is lost"))
    elif engine.interference == "no":
        found.append(say("valves and pistons do not meet"))
    if engine.code_limit_deg is not None:
        found.append(say("code limit {limit}°", limit=told(f"{engine.code_limit_deg:g}")))
    return " · ".join(found)


def drive_words(drive: Drive) -> str:
    """Name a drive with its pitch and length."""
    found = []
    if drive.kind not in drive.name:
        found.append(say("chain") if drive.kind == "chain" else say("toothed belt"))
    if drive.pitch_mm is not None:
        found.append(say("pitch {pitch} mm", pitch=told(f"{drive.pitch_mm:g}")))
    else:
        found.append(say("pitch not given"))
    if drive.links is not None:
        found.append(say("{count} pitches long", count=drive.links))
    if not drive.path_known:
        found.append(say("which strand is tight is not known"))
    return f"{told(drive.name)}: {', '.join(found)}"


def shaft_name(shaft: str, engine: Engine) -> str:
    """Name of a shaft for people."""
    if shaft == CRANK:
        return say("crank")
    return told(cam_name(shaft) if shaft in engine.roles else shaft)


def sprocket_words(engine: Engine, shaft: str) -> Iterator[str]:
    """What is known of the sprockets on a shaft, and of the cams it turns."""
    on_shaft = [
        (drive, sprocket)
        for drive in engine.drives
        for sprocket in drive.sprockets
        if sprocket.shaft == shaft
    ]
    if all(sprocket.teeth is None for _, sprocket in on_shaft):
        yield say("teeth not given")
    else:
        for drive, sprocket in on_shaft:
            yield _teeth(sprocket, told(drive.name) if len(on_shaft) > 1 else "")
    if any(sprocket.accessory for _, sprocket in on_shaft):
        yield say("turns no cam")
    yield from phaser_words(engine, shaft)


def _teeth(sprocket: Sprocket, drive: str) -> str:
    if sprocket.teeth is None:
        words = say("teeth not given")
    else:
        words = say("{count} teeth", count=sprocket.teeth)
    return f"{words}, {drive}" if drive else words


def phaser_words(engine: Engine, role: str) -> Iterator[str]:
    """What is known of a cam's phaser."""
    phaser = next((cam.phaser for cam in engine.cams if cam.role == role), None)
    if phaser is None:
        return
    if not phaser.fitted:
        yield say("no phaser")
        return
    words = say("phaser")
    if phaser.parked is not None:
        words = say("phaser parks {where}", where=say(phaser.parked))
    if phaser.authority_deg is not None:
        words += say(", range {range}° crank", range=told(f"{phaser.authority_deg:g}"))
    yield words


def span_name(span: Span) -> str:
    """Name of what stands beside a strand; empty where nothing does."""
    if span.guide:
        return told(span.guide)
    return say("tensioner") if span.tensioner else ""


def span_ends(drive: Drive, index: int) -> str:
    """Name the two shafts that a strand joins."""
    following = drive.sprockets[(index + 1) % len(drive.sprockets)]
    return say(
        "{one} to {other}", one=told(drive.sprockets[index].shaft), other=told(following.shaft)
    )


def span_words(drive: Drive, index: int, *, is_only: bool) -> Iterator[str]:
    """What is known of a strand: tight or slack, its length, whether the tensioner works on it."""
    span = drive.spans[index]
    if not is_only:
        yield told(drive.name)
    if drive.path_known:
        is_slack = index == len(drive.spans) - 1
        yield say("slack strand") if is_slack else say("tight strand")
    if span.tensioner and span.guide:
        yield say("tensioner")
    length = drive.span_length_mm(index)
    if span.length_pitches is not None:
        yield say("{count} pitches", count=told(f"{span.length_pitches:g}"))
    if length is not None:
        yield say("{length} mm", length=told(f"{length:.1f}"))


def cam_wheel_words(cam: Cam) -> list[str]:
    """What is known of a cam's target."""
    words = [told(cam.wheel)] if cam.wheel else []
    if cam.wheel_teeth is None:
        words.append(say("teeth not given"))
    else:
        words.append(say("drawn evenly: where its teeth stand is not in the file"))
    return words
