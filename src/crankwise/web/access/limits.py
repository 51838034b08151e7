"""The most that a request may bring; recordings, which stream to disk, have their own limit."""

from __future__ import annotations

from typing import Final

from fastapi import HTTPException, Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from crankwise.web import failures
from crankwise.web.access.gate import LANGUAGE, SIGN_IN

UPLOADS: Final = "/api/uploads"
MOST_BYTES: Final = 8_000_000
"""Forms and documents; the largest form brings a logo of 500 kB."""
_MOST_OF_A_FORM: Final = 400_000
"""Fields without a file: nobody types more, and reading them holds up the server's loop."""
_MOST_OF_ANYBODY: Final = 20_000
"""What those who have not signed in may send."""
_TOO_LARGE: Final = 413


class BodyLimit:
    """Refuses a body that says it is too large, and stops one that turns out to be."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on what is small enough."""
        if scope["type"] != "http" or (scope["path"] == UPLOADS and not _is_ambiguous(scope)):
            await self._app(scope, receive, send)
            return
        if _is_ambiguous(scope):
            answer = failures.answer_status(Request(scope), 400, {"connection": "close"})
            await answer(scope, receive, send)
            return
        most = _most(scope)
        if _stated(scope) > most:
            answer = failures.answer_status(Request(scope), _TOO_LARGE)
            await answer(scope, receive, send)
            return
        came = 0

        async def receive_counted() -> Message:
            nonlocal came
            message = await receive()
            came += len(message.get("body", b""))
            if came > most:
                raise HTTPException(_TOO_LARGE)
            return message

        await self._app(scope, receive_counted, send)


def _most(scope: Scope) -> int:
    """Bytes that a request may bring."""
    if scope["path"] in {SIGN_IN, LANGUAGE}:
        return _MOST_OF_ANYBODY
    kind = Request(scope).headers.get("content-type", "").lower()
    return _MOST_OF_A_FORM if kind.startswith("application/x-www-form-urlencoded") else MOST_BYTES


def _is_ambiguous(scope: Scope) -> bool:
    """Whether a request gives two ends, of which a proxy may take the other (RFC 9112, 6.1)."""
    names = {key for key, _ in scope["headers"]}
    return {b"content-length", b"transfer-encoding"} <= names


def _stated(scope: Scope) -> int:
    """Length that the request gives for its body; 0 where it gives none that is a number."""
    for key, value in scope["headers"]:
        if key == b"content-length" and value.isdigit():
            return int(value)
    return 0
