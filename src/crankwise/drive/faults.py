"""Every fault an engine can have in its timing drive, phasers and sensors, as signatures.

The ranges below bound what a fault can do, and the typical sizes set the scale of its prior.
Where no source stands beside one it is our assumption.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from crankwise.drive.geometry import elongation_limit_percent
from crankwise.drive.growth import (
    cams_behind,
    cams_moved_by_jump,
    has_all_lengths,
    is_scaled,
    lag_per_mm,
    shifts_by_elongation,
    tooth_step_deg,
)
from crankwise.drive.path import cams_of_drive, cams_turned
from crankwise.drive.signature import FreeSize, Signature
from crankwise.model.engine import Cam

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from crankwise.model.engine import Drive, Engine, Parked

TYPICAL_ELONGATION_PERCENT = 0.5
MOST_BELT_PERCENT = 1.0
TYPICAL_BELT_PERCENT = 0.1
TYPICAL_GROWTH_MM = 1.0
"""Makers replace slippers and guides worn by 1 mm (``limits.toml``, ``toyota-slipper``)."""

TYPICAL_GROWTH_DEG = 4.0
MOST_GROWTH_DEG = 20.0
"""One tooth is 10 to 20 crank degrees; a strand longer by a whole pitch rides over the tooth."""

MOST_TEETH = 3
UNKNOWN_TOOTH_DEG = (10.0, 60.0)
"""Where the teeth aren't known: one small tooth to three large ones."""

WIDEST_AUTHORITY_DEG = 50.0
"""Widest phaser range read (25 cam degrees, GM 4.2; 50 crank degrees, Volvo B5244S4)."""

MOST_TARGET_DEG = 30.0
TYPICAL_TARGET_DEG = 5.0

ELONGATED_SCATTER = 2.0
GUIDE_SCATTER = 3.0
SLACK_SCATTER = 3.0
PHASER_SCATTER = 1.5


def signatures(engine: Engine, *, roles: Sequence[str] = ()) -> tuple[Signature, ...]:
    """List all single faults of an engine: drives in file order, then phasers, then sensors.

    What the engine file leaves out makes a signature wider, never wrong: see
    :func:`~crankwise.drive.missing.missing`.

    Parameters
    ----------
    engine : Engine
        ``Engine("unknown")`` where there is no engine file.
    roles : sequence of str
        Cams that were measured; those the engine doesn't list join it, with nothing known of
        what turns them.
    """
    unlisted = tuple(Cam(role) for role in roles if role not in engine.roles)
    engine = replace(engine, cams=(*engine.cams, *unlisted))
    found: list[Signature] = []
    for drive in engine.drives:
        found += _of_drive(engine, drive)
    driven = {role for drive in engine.drives for role in cams_of_drive(engine, drive)}
    loose = tuple(role for role in engine.roles if role not in driven)
    if loose:
        found += _of_unknown_drive(loose)
    for cam in engine.cams:
        found += _phaser(cam)
    found.append(_crank_target(engine.roles))
    found += [_cam_target(role) for role in engine.roles]
    return tuple(found)


def _of_drive(engine: Engine, drive: Drive) -> Iterator[Signature]:
    cams = cams_of_drive(engine, drive)
    if not cams:
        return
    yield Signature(
        fault="elongated",
        key=f"elongated:{drive.name}",
        name=f"{drive.name} elongated",
        sizes=_elongation(engine, drive),
        scatter_factor=dict.fromkeys(cams, ELONGATED_SCATTER),
        about=_why_elongated(drive, cams),
    )
    if drive.path_known:
        yield from _worn_guides(engine, drive)
    tensioned = any(span.tensioner for span in drive.spans)
    yield Signature(
        fault="slack-side",
        key=f"slack-side:{drive.name}",
        name=f"{drive.name}: slack side loose" + (", tensioner or its blade" if tensioned else ""),
        sizes=(),
        scatter_factor=dict.fromkeys(cams, SLACK_SCATTER),
        about=(
            f"A loose slack side lets the {drive.kind} swing, so the cams scatter, but the tight "
            "strand still holds their mean place"
        ),
    )
    yield from _jumps(engine, drive)


def _why_elongated(drive: Drive, cams: tuple[str, ...]) -> str:
    text = (
        f"The crank has to take up the longer tight strand before the {drive.kind} pulls, so "
        "the cams come late and never early"
    )
    if drive.path_known and len(cams) > 1:
        text += "; the longer the tight strand up to a cam, the later it comes"
    return text


def _elongation(engine: Engine, drive: Drive) -> tuple[FreeSize, ...]:
    """Give one size if all links wear alike over known lengths, else one for each tight span."""
    if not drive.path_known:
        return _branches(engine, drive)
    if is_scaled(engine, drive) and has_all_lengths(engine, drive):
        most, typical = _elongation_range(drive)
        return (
            FreeSize(
                name=f"elongation of the {drive.name}",
                unit="%",
                shift_deg=shifts_by_elongation(engine, drive, percent=1.0),
                low=0.0,
                high=most,
                typical=typical,
            ),
        )
    return tuple(_growth(engine, drive, spans) for spans in _span_groups(engine, drive))


