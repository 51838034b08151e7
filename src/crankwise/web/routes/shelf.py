"""The known-good shelf: its families, its known-goods, and sharing them."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Path, Query, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from crankwise.errors import NotFoundError
from crankwise.language import say
from crankwise.picture.angle_view import angle_view
from crankwise.picture.population_view import population_view
from crankwise.web.desk import AtDesk
from crankwise.web.forms import words
from crankwise.web.pages import render
from crankwise.web.views.shelf import FamilyView, family_view, shelf_view

router = APIRouter(include_in_schema=False, prefix="/known-goods")
Identifier = Annotated[str, Path(pattern=r"^[0-9a-f]{4,16}$")]
Text = Annotated[str, Query(max_length=200)]


@router.get("")
def shelf(
    request: Request,
    desk: AtDesk,
    *,
    family: Text = "",
    wheel: Text = "",
    retired: Text = "",
    page: Annotated[int, Query(ge=1, le=100_000)] = 1,
    added: Annotated[int, Query(ge=0, le=10**6)] = 0,
    present: Annotated[int, Query(ge=0, le=10**6)] = 0,
    refused: Annotated[int, Query(ge=0, le=10**6)] = 0,
    came: Text = "",
) -> HTMLResponse:
    """Show the shelf; after an import also what came of it."""
    view = desk.memory.get(
        ("shelf", family, wheel, retired, page),
        lambda: shelf_view(
            desk.store, family=family, wheel=wheel, retired=bool(retired), page=page
        ),
    )
    report = (added, present, refused) if came else None
    return render(request, "shelf.html", view, report=report)


@router.get("/family")
def family(request: Request, desk: AtDesk, name: Text) -> HTMLResponse:
    """Show what the known-goods of a family say together."""
    view: FamilyView = desk.memory.get(("family", name), lambda: family_view(desk.store, name))
    return render(request, "family.html", view)


@router.get("/family/population.svg")
def population(
    desk: AtDesk, name: Text, pattern: Annotated[int, Query(ge=1, le=1000)] = 1
) -> Response:
    """Draw how far the healthy engines of one pattern differ."""
    view: FamilyView = desk.memory.get(("family", name), lambda: family_view(desk.store, name))
    if pattern > len(view.statistics):
        raise NotFoundError(say("this family has no such pattern"))
    statistics = view.statistics[pattern - 1]
    drawn = desk.memory.get(("population", name, pattern), lambda: population_view(statistics))
    return Response(drawn, media_type="image/svg+xml")


@router.get("/{identifier}")
def known_good(request: Request, desk: AtDesk, identifier: Identifier) -> HTMLResponse:
    """Show one known-good."""
    found = desk.store.shelf.get(identifier)
    return render(request, "known_good.html", found)


@router.get("/{identifier}/angle-view.svg")
def picture(desk: AtDesk, identifier: Identifier) -> Response:
    """Draw one known-good on its crank-angle axis."""
    found = desk.store.shelf.get(identifier)
    drawn = desk.memory.get(("known-good", found.id), lambda: angle_view(found.measurement))
    return Response(drawn, media_type="image/svg+xml")


@router.post("/{identifier}/retire")
def retire(
    desk: AtDesk, identifier: Identifier, why: Annotated[str, Form(max_length=4000)]
) -> RedirectResponse:
    """Take a known-good off the shelf; it stays kept with the reason."""
    kept = desk.store.shelf.retire(identifier, why=words(why, what=say("reason")))
    return RedirectResponse(f"/known-goods/{kept.id}", status_code=303)
