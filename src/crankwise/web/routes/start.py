"""The start page: every vehicle, how it stands, and what is due."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from crankwise.web.desk import AtDesk
from crankwise.web.pages import render
from crankwise.web.views.start import start_view

router = APIRouter(include_in_schema=False)


@router.get("/")
def start(request: Request, desk: AtDesk, search: str = "") -> HTMLResponse:
    """Show the vehicles, all or those that hold a text."""
    return render(request, "start.html", start_view(desk.store, search=search.strip()))
