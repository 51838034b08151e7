"""The application, put together."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, closing
from importlib import resources
from pathlib import Path

from fastapi import Depends, FastAPI
from fastapi.staticfiles import StaticFiles

from crankwise import __version__
from crankwise.store import open_store
from crankwise.web import access, failures, speaking
from crankwise.web.access.gate import check_form
from crankwise.web.api import ROUTERS
from crankwise.web.desk import Desk
from crankwise.web.levelling import Levelling
from crankwise.web.memory import Memory
from crankwise.web.routes import (
    angle_view,
    engines,
    health,
    report,
    shelf,
    sign_in,
    start,
    vehicle,
    visit,
    visit_facts,
    watching,
    workshop,
)
from crankwise.web.settings import Settings
from crankwise.web.uploads import open_uploads
from crankwise.web.watching import open_watching
from crankwise.web.works import Works

# The form of a new visit comes before the visits, whose addresses end in a number.
_ROUTES = (
    health,
    sign_in,
    start,
    vehicle,
    visit,
    visit_facts,
    angle_view,
    report,
    shelf,
    engines,
    workshop,
    watching,
)


def create_app(settings: Settings) -> FastAPI:
    """Make the application; the store is opened when the server starts, and closed with it."""

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        with (
            open_store(settings.store) as store,
            open_uploads(store, most_bytes=settings.most_upload_bytes) as uploads,
            closing(Works()) as works,
            open_watching(store, settings.watch, polls=settings.watch_polls) as watched,
        ):
            app.state.desk = Desk(
                settings, store, works, uploads, Memory(store), Levelling(store, works), watched
            )
            yield

    app = FastAPI(
        title="Crankwise",
        version=__version__,
        summary="Valve timing in crank degrees: jobs, recordings, comparisons, known-goods.",
        lifespan=lifespan,
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        dependencies=[Depends(check_form)],
    )
    app.mount("/static", StaticFiles(directory=static_folder()), name="static")
    for router in (*ROUTERS, *(routes.router for routes in _ROUTES)):
        app.include_router(router)
    failures.install(app)
    access.install(app, settings)
    speaking.install(app)
    return app


def static_folder() -> Path:
    """Folder of scripts, styles and pictures that are shipped."""
    return Path(str(resources.files("crankwise.web") / "static"))
