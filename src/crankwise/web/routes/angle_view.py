"""The angle view on a page of its own, as large as the screen."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from crankwise.web import doing
from crankwise.web.desk import AtDesk
from crankwise.web.pages import render
from crankwise.web.routes.visit import VisitId

router = APIRouter(include_in_schema=False)


@router.get("/visits/{visit_id}/angle-view")
def angle_view_page(request: Request, desk: AtDesk, visit_id: VisitId) -> HTMLResponse:
    """Show the picture alone."""
    file, visit = doing.visit_file(desk.store, visit_id)
    return render(request, "angle_view_page.html", {"visit": visit, "vehicle": file.vehicle.label})
