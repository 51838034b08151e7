"""Headers of every answer: what a page may load and do, and how long it may be kept."""

from __future__ import annotations

from typing import Final

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

_CONTENT: Final = (
    "default-src 'self'; img-src 'self' data: blob:; object-src 'none'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)
_NOT_NEEDED: Final = (
    "camera", "display-capture", "geolocation", "microphone", "midi", "payment", "serial", "usb",
)  # fmt: skip
_ALWAYS: Final = {
    "content-security-policy": _CONTENT,
    "x-content-type-options": "nosniff",
    # "no-referrer" would make browsers send "Origin: null" with our own forms (Fetch standard,
    # serializing a request origin).
    "referrer-policy": "same-origin",
    "permissions-policy": ", ".join(f"{name}=()" for name in _NOT_NEEDED),
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
_HTTPS_ONLY: Final = "max-age=31536000"
_FOR_EVER: Final = "public, max-age=31536000, immutable"
_ASK_FIRST: Final = "no-cache"
_NOT_KEPT: Final = "no-store"


class Headers:
    """Adds the headers to whatever is answered, but for those that the answer brings itself."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer with the headers."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                # A report and a logo say themselves what they may do, which is less.
                for name, value in _ALWAYS.items():
                    headers.setdefault(name, value)
                headers.setdefault("cache-control", _kept(scope, message["status"]))
                if scope["path"].startswith("/api/"):
                    # Read by scripts and programs; opened by itself it is a file, never a page.
                    headers.setdefault("content-disposition", 'attachment; filename="api.json"')
                if scope["scheme"] == "https":
                    headers.setdefault("strict-transport-security", _HTTPS_ONLY)
            await send(message)

        await self._app(scope, receive, send_with_headers)


def _kept(scope: Scope, status: int) -> str:
    """Pages are never kept; what is shipped is, for ever where its address names the version."""
    if not scope["path"].startswith("/static/") or status >= 400:
        return _NOT_KEPT
    return _FOR_EVER if scope["query_string"].startswith(b"v=") else _ASK_FIRST