def _elongation_range(drive: Drive) -> tuple[float, float]:
    if drive.kind == "belt":
        return MOST_BELT_PERCENT, TYPICAL_BELT_PERCENT
    largest = max(sprocket.teeth or 0 for sprocket in drive.sprockets)
    return elongation_limit_percent(largest), TYPICAL_ELONGATION_PERCENT


def _branches(engine: Engine, drive: Drive) -> tuple[FreeSize, ...]:
    """Each driven sprocket by itself: which strand is tight, and so the order, isn't known."""
    return tuple(
        _growth_deg(f"lag of the {drive.name} at {sprocket.shaft}", cams)
        for sprocket in drive.sprockets[1:]
        if (cams := cams_turned(engine, sprocket.shaft))
    )


def _growth_deg(name: str, cams: tuple[str, ...]) -> FreeSize:
    return FreeSize(
        name=name,
        unit="crank deg",
        shift_deg=dict.fromkeys(cams, 1.0),
        low=0.0,
        high=MOST_GROWTH_DEG,
        typical=TYPICAL_GROWTH_DEG,
    )


def _span_groups(engine: Engine, drive: Drive) -> list[tuple[int, ...]]:
    """Tight spans, those together that move the same cams (a pump's sprocket between them)."""
    groups: list[tuple[int, ...]] = []
    for span in range(len(drive.sprockets) - 1):
        cams = cams_behind(engine, drive, span)
        if groups and cams_behind(engine, drive, groups[-1][-1]) == cams:
            groups[-1] = (*groups[-1], span)
        elif cams:
            groups.append((span,))
    return groups


def _growth(engine: Engine, drive: Drive, spans: tuple[int, ...]) -> FreeSize:
    """Growth of one tight span, in millimetres if the geometry is known, else in degrees.

    In crank degrees a millimetre shifts every cam on one drive alike to within half a percent
    (a pitch of chain is a tooth on each sprocket), so 1 for each is no worse an assumption.
    """
    name = f"length added between {drive.span_name(spans[0]).replace(' to ', ' and ')}"
    cams = cams_behind(engine, drive, spans[0])
    shifts: dict[str, float] = {}
    for index in range(spans[0] + 1, len(drive.sprockets)):
        turned = cams_turned(engine, drive.sprockets[index].shaft)
        per_mm = lag_per_mm(engine, drive, index)
        if turned and per_mm is None:
            return _growth_deg(name, cams)
        shifts |= dict.fromkeys(turned, per_mm or 0.0)
    return FreeSize(
        name=name,
        unit="mm",
        shift_deg=shifts,
        low=0.0,
        high=MOST_GROWTH_DEG / min(shifts.values()),
        typical=TYPICAL_GROWTH_MM,
    )


def _worn_guides(engine: Engine, drive: Drive) -> Iterator[Signature]:
    for spans in _span_groups(engine, drive):
        guides = [drive.spans[span].guide for span in spans if drive.spans[span].guide]
        ends = (drive.span_name(spans[0]).split(" to ")[0], drive.span_name(spans[-1]))
        between = f"{ends[0]} and {ends[1].split(' to ')[1]}"
        cams = cams_behind(engine, drive, spans[0])
        what = " or ".join(guides) or "guide"
        yield Signature(
            fault="guide-worn",
            key=f"guide-worn:{drive.name}:{ends[0]} to {ends[1].split(' to ')[1]}",
            name=f"{drive.name}: {what} worn, between {between}",
            sizes=(_growth(engine, drive, spans),),
            scatter_factor=dict.fromkeys(cams, GUIDE_SCATTER),
            about=(
                f"Over a worn guide the strand between {between} lies straighter and has length "
                "to spare, so what is pulled through it comes late and scatters, against what "
                "isn't"
            ),
        )


def _jumps(engine: Engine, drive: Drive) -> Iterator[Signature]:
    """Jumps on each sprocket; one that moves what the driving sprocket moves isn't told apart."""
    everything = cams_moved_by_jump(engine, drive, 0)
    for index, sprocket in enumerate(drive.sprockets):
        cams = cams_moved_by_jump(engine, drive, index)
        step = tooth_step_deg(engine, drive, index)
        if not cams or (index > 0 and cams == everything):
            continue
        alone = index == 0 and any(
            cams_turned(engine, other.shaft) == everything for other in drive.sprockets[1:]
        )
        yield Signature(
            fault="jumped",
            key=f"jumped:{drive.name}:{sprocket.shaft}",
            name=f"{drive.name} jumped" + ("" if alone else f" on the {sprocket.shaft} sprocket"),
            sizes=(_jump(cams, step),),
            about=(
                "A skipped tooth, or one sprocket fitted a tooth off, moves its cams by whole "
                "steps" + ("" if step is None else f" of {step:.2f}°") + " and nothing between"
            ),
        )


