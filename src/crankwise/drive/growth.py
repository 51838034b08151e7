"""What longer strands and skipped teeth do to the cams of an engine."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.drive.geometry import one_tooth_deg, pitch_radius_mm, shaft_deg_from_mm
from crankwise.drive.path import cams_turned, tight_length_mm, turns_of_sprocket
from crankwise.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crankwise.model.engine import Drive, Engine


def lag_per_mm(engine: Engine, drive: Drive, index: int) -> float | None:
    """Crank degrees by which ``sprockets[index]`` falls behind for 1 mm of tight strand before it.

    ``None`` where pitch, teeth or ratio are not known.
    """
    sprocket = drive.sprockets[index]
    turns = turns_of_sprocket(engine, sprocket)
    if drive.pitch_mm is None or sprocket.teeth is None or turns is None:
        return None
    radius = pitch_radius_mm(kind=drive.kind, pitch_mm=drive.pitch_mm, teeth=sprocket.teeth)
    return turns * shaft_deg_from_mm(elongation_mm=1.0, radius_mm=radius)


def tooth_step_deg(engine: Engine, drive: Drive, index: int) -> float | None:
    """Crank degrees by which the chain's jumping one tooth on ``sprockets[index]`` moves things.

    ``None`` where the teeth or the ratio are not known.
    """
    sprocket = drive.sprockets[index]
    turns = turns_of_sprocket(engine, sprocket)
    if sprocket.teeth is None or turns is None:
        return None
    return one_tooth_deg(sprocket.teeth, crank_turns=turns)


def smallest_tooth_step_deg(engine: Engine) -> float | None:
    """Smallest step by which any cam of the engine can jump; ``None`` if no teeth are known."""
    steps = [
        step
        for drive in engine.drives
        for index, sprocket in enumerate(drive.sprockets)
        if index == 0 or cams_turned(engine, sprocket.shaft)
        if (step := tooth_step_deg(engine, drive, index)) is not None
    ]
    return min(steps, default=None)


def cams_behind(engine: Engine, drive: Drive, span: int) -> tuple[str, ...]:
    """Roles of the cams that fall behind when ``spans[span]`` grows; none for the slack side."""
    behind = {
        role
        for sprocket in drive.sprockets[span + 1 :]
        for role in cams_turned(engine, sprocket.shaft)
    }
    return tuple(role for role in engine.roles if role in behind)


def shifts_by_growth(
    engine: Engine, drive: Drive, *, growth_mm: Sequence[float]
) -> dict[str, float]:
    """Shift of each cam when the spans of one drive have grown.

    Parameters
    ----------
    engine : Engine
    drive : Drive
        One of the engine's, with pitch, teeth and path known.
    growth_mm : sequence of float [shape=(len(drive.spans),)]
        Growth of each span, mm. That of the slack side turns nothing.

    Returns
    -------
    dict of str to float
        Crank degrees for every cam of the engine; positive is later.

    Raises
    ------
    UsageError
        The engine file lacks what the geometry needs; says what.
    """
    if len(growth_mm) != len(drive.sprockets):
        raise UsageError(
            f"drive '{drive.name}' has {len(drive.sprockets)} spans; give a growth for each"
        )
    if not drive.path_known:
        raise UsageError(f"drive '{drive.name}': which strand is tight isn't stated")
    shifts = dict.fromkeys(engine.roles, 0.0)
    total = 0.0
    for index, growth in enumerate(growth_mm[:-1], start=1):
        total += growth
        per_mm = lag_per_mm(engine, drive, index)
        cams = cams_turned(engine, drive.sprockets[index].shaft)
        if cams and per_mm is None:
            raise UsageError(
                f"drive '{drive.name}': pitch_mm and the teeth up to "
                f"'{drive.sprockets[index].shaft}' are needed to turn millimetres into degrees"
            )
        for role in cams:
            shifts[role] = total * (per_mm or 0.0)
    return shifts


def shifts_by_elongation(engine: Engine, drive: Drive, *, percent: float) -> dict[str, float]:
    """Shift of each cam when every link of one drive has worn alike.

    Raises
    ------
    UsageError
        As :func:`shifts_by_growth`, or a tight span's length isn't known.

    Examples
    --------
    The cam further along the tight strand falls behind more:

    >>> from crankwise.drive.engine_file import load_engine
    >>> t20 = load_engine("tarn-t20")
    >>> shifts = shifts_by_elongation(t20, t20.drives[0], percent=0.5)
    >>> {role: round(shift, 2) for role, shift in shifts.items()}
    {'exhaust': 3.0, 'intake': 4.79}
    """
    grown = [0.0] * len(drive.sprockets)
    for index in range(max(cam_sprockets(engine, drive), default=0)):
        length = drive.span_length_mm(index)
        if length is None:
            name = drive.span_name(index)
            raise UsageError(f"drive '{drive.name}': the length of the span {name} isn't known")
        grown[index] = length * percent / 100.0
    return shifts_by_growth(engine, drive, growth_mm=grown)


def shifts_by_jump(engine: Engine, drive: Drive, *, shaft: str, teeth: int) -> dict[str, float]:
    """Shift of each cam when the chain jumped on one sprocket; positive teeth make cams later.

    A jump on the driving sprocket moves everything behind it; on a driven one, that shaft alone
    with the cams it turns, because the chain still holds the others.

    Raises
    ------
    UsageError
        No such sprocket, or its teeth aren't known.

    Examples
    --------
    >>> from crankwise.drive.engine_file import load_engine
    >>> t20 = load_engine("tarn-t20")
    >>> shifts_by_jump(t20, t20.drives[0], shaft="intake", teeth=-1)
    {'exhaust': 0.0, 'intake': -20.0}
    """
    shafts = [sprocket.shaft for sprocket in drive.sprockets]
    if shaft not in shafts:
        raise UsageError(f"drive '{drive.name}' has no sprocket on '{shaft}'; {', '.join(shafts)}")
    index = shafts.index(shaft)
    step = tooth_step_deg(engine, drive, index)
    if step is None:
        raise UsageError(f"drive '{drive.name}': the teeth of '{shaft}' aren't known")
    moved = cams_moved_by_jump(engine, drive, index)
    return {role: teeth * step if role in moved else 0.0 for role in engine.roles}


def cams_moved_by_jump(engine: Engine, drive: Drive, index: int) -> tuple[str, ...]:
    """Roles of the cams that move when the chain jumps on ``sprockets[index]``."""
    if index == 0:
        return cams_behind(engine, drive, 0)
    return cams_turned(engine, drive.sprockets[index].shaft)


def cam_sprockets(engine: Engine, drive: Drive) -> tuple[int, ...]:
    """Places of the driven sprockets that turn cams, directly or through further drives."""
    return tuple(
        index
        for index, sprocket in enumerate(drive.sprockets)
        if index > 0 and cams_turned(engine, sprocket.shaft)
    )


def is_scaled(engine: Engine, drive: Drive) -> bool:
    """Whether millimetres of strand can be turned into degrees at every cam of the drive."""
    places = cam_sprockets(engine, drive)
    return all(lag_per_mm(engine, drive, index) is not None for index in places)


def has_all_lengths(engine: Engine, drive: Drive) -> bool:
    """Whether every tight span up to the last cam's sprocket has a length in millimetres."""
    places = cam_sprockets(engine, drive)
    return bool(places) and tight_length_mm(drive, places[-1]) is not None
