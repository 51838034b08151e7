"""How motion goes from the crank to each cam: order, ratios, tight strands.

The convention throughout: the driving sprocket *pulls* its chain. The strand that runs into it
is tight, because the cams resist; the strand that leaves it is slack and carries the tensioner.
Sprockets are listed from the driving one along the tight strand, against the chain's motion. A
sprocket therefore follows the crank through all tight spans between it and the driving sprocket,
and falls behind by what they grow together. Growth of the slack side turns nothing.
"""

from __future__ import annotations

from crankwise.model.engine import CRANK, Drive, Engine, Sprocket

CAM_TURNS = 2.0
"""Crank turns for one turn of a four-stroke engine's camshaft."""

_RATIO_TOLERANCE = 1e-9


def driver_of(engine: Engine, shaft: str) -> Drive | None:
    """Return the drive that turns a shaft; ``None`` for the crank and for unknown shafts."""
    for drive in engine.drives:
        if any(sprocket.shaft == shaft for sprocket in drive.sprockets[1:]):
            return drive
    return None


def cams_turned(engine: Engine, shaft: str) -> tuple[str, ...]:
    """Roles of every cam that moves with a shaft, directly and through further drives.

    In the order of ``engine.roles``.
    """
    found = _collect(engine, shaft, seen=frozenset())
    return tuple(role for role in engine.roles if role in found)


def _collect(engine: Engine, shaft: str, *, seen: frozenset[str]) -> set[str]:
    if shaft in seen:
        return set()
    found: set[str] = set()
    for drive in engine.drives:
        for sprocket in drive.sprockets:
            if sprocket.shaft == shaft:
                found |= set(sprocket.cams)
        if drive.sprockets and drive.sprockets[0].shaft == shaft:
            for sprocket in drive.sprockets[1:]:
                found |= _collect(engine, sprocket.shaft, seen=seen | {shaft})
    return found


def cams_of_drive(engine: Engine, drive: Drive) -> tuple[str, ...]:
    """Roles of the cams that a drive turns, directly and through further drives."""
    found: set[str] = set()
    for sprocket in drive.sprockets[1:]:
        found |= set(cams_turned(engine, sprocket.shaft))
    return tuple(role for role in engine.roles if role in found)


def crank_turns(engine: Engine, shaft: str) -> float | None:
    """Crank turns for one turn of a shaft, from the tooth counts; ``None`` if one is missing."""
    if shaft == CRANK:
        return 1.0
    drive = driver_of(engine, shaft)
    if drive is None:
        return None
    driving, driven = drive.sprockets[0], _sprocket(drive, shaft)
    before = crank_turns(engine, driving.shaft)
    if before is None or driving.teeth is None or driven.teeth is None:
        return None
    return before * driven.teeth / driving.teeth


def turns_of_sprocket(engine: Engine, sprocket: Sprocket) -> float | None:
    """Crank turns for one turn of a sprocket; a camshaft's are two, whatever is known."""
    return CAM_TURNS if sprocket.cams else crank_turns(engine, sprocket.shaft)


def tight_length_mm(drive: Drive, index: int) -> float | None:
    """Free length of all tight spans from the driving sprocket to ``sprockets[index]``, mm."""
    lengths = [drive.span_length_mm(span) for span in range(index)]
    known = [length for length in lengths if length is not None]
    return sum(known) if len(known) == len(lengths) else None


def _sprocket(drive: Drive, shaft: str) -> Sprocket:
    return next(sprocket for sprocket in drive.sprockets if sprocket.shaft == shaft)


def problem_of(engine: Engine) -> str | None:
    """Say what is wrong with how the drives hang together, or ``None``."""
    for drive in engine.drives:
        problem = _shafts_problem(engine, drive) or _length_problem(drive)
        if problem:
            return f"drive '{drive.name}': {problem}"
    for drive in engine.drives:
        problem = _loop_problem(engine, drive) or _ratio_problem(engine, drive)
        if problem:
            return f"drive '{drive.name}': {problem}"
    return _cam_problem(engine)


def _shafts_problem(engine: Engine, drive: Drive) -> str | None:
    shafts = [sprocket.shaft for sprocket in drive.sprockets]
    for shaft in shafts:
        if shafts.count(shaft) > 1:
            return f"shaft '{shaft}' stands twice; give two shafts two names"
    if CRANK in shafts[1:]:
        return "the crank drives and isn't driven; list it first"
    for sprocket in drive.sprockets[1:]:
        if driver_of(engine, sprocket.shaft) is not drive:
            return f"shaft '{sprocket.shaft}' is already driven by another drive"
        leads_on = any(other.sprockets[0].shaft == sprocket.shaft for other in engine.drives)
        if not (sprocket.cams or leads_on or sprocket.accessory):
            return (
                f"shaft '{sprocket.shaft}' is no cam and drives nothing; write a cam's role "
                "(intake, exhaust, intake-1, …), list the drive that starts from it, or set "
                "accessory = true for a pump"
            )
        if sprocket.accessory and (sprocket.cams or leads_on):
            return f"shaft '{sprocket.shaft}' turns cams, so accessory = true can't be right"
    return None


def _length_problem(drive: Drive) -> str | None:
    lengths = [drive.span_length_mm(index) for index in range(len(drive.spans))]
    if drive.links is None or drive.pitch_mm is None or None in lengths:
        return None
    free = sum(length for length in lengths if length is not None) / drive.pitch_mm
    if free >= drive.links:
        return (
            f"the spans add up to {free:.1f} pitches and the whole has only {drive.links}; "
            "the strand on the teeth is not part of a span"
        )
    return None


def _loop_problem(engine: Engine, drive: Drive) -> str | None:
    shaft, passed = drive.sprockets[0].shaft, [drive.name]
    while shaft != CRANK:
        before = driver_of(engine, shaft)
        if before is None:
            return f"nothing drives its first shaft '{shaft}'; a drive starts from the crank"
        if before.name in passed:
            return f"it drives itself over '{shaft}'"
        passed.append(before.name)
        shaft = before.sprockets[0].shaft
    return None


def _ratio_problem(engine: Engine, drive: Drive) -> str | None:
    for sprocket in drive.sprockets[1:]:
        turns = crank_turns(engine, sprocket.shaft)
        if sprocket.cams and turns is not None and abs(turns - CAM_TURNS) > _RATIO_TOLERANCE:
            return (
                f"by the teeth the crank turns {turns:g} times for one turn of "
                f"'{sprocket.shaft}'; a four-stroke engine's cam takes 2, so count the teeth again"
            )
    return None


def _cam_problem(engine: Engine) -> str | None:
    carried = [role for drive in engine.drives for s in drive.sprockets for role in s.cams]
    driven = [role for drive in engine.drives for s in drive.sprockets[1:] for role in s.cams]
    if CRANK in {s.shaft for d in engine.drives for s in d.sprockets if s.cams}:
        return "the crank's sprocket can't carry a cam"
    for role in driven:
        shafts = {s.shaft for d in engine.drives for s in d.sprockets if role in s.cams}
        if len(shafts) > 1:
            return f"cam '{role}' is turned by two shafts, {' and '.join(sorted(shafts))}"
    for role in carried:
        if role not in driven:
            return f"cam '{role}' stands on a shaft that nothing drives"
    return None
