"""Work in progress."""

from __future__ import annotations

import re
from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import Depends, Header, Path
from fastapi.sse import EventSourceResponse, ServerSentEvent

from crankwise.errors import NotFoundError
from crankwise.web.api.answers import BESIDE_EVENTS, api_router
from crankwise.web.desk import AtDesk
from crankwise.web.works import Work

router = api_router(tag="work")


def _work_of(desk: AtDesk, work_id: Annotated[str, Path(max_length=40)]) -> Work:
    work = desk.works.get(work_id)
    if work is None:
        raise NotFoundError(
            "there is no such work, or not any more: look at the page that it was for"
        )
    return work


AtWork = Annotated[Work, Depends(_work_of)]


@router.get("/works/{work_id}")
def show_work(work: AtWork) -> Work:
    """Show how a piece of work stands."""
    return work


@router.get("/works/{work_id}/events", response_class=EventSourceResponse, responses=BESIDE_EVENTS)
async def follow_work(
    desk: AtDesk, work: AtWork, last_event_id: Annotated[str, Header()] = ""
) -> AsyncIterator[ServerSentEvent]:
    """Follow a piece of work: an event now and after every change, the last when it is over.

    Each holds the work as JSON. Whoever comes back after a break says what was seen last and is
    told what came after; whoever sees a work that is ``done`` or ``failed`` hangs up.
    """
    seen = int(last_event_id) if re.fullmatch(r"[0-9]{1,9}", last_event_id) else -1
    async for state in desk.works.follow(work.id, seen=seen):
        yield ServerSentEvent(data=state, id=str(state.version), retry=2_000)
