"""Windows of a recording at the width of a screen, for the angle view and the time view."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any, Final

from fastapi import Path, Query
from fastapi.responses import JSONResponse, Response

from crankwise.errors import UsageError
from crankwise.language import say
from crankwise.levels import Levels
from crankwise.units import CYCLE_DEG
from crankwise.web.api.answers import Sha256, api_router
from crankwise.web.desk import AtDesk, Desk
from crankwise.web.views.levels import LevelsState, angle_bytes, levels_state, time_bytes

if TYPE_CHECKING:
    from crankwise.web.works import Work

router = api_router(tag="levels")

_MOST_DEG: Final = 100_000.0
_MOST_S: Final = 1e7
_BYTES: Final = "application/octet-stream"

Digest = Annotated[Sha256, Path()]
Measured = Annotated[int | None, Query(ge=1, le=2**31 - 1)]
Width = Annotated[int, Query(ge=1, le=4000, description="Columns, at the most.")]
Degrees = Annotated[float, Query(ge=-_MOST_DEG, le=_MOST_DEG, allow_inf_nan=False)]
Seconds = Annotated[float, Query(ge=-_MOST_S, le=_MOST_S, allow_inf_nan=False)]
_WINDOW: Final[dict[int | str, dict[str, Any]]] = {
    200: {"content": {_BYTES: {"schema": {"type": "string", "format": "binary"}}},
          "description": "Numbers packed as described in crankwise.web.packing."},
    202: {"model": LevelsState, "description": "Levels are being made: ask again."},
}  # fmt: skip


@router.get("/recordings/{sha256}/levels")
def show_levels(desk: AtDesk, sha256: Digest, measurement: Measured = None) -> LevelsState:
    """Say whether levels of a recording are at hand; if not, begin to make them."""
    return levels_state(_levels(desk, sha256, measurement))


@router.get("/recordings/{sha256}/levels/angle", response_class=Response, responses=_WINDOW)
def show_angle_window(
    desk: AtDesk,
    sha256: Digest,
    *,
    from_deg: Degrees,
    to_deg: Degrees,
    width: Width,
    measurement: Measured = None,
) -> Response:
    """Give a stretch of all cycles laid over each other; it may begin before 0 degrees."""
    if not from_deg < to_deg <= from_deg + CYCLE_DEG:
        raise UsageError(say("Ask for a stretch of more than 0 and up to 720 degrees."))
    found = _levels(desk, sha256, measurement)
    if not isinstance(found, Levels):
        return _wait(found)
    return _kept(angle_bytes(found, from_deg, to_deg, width))


@router.get("/recordings/{sha256}/levels/time", response_class=Response, responses=_WINDOW)
def show_time_window(
    desk: AtDesk,
    sha256: Digest,
    *,
    from_s: Seconds,
    to_s: Seconds,
    width: Width,
    measurement: Measured = None,
) -> Response:
    """Give a stretch of time of every channel, with speed, crank angle and edges."""
    if not from_s < to_s:
        raise UsageError(say("Ask for a stretch of time that ends after it begins."))
    found = _levels(desk, sha256, measurement)
    if not isinstance(found, Levels):
        return _wait(found)
    return _kept(time_bytes(found, from_s, to_s, width))


def _levels(desk: Desk, sha256: str, measurement: int | None) -> Levels | Work:
    return desk.levelling.levels(desk.levelling.measured(sha256, measurement))


def _wait(work: Work) -> Response:
    if work.state == "failed":
        raise UsageError(work.error)
    return JSONResponse(asdict(levels_state(work)), status_code=202)


def _kept(data: bytes) -> Response:
    # What an address names never changes: other settings make another measurement.
    return Response(data, media_type=_BYTES, headers={"cache-control": "private, max-age=86400"})
