"""The start page: every vehicle, how it stands, and what is due."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from crankwise.language import LANGUAGES
from crankwise.web import doing
from crankwise.web.access.gate import LANGUAGE
from crankwise.web.addresses import within
from crankwise.web.desk import AtDesk
from crankwise.web.pages import render
from crankwise.web.speaking import COOKIE
from crankwise.web.views.start import start_view

router = APIRouter(include_in_schema=False)
_A_YEAR_S = 365 * 24 * 3600


@router.get("/")
def start(
    request: Request,
    desk: AtDesk,
    search: Annotated[str, Query(max_length=200)] = "",
    page: Annotated[int, Query(ge=1, le=100_000)] = 1,
    work: Annotated[str, Query(max_length=40)] = "",
) -> HTMLResponse:
    """Show the vehicles, all or those that hold a text."""
    wanted = search.strip()
    view = desk.memory.get(
        ("start", wanted, page), lambda: start_view(desk.store, search=wanted, page=page)
    )
    return render(request, "start.html", replace(view, example_work=work))


@router.post("/example")
def fill_in_example(desk: AtDesk) -> RedirectResponse:
    """Fill an empty store with the six vans of the demo."""
    work = doing.fill_example(desk)
    return RedirectResponse(f"/?work={work.id}", status_code=303)


@router.post(LANGUAGE)
def choose_language(
    language: Annotated[str, Form(max_length=10)], back: Annotated[str, Form(max_length=4000)] = "/"
) -> RedirectResponse:
    """Remember the language a visitor chose, and go back."""
    answer = RedirectResponse(within(back), status_code=303)
    if language in LANGUAGES:
        answer.set_cookie(COOKIE, language, max_age=_A_YEAR_S, httponly=True, samesite="lax")
    return answer
