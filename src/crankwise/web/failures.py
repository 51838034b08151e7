"""What goes wrong, as a page for people and as JSON for programs: one line that says what to do."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException

from crankwise.errors import CrankwiseError, NotMeasurableError, UnreadableError
from crankwise.language import say, told
from crankwise.web.pages import render

if TYPE_CHECKING:
    from fastapi import FastAPI, Request

_NOT_FOUND: Final = 404
_WORDS: Final = {
    400: "This request can't be understood.",
    401: "Sign in first.",
    403: "This was refused. Go back, load the page again, and try once more.",
    404: "There is nothing at this address. The list of vehicles leads to everything there is.",
    405: "This address can't be used that way.",
    411: "The upload does not say how long it is.",
    413: "This file is larger than this server takes.",
    422: "Something in this form is missing or can't be read.",
    429: "Too many attempts. Wait a minute, then try again.",
}


def install(app: FastAPI) -> None:
    """Answer every failure in words."""
    app.add_exception_handler(CrankwiseError, _ours)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _invalid)


def status_of(error: CrankwiseError) -> int:
    """HTTP status of an error of ours: 400, 415 for unreadable files, 422 for what can't be measured."""
    if isinstance(error, UnreadableError):
        return 415
    return 422 if isinstance(error, NotMeasurableError) else 400


def answer(
    request: Request, status: int, words: str, headers: dict[str, str] | None = None
) -> Response:
    """Answer with one line, as JSON under ``/api`` and as a page elsewhere."""
    if request.url.path.startswith("/api/"):
        return JSONResponse({"error": words}, status_code=status, headers=headers)
    return render(
        request, "failure.html", {"words": words, "status": status}, status=status, headers=headers
    )


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
    places = "; ".join(
        f"{'.'.join(str(part) for part in item['loc'][1:]) or item['loc'][0]}: {item['msg']}"
        for item in error.errors()[:3]
    )
    return answer(request, 422, f"{say(_WORDS[422])} {places}")