def _jump(cams: tuple[str, ...], step_deg: float | None) -> FreeSize:
    if step_deg is None:
        least, most = UNKNOWN_TOOTH_DEG
        return FreeSize(
            name="teeth jumped, of unknown size",
            unit="crank deg",
            shift_deg=dict.fromkeys(cams, 1.0),
            low=-most,
            high=most,
            typical=2 * least,
            least=least,
        )
    return FreeSize(
        name="teeth jumped",
        unit="teeth",
        shift_deg=dict.fromkeys(cams, step_deg),
        low=-MOST_TEETH,
        high=MOST_TEETH,
        typical=1.0,
        least=1.0,
        whole=True,
    )


def _of_unknown_drive(roles: tuple[str, ...]) -> Iterator[Signature]:
    """Faults of cams whose drive the engine file doesn't describe."""
    groups = {"all cams": roles} if len(roles) > 1 else {}
    for bank in sorted({role.rpartition("-")[2] for role in roles if _has_bank(role)}):
        of_bank = tuple(role for role in roles if _has_bank(role) and role.endswith(bank))
        groups |= {f"bank {bank}": of_bank} if 1 < len(of_bank) < len(roles) else {}
    groups |= {role: (role,) for role in roles}
    yield Signature(
        fault="elongated",
        key="elongated:unknown drive",
        name="timing drive elongated or its guides worn",
        sizes=tuple(_growth_deg(f"lag at {role}", (role,)) for role in roles),
        scatter_factor=dict.fromkeys(roles, ELONGATED_SCATTER),
        about="A longer strand makes cams late and never early; the path isn't known",
    )
    for name, moved in groups.items():
        if len(moved) > 1:
            yield Signature(
                fault="elongated",
                key=f"elongated:unknown drive:{name}",
                name=f"timing drive elongated or its guide worn ({name} alike)",
                sizes=(_growth_deg(f"lag before {name}", moved),),
                scatter_factor=dict.fromkeys(moved, ELONGATED_SCATTER),
                about="A longer strand before several cams makes them late alike, never early",
            )
    for name, moved in groups.items():
        yield Signature(
            fault="jumped",
            key=f"jumped:unknown drive:{name}",
            name=f"timing drive jumped ({name})",
            sizes=(_jump(moved, None),),
            about="A skipped tooth moves cams by whole steps; the sprocket's teeth aren't known",
        )


def _has_bank(role: str) -> bool:
    return role.startswith(("intake-", "exhaust-"))


def _phaser(cam: Cam) -> Iterator[Signature]:
    if cam.phaser is not None and not cam.phaser.fitted:
        return
    parked = cam.phaser.parked if cam.phaser else None
    authority = (cam.phaser.authority_deg if cam.phaser else None) or WIDEST_AUTHORITY_DEG
    low, high = _phaser_range(parked, authority)
    where = {"retarded": "latest", "advanced": "earliest", "middle": "middle", None: "parked"}
    yield Signature(
        fault="phaser-off-stop",
        key=f"phaser-off-stop:{cam.role}",
        name=f"{cam.role} phaser off its parked position",
        sizes=(
            FreeSize(
                name=f"travel of the {cam.role} phaser",
                unit="crank deg",
                shift_deg={cam.role: 1.0},
                low=low,
                high=high,
                typical=max(-low, high) / 2,
            ),
        ),
        scatter_factor={cam.role: PHASER_SCATTER},
        is_moving=True,
        about=(
            f"A phaser that isn't locked in its {where[parked]} position turns its own cam alone, "
            "within its range, and may move while recording"
        ),
    )


def _phaser_range(parked: Parked | None, authority_deg: float) -> tuple[float, float]:
    if parked == "retarded":
        return -authority_deg, 0.0
    if parked == "advanced":
        return 0.0, authority_deg
    if parked == "middle":
        return -authority_deg / 2, authority_deg / 2
    return -authority_deg, authority_deg


def _crank_target(roles: tuple[str, ...]) -> Signature:
    return Signature(
        fault="crank-target",
        key="crank-target",
        name="crank wheel or crank sensor moved",
        sizes=(_target("shift seen at every cam", roles),),
        about=(
            "All angles count from the crank wheel: if it or its sensor moved, every cam seems "
            "to shift alike, early or late, while the valves are in time"
        ),
    )


def _cam_target(role: str) -> Signature:
    return Signature(
        fault="cam-target",
        key=f"cam-target:{role}",
        name=f"{role} cam wheel or its sensor moved",
        sizes=(_target(f"shift of the {role} cam wheel", (role,)),),
        about="One cam's wheel or sensor that moved shifts this cam alone, early or late",
    )


def _target(name: str, roles: tuple[str, ...]) -> FreeSize:
    return FreeSize(
        name=name,
        unit="crank deg",
        shift_deg=dict.fromkeys(roles, 1.0),
        low=-MOST_TARGET_DEG,
        high=MOST_TARGET_DEG,
        typical=TYPICAL_TARGET_DEG,
    )
