"""Engine files: those that come along, and the workshop's own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import Path
from pydantic import Field, StringConstraints

from crankwise.drive.engine_writer import to_toml
from crankwise.drive.tables import MOST_TEXT
from crankwise.errors import NotFoundError
from crankwise.model.engine import Engine
from crankwise.store import Store
from crankwise.web.api.answers import UNREADABLE, Asked, api_router
from crankwise.web.desk import AtDesk

router = api_router(tag="engines")

EngineName = Annotated[
    str, StringConstraints(pattern=r"^[^/\\\x00-\x1f\x7f]+$", max_length=100), Path()
]


@dataclass(frozen=True, slots=True)
class EngineRow:
    """An engine in a list; ``own`` says that it is the workshop's own file."""

    name: str
    family: str
    own: bool


@dataclass(frozen=True, slots=True)
class EngineAnswer:
    """An engine with the text of its file (TOML)."""

    name: str
    own: bool
    engine: Engine
    text: str


class TextAsked(Asked):
    """The text of a file (TOML)."""

    text: Annotated[str, Field(max_length=MOST_TEXT)]


@router.get("/engines")
def list_engines(desk: AtDesk) -> tuple[EngineRow, ...]:
    """List the engines."""
    own = {kept.name for kept in desk.store.shop.engine_files()}
    return tuple(
        EngineRow(name, engine.family, name in own)
        for name, engine in sorted(desk.store.shop.engines().items())
    )


@router.get("/engines/{name}")
def show_engine(desk: AtDesk, name: EngineName) -> EngineAnswer:
    """Show an engine."""
    return _answer(desk.store, name)


@router.put("/engines/{name}", responses=UNREADABLE)
def keep_engine(desk: AtDesk, name: EngineName, asked: TextAsked) -> EngineAnswer:
    """Keep an engine file of one's own; the same name again replaces it."""
    desk.store.shop.keep_engine_file(name, asked.text)
    return _answer(desk.store, " ".join(name.split()))


@router.delete("/engines/{name}", status_code=204)
def drop_engine(desk: AtDesk, name: EngineName) -> None:
    """Take an engine file of one's own away."""
    desk.store.shop.drop_engine_file(name)


def _answer(store: Store, name: str) -> EngineAnswer:
    own = {kept.name: kept.text for kept in store.shop.engine_files()}
    engine = store.shop.engines().get(name)
    if engine is None:
        raise NotFoundError(f"there is no engine file {name!r}")
    return EngineAnswer(name, name in own, engine, own.get(name) or to_toml(engine))
