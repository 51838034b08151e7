"""The watched folder: what came in, shown as it comes."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import APIRouter, Header, Path, Query, Request, Response
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse
from fastapi.sse import EventSourceResponse, ServerSentEvent

from crankwise.errors import NotFoundError
from crankwise.language import say
from crankwise.picture.angle_view import angle_view
from crankwise.picture.comparison_view import comparison_view
from crankwise.web.desk import AtDesk
from crankwise.web.pages import render
from crankwise.web.views.watching import seen_row, seen_view, watching_view

router = APIRouter(include_in_schema=False, prefix="/watching")
Number = Annotated[int, Path(ge=1, le=2**31 - 1)]


@router.get("")
def watching(request: Request, desk: AtDesk) -> HTMLResponse:
    """Show what came in last."""
    return render(request, "watching.html", watching_view(desk.store, desk.watching))


@router.get("/events", response_class=EventSourceResponse)
async def follow(
    request: Request,
    desk: AtDesk,
    after: Annotated[int, Query(ge=0, le=2**31 - 1)] = 0,
    last_event_id: Annotated[str, Header(max_length=12)] = "",
) -> AsyncIterator[ServerSentEvent]:
    """Send a row of the table for every file seen after a number, as it comes."""
    known = last_event_id.isascii() and last_event_id.isdecimal()
    number = int(last_event_id) if known else after
    with desk.watching.listening() as bell:
        while True:
            for seen in await run_in_threadpool(desk.store.watched.after, number):
                row = await run_in_threadpool(render, request, "watching_row.html", seen_row(seen))
                number = seen.id
                yield ServerSentEvent(raw_data=bytes(row.body).decode(), id=str(number), retry=2000)
            await bell.wait()


@router.get("/{number}")
def result(request: Request, desk: AtDesk, number: Number) -> HTMLResponse:
    """Show one result."""
    return render(request, "watching_result.html", seen_view(desk.store, number))


@router.get("/{number}/picture.svg")
def picture(desk: AtDesk, number: Number) -> Response:
    """Draw one result: the comparison where there is one, else the measurement."""
    seen = desk.store.watched.get(number)
    if seen.measurement is None:
        raise NotFoundError(say("nothing was measured in this file"))
    # Bank against bank lays the engine over nothing: the angle view shows it.
    if seen.comparison is not None and seen.comparison.cams:
        drawn = comparison_view(seen.comparison, crank=seen.measurement.crank)
    else:
        drawn = angle_view(seen.measurement)
    return Response(drawn, media_type="image/svg+xml")
