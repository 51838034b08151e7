"""The page of a visit, and what is written down on it."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Form, Path, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from crankwise.errors import UsageError
from crankwise.language import say
from crankwise.model.shelf import Grade
from crankwise.web import doing
from crankwise.web.desk import AtDesk, Desk
from crankwise.web.forms import degrees, optional, words
from crankwise.web.pages import render
from crankwise.web.routes.visit_facts import back_to
from crankwise.web.views.visit import VisitView, visit_view
from crankwise.workshop.judging import judge_visit
from crankwise.workshop.shelving import shelve_visit

router = APIRouter(include_in_schema=False, prefix="/visits/{visit_id}")
VisitId = Annotated[int, Path(ge=1, le=2**31 - 1)]
Line = Annotated[str, Form(max_length=4000)]


def seen(desk: Desk, visit_id: int) -> VisitView:
    """The page's view, kept until something changes."""
    view = desk.memory.get(("visit", visit_id), lambda: visit_view(desk.store, visit_id))
    return replace(view, works=desk.works.about(doing.place_of(visit_id)))


@router.get("")
def visit(request: Request, desk: AtDesk, visit_id: VisitId) -> HTMLResponse:
    """Show a visit from top to bottom."""
    return render(request, "visit.html", seen(desk, visit_id))


@router.post("/roles")
def measure_again(
    desk: AtDesk,
    visit_id: VisitId,
    recording: Annotated[str, Form(max_length=64)],
    channel: Annotated[list[str], Form(max_length=500)],
    role: Annotated[list[str], Form(max_length=500)],
) -> RedirectResponse:
    """Measure a recording again with roles that were picked."""
    picked = [(c, r) for c, r in zip(channel, role, strict=False) if r]
    cranks = [c for c, r in picked if r == "crank"]
    cams = {r: c for c, r in picked if r != "crank"}
    if len(cranks) != 1:
        raise UsageError(say("roles: exactly one channel must be the crank"))
    if len(cams) != len(picked) - 1:
        raise UsageError(say("roles: a role can be given to one channel only"))
    doing.measure_again(desk, visit_id, recording, crank=cranks[0], cams=cams)
    return back_to(visit_id, "recording")


@router.post("/compare")
def compare(
    desk: AtDesk,
    visit_id: VisitId,
    family: Line = "",
    known_good: Line = "",
    limit_deg: Line = "",
) -> RedirectResponse:
    """Compare the newest recording with what was chosen."""
    file, found = doing.visit_file(desk.store, visit_id)
    judge_visit(
        desk.store,
        file,
        found,
        family=optional(family),
        known_good_ids=(known_good,) if known_good else (),
        service_limit_deg=degrees(limit_deg, what=say("limit")),
    )
    return back_to(visit_id, "verdict")


@router.post("/known-good")
def keep_as_known_good(
    desk: AtDesk,
    *,
    visit_id: VisitId,
    family: Line,
    verified_by: Line = "",
    conditions: Line = "",
    fresh_chain: Line = "",
    warm: Line = "",
    phasers_parked: Line = "",
) -> RedirectResponse:
    """Put the newest measurement on the shelf."""
    file, found = doing.visit_file(desk.store, visit_id)
    grade = Grade(
        fresh_chain=True if fresh_chain else None,
        verified_by=optional(verified_by),
        warm=True if warm else None,
        phasers_parked=True if phasers_parked else None,
    )
    kept = shelve_visit(
        desk.store,
        file,
        found,
        family=words(family, what=say("engine family")),
        grade=grade,
        conditions=optional(conditions),
    )
    return RedirectResponse(f"/known-goods/{kept.id}", status_code=303)
