"""What an engine file leaves out, and what that narrows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.drive.growth import cam_sprockets, has_all_lengths
from crankwise.drive.path import cams_of_drive

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crankwise.model.engine import Cam, Drive, Engine


def missing(engine: Engine) -> tuple[str, ...]:
    """Say in plain words what each missing item narrows; empty if nothing is missing."""
    return (
        *_of_engine(engine),
        *(text for drive in engine.drives for text in _of_drive(engine, drive)),
        *(text for cam in engine.cams for text in _of_cam(engine, cam)),
    )


def _of_engine(engine: Engine) -> Iterator[str]:
    if not engine.cams:
        yield "Cams aren't listed: only those that were measured are spoken of."
    if not engine.drives:
        yield (
            "No chain or belt is described: which cam follows which isn't known, a jumped tooth "
            "can't be told by its exact step, and wear is given in degrees only."
        )
    if not engine.crank_wheel:
        yield "The crank wheel isn't named: a recording of another engine may pass unnoticed."
    if engine.tdc_after_zero_deg is None:
        yield (
            "Top dead centre isn't placed on the crank wheel: angles count from the gap, and a "
            "moved crank wheel can't be told from all cams moving alike."
        )
    if engine.cylinders is None:
        yield "The number of cylinders isn't given: the engine's own ripple can't be checked."
    elif engine.cylinders > 1 and not engine.firing_order:
        yield "The firing order isn't given: a weak cylinder can't be named."
    if engine.code_limit_deg is None:
        yield "No limit from service information: the default code limit is used."
    if engine.interference == "unknown":
        yield (
            "Whether valves and pistons can meet isn't known: the engine is treated as if they "
            "could."
        )


def _of_drive(engine: Engine, drive: Drive) -> Iterator[str]:
    places = cam_sprockets(engine, drive)
    if not places:
        return
    if not drive.path_known and len(drive.sprockets) > 2:
        yield (
            f"{drive.name}: which strand is tight isn't known, so not which cam falls behind "
            "more, and a worn guide can't be told from elongation."
        )
    teeth_missing = [
        drive.sprockets[index].shaft for index in (0, *places) if not _has_teeth(drive, index)
    ]
    if teeth_missing:
        yield (
            f"{drive.name}: teeth of {', '.join(teeth_missing)} aren't given, so a jumped tooth "
            "there can't be told by its exact step, nor a shift be turned into millimetres."
        )
    if drive.pitch_mm is None:
        yield f"{drive.name}: the pitch isn't given, so a shift can't be turned into millimetres."
    elif drive.path_known and not has_all_lengths(engine, drive):
        yield (
            f"{drive.name}: lengths of tight spans are missing, so elongation can't be given in "
            "percent, nor told by how much more the later cam falls behind."
        )
    if drive.path_known and not all(drive.spans[index].guide for index in range(places[-1])):
        yield f"{drive.name}: not every guide is named, so a worn one is given by its place only."
    if drive.pitch_mm is not None and drive.links is None:
        yield f"{drive.name}: its links aren't counted, so the whole growth can't be given."


def _has_teeth(drive: Drive, index: int) -> bool:
    return drive.sprockets[index].teeth is not None


def _of_cam(engine: Engine, cam: Cam) -> Iterator[str]:
    if engine.drives and not any(cam.role in cams_of_drive(engine, d) for d in engine.drives):
        yield f"{cam.role}: no drive turns this cam, so its place in the path isn't known."
    if cam.phaser is None:
        yield f"{cam.role}: not stated whether it has a phaser, so one is reckoned with."
    elif cam.phaser.fitted and cam.phaser.parked is None:
        yield f"{cam.role}: where the phaser parks isn't given, so it may explain either way."
    if cam.phaser is not None and cam.phaser.fitted and cam.phaser.authority_deg is None:
        yield (
            f"{cam.role}: the phaser's range isn't given; the widest published range is reckoned "
            "with."
        )
