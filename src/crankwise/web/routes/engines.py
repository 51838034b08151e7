"""Engine files: read, drawn, copied and changed."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from crankwise.drive.engine_file import parse_engine, shipped
from crankwise.drive.engine_writer import to_toml
from crankwise.errors import CrankwiseError, UsageError
from crankwise.language import say, told
from crankwise.model.engine import Engine
from crankwise.picture.engine_view import engine_view
from crankwise.web.desk import AtDesk, Desk
from crankwise.web.engine_form import changed, filled, place_of, text_of
from crankwise.web.failures import status_of
from crankwise.web.forms import Typed
from crankwise.web.pages import render
from crankwise.web.views.engines import EditView, engines_view

router = APIRouter(include_in_schema=False)
Name = Annotated[str, Path(max_length=100)]
_NEW = 'format = "crankwise.engine/1"\nfamily = ""\n'


@router.get("/engines")
def engines(request: Request, desk: AtDesk) -> HTMLResponse:
    """List every engine file."""
    view = desk.memory.get("engines", lambda: engines_view(desk.store))
    return render(request, "engines.html", view)


@router.get("/engines/new")
def new_engine(request: Request) -> HTMLResponse:
    """Begin an engine file with nothing in it."""
    return render(request, "engine_edit.html", EditView("", filled(_NEW)))


@router.get("/engines/{name}")
def engine(request: Request, desk: AtDesk, name: Name) -> HTMLResponse:
    """Show one engine: its drawing, its figures, its file."""
    return render(
        request, "engine.html", _engine(desk, name), name=name,
        text=_text(desk, name), is_own=_own(desk, name) is not None,
    )  # fmt: skip


@router.get("/engines/{name}/drawing.svg")
def drawing(desk: AtDesk, name: Name) -> Response:
    """Draw the wheels and the path of the chain."""
    found = _engine(desk, name)
    drawn = desk.memory.get(("engine", name), lambda: engine_view(found))
    return Response(drawn, media_type="image/svg+xml")


@router.get("/engines/{name}/file.toml")
def engine_file(desk: AtDesk, name: Name) -> Response:
    """Give the file itself."""
    return Response(_text(desk, name), media_type="application/toml")


@router.get("/engines/{name}/edit")
def edit(request: Request, desk: AtDesk, name: Name) -> HTMLResponse:
    """Show the form of an engine file; a shipped one is copied by keeping it."""
    text = _text(desk, name)
    own = name if _own(desk, name) is not None else f"{name}-own"
    return render(request, "engine_edit.html", EditView(own, filled(text)))


@router.post("/engines")
def keep(request: Request, desk: AtDesk, form: Typed) -> Response:
    """Keep what was typed, or show what is wrong at its field, or add and remove parts."""
    name, action = form.pop("name", "").strip(), form.pop("action", "keep")
    if action != "keep":
        text = text_of(changed(form, action))
        return render(request, "engine_edit.html", EditView(name, filled(text)))
    text = text_of(form)
    try:
        desk.store.shop.keep_engine_file(name, text)
    except CrankwiseError as error:
        words = str(error)
        at = "name" if isinstance(error, UsageError) else place_of(words)
        view = EditView(name, filled(text), told(words), at)
        return render(request, "engine_edit.html", view, status=status_of(error))
    return RedirectResponse(f"/engines/{name}", status_code=303)


@router.post("/engines/{name}/preview.svg")
def preview(name: Name, form: Typed) -> Response:
    """Draw what is typed, before it is kept."""
    found = parse_engine(text_of(form), where=name, family=name)
    return Response(engine_view(found), media_type="image/svg+xml")


@router.post("/engines/{name}/drop")
def drop(desk: AtDesk, name: Name) -> RedirectResponse:
    """Take an engine file of the workshop's own away; a shipped one of its name counts again."""
    desk.store.shop.drop_engine_file(name)
    return RedirectResponse("/engines", status_code=303)


def _engine(desk: Desk, name: str) -> Engine:
    found = desk.store.shop.engines().get(name)
    if found is None:
        raise UsageError(say("there is no engine {name}; the list of engines has all", name=name))
    return found


def _own(desk: Desk, name: str) -> str | None:
    texts = {kept.name: kept.text for kept in desk.store.shop.engine_files()}
    return texts.get(name)


def _text(desk: Desk, name: str) -> str:
    own = _own(desk, name)
    if own is not None:
        return own
    if name not in shipped():
        _engine(desk, name)
    return to_toml(shipped()[name])
