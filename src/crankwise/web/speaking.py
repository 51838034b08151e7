"""Which language a request is answered in: the one chosen here, else the browser's."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fastapi import Request

from crankwise.language import LANGUAGES, using

if TYPE_CHECKING:
    from fastapi import FastAPI
    from starlette.types import ASGIApp, Receive, Scope, Send

COOKIE: Final = "language"


def install(app: FastAPI) -> None:
    """Answer every request in its language."""
    app.add_middleware(_Speaking)


class _Speaking:
    """Sets the language around each request."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        with using(_language(scope)):
            await self._app(scope, receive, send)


def _language(scope: Scope) -> str:
    # A browser sends the cookies of all servers of this computer, whatever they are called; the
    # parser of the standard library stops at names that it does not like.
    request = Request(scope)
    chosen = request.cookies.get(COOKIE, "")
    return chosen if chosen in LANGUAGES else preferred(request.headers.get("accept-language", ""))


def preferred(accept: str) -> str:
    """Return the known language that a browser likes best; English if it likes none.

    >>> preferred("fr;q=0.9, de-AT;q=0.8, en;q=0.5"), preferred("")
    ('de', 'en')
    """
    wishes: list[tuple[float, str]] = []
    for part in accept.split(","):
        name, _, weight = part.strip().partition(";q=")
        try:
            wishes.append((-float(weight or 1.0), name.split("-")[0].lower()))
        except ValueError:
            continue
    known = (name for _, name in sorted(wishes, key=lambda wish: wish[0]) if name in LANGUAGES)
    return next(known, "en")
