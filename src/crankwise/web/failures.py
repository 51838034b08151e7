"""What goes wrong, as a page for people and as JSON for programs: one line that says what to do."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING, Final

from fastapi import Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException

from crankwise.errors import CrankwiseError, NotFoundError, NotMeasurableError, UnreadableError
from crankwise.language import message, say, told
from crankwise.web.addresses import seen_at
from crankwise.web.pages import render

if TYPE_CHECKING:
    from fastapi import FastAPI
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

_log = logging.getLogger(__name__)
_NOT_FOUND: Final = 404
_WORDS: Final = {
    400: message("This request can't be understood."),
    401: message("Sign in first."),
    403: message("This was refused. Go back, load the page again, and try once more."),
    404: message(
        "There is nothing at this address. The list of vehicles leads to everything there is."
    ),
    405: message("This address can't be used that way."),
    411: message("The upload does not say how long it is."),
    413: message("This file is larger than this server takes."),
    421: message("This server does not go by that name. Start it with --name to add the name."),
    422: message("Something in this form is missing or can't be read."),
    429: message("Too many attempts. Wait a minute, then try again."),
    500: message("Something went wrong inside Crankwise. Nothing was lost; the log says more."),
    507: message("The disk of this server is full. Free some space, then send the file again."),
}


def install(app: FastAPI) -> None:
    """Answer every failure in words."""
    app.add_exception_handler(CrankwiseError, _ours)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_middleware(_Unexpected)


def status_of(error: CrankwiseError) -> int:
    """HTTP status of an error of ours.

    404 for what is not there, 415 for unreadable files, 422 for what can't be measured, else 400.
    """
    if isinstance(error, NotFoundError):
        return 404
    if isinstance(error, UnreadableError):
        return 415
    return 422 if isinstance(error, NotMeasurableError) else 400


def answer(
    request: Request, status: int, words: str, headers: dict[str, str] | None = None
) -> Response:
    """Answer with one line, as JSON under ``/api`` and as a page elsewhere."""
    if _is_for_programs(request):
        return JSONResponse({"error": words}, status_code=status, headers=headers)
    typed_at = seen_at(request) if request.method == "POST" else "/"
    view = {"words": words, "status": status, "back": "" if typed_at == "/" else typed_at}
    return render(request, "failure.html", view, status=status, headers=headers)


def _is_for_programs(request: Request) -> bool:
    return request.url.path.startswith("/api/")


def answer_status(request: Request, status: int, headers: dict[str, str] | None = None) -> Response:
    """Answer with the words that belong to a status."""
    return answer(request, status, say(_WORDS[status]), headers)


async def _ours(request: Request, error: Exception) -> Response:
    assert isinstance(error, CrankwiseError)  # noqa: S101  installed for these only
    return answer(request, status_of(error), told(str(error)))


async def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # noqa: S101  installed for these only
    words = _WORDS.get(error.status_code)
    text = say(words) if words else str(error.detail)
    return answer(request, error.status_code, text, dict(error.headers or {}))


async def _invalid(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)  # noqa: S101  installed for these only
    wrong = [
        (".".join(str(part) for part in item["loc"][1:]) or str(item["loc"][0]), item["msg"])
        for item in error.errors()[:3]
    ]
    words = say(_WORDS[422]).removesuffix(".")
    if _is_for_programs(request):
        return answer(request, 422, f"{words}: {'; '.join(f'{at}: {why}' for at, why in wrong)}")
    return answer(request, 422, f"{words}: {', '.join(at for at, _ in wrong)}")


class _Unexpected:
    """Answers a defect of ours in words, and writes the rest into the log."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        begun = False

        async def send_watched(message: Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            await self._app(scope, receive, send_watched)
        except Exception:
            _log.exception("%s %r failed", scope["method"], scope["path"])
            if begun:
                raise  # half an answer can't be taken back; the server cuts the connection
            await answer_status(Request(scope), 500)(scope, receive, send)
