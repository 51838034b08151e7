"""Who asks: another program by its key, a browser by its session; changes need the page's token."""

from __future__ import annotations

import secrets
from collections.abc import AsyncIterator
from typing import Final
from urllib.parse import quote, urlsplit

from anyio import to_thread
from fastapi import HTTPException, Request
from fastapi.responses import RedirectResponse, Response
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from crankwise.web import failures
from crankwise.web.access import phrase
from crankwise.web.access.sessions import Session, Sessions
from crankwise.web.access.tries import network_of
from crankwise.web.settings import Settings

SIGN_IN: Final = "/sign-in"
LANGUAGE: Final = "/language"
TOKEN_FIELD: Final = "csrf_token"  # noqa: S105  the name of a field
TOKEN_HEADER: Final = "x-csrf-token"  # noqa: S105  the name of a header
_API: Final = "/api/"
_OPEN: Final = ("/api/health", "/api/openapi.json")
_STATIC: Final = "/static/"
_SAFE: Final = frozenset({"GET", "HEAD", "OPTIONS"})
_FORMS: Final = ("application/x-www-form-urlencoded", "multipart/form-data")
_BY_KEY: Final = {"www-authenticate": "Bearer"}


class Gate:
    """Lets in whoever may come in.

    A request that is let in knows ``request.state.csrf_token`` and ``request.state.signed_in``.
    """

    def __init__(self, app: ASGIApp, settings: Settings, sessions: Sessions) -> None:
        self._app = app
        self._settings = settings
        self._sessions = sessions

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let in or refuse."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        key = _key(request)
        if key is not None:
            known = await to_thread.run_sync(request.app.state.desk.store.shop.is_key, key)
            refusal = None if known else failures.answer_status(request, 401, _BY_KEY)
        else:
            session, send = await self._session(request, send)
            refusal = self._refusal(request, session)
        await (refusal or self._app)(scope, receive, send)

    async def _session(self, request: Request, send: Send) -> tuple[Session | None, Send]:
        """Find the session of a browser; a page begins one where there is none."""
        name = cookie_name(self._settings)
        path = request.scope["path"]
        session = self._sessions.find(request.cookies.get(name, ""))
        if session and session.signed_in and not path.startswith(_STATIC):
            session = await to_thread.run_sync(self._still_good, request, session)
        is_page = not path.startswith((_API, _STATIC)) and request.method == "GET"
        may_begin = not self._settings.needs_sign_in or path == SIGN_IN
        if session is None and is_page and may_begin and _is_looked_at(request):
            session = self._sessions.begin(address=address_of(request))
            send = _with_cookie(send, cookie_for(self._settings, request, session))
        request.state.session = session
        request.state.csrf_token = session.csrf_token if session else ""
        request.state.signed_in = session is not None and session.signed_in
        return session, send

    def _still_good(self, request: Request, session: Session) -> Session | None:
        """End a session whose pass-phrase is no longer the one in force."""
        if session.proof == phrase.proof(request.app.state.desk.store):
            return session
        self._sessions.end(session.id)
        return None

    def _refusal(self, request: Request, session: Session | None) -> Response | None:
        """Answer in place of what was asked for, or nothing."""
        path: str = request.scope["path"]
        is_safe = request.method in _SAFE
        if is_safe and (path in _OPEN or path.startswith(_STATIC)):
            return None
        if not self._may_come_in(path, session):
            if path.startswith(_API):
                return failures.answer_status(request, 401, _BY_KEY)
            return _to_sign_in(request) if is_safe else failures.answer_status(request, 401)
        if is_safe or _is_from_us(request, session):
            return None
        return failures.answer_status(request, 403)

    def _may_come_in(self, path: str, session: Session | None) -> bool:
        """Whether anything but the way in may be asked for."""
        if self._settings.needs_sign_in:
            is_open = path in {SIGN_IN, LANGUAGE}
            return is_open or (session is not None and session.signed_in)
        return session is not None or not path.startswith(_API)


async def check_form(request: Request) -> AsyncIterator[None]:
    """Refuse a form that does not bring the token of its session; for every route.

    A form is parsed once: the route is given the same fields.
    """
    if not getattr(request.state, "token_due", False):
        yield
        return
    async with request.form() as form:  # its files are closed afterwards
        given = form.get(TOKEN_FIELD)
        if not isinstance(given, str) or not _is_token(given, request.state.csrf_token):
            raise HTTPException(403)
        yield


def cookie_name(settings: Settings) -> str:
    """Name the cookie after the port: two servers of one computer share the rest."""
    return f"crankwise-{settings.port}"


def known_cookie_name(settings: Settings) -> str:
    """Name the cookie that a browser is known by which has signed in before."""
    return f"{cookie_name(settings)}-known"


def cookie_for(settings: Settings, request: Request, session: Session) -> str:
    """Return the ``Set-Cookie`` header of a session; scripts can't read it."""
    secure = "; Secure" if request.scope["scheme"] == "https" else ""
    return f"{cookie_name(settings)}={session.id}; Path=/; HttpOnly; SameSite=Lax{secure}"


def address_of(request: Request) -> str:
    """Return what the sessions and tries of a visitor are counted by."""
    return network_of(request.client.host) if request.client else ""


def _is_looked_at(request: Request) -> bool:
    """Whether a page is asked for by whoever looks at it, not by a page of another site.

    Such a page may ask a thousand times, and would push out the sessions of those who work here.
    """
    is_ours = request.headers.get("sec-fetch-site", "none") in {"same-origin", "none"}
    return is_ours or request.headers.get("sec-fetch-dest") == "document"


def _key(request: Request) -> str | None:
    """Return the key that another program brings, if it brings one."""
    kind, _, key = request.headers.get("authorization", "").partition(" ")
    if kind.lower() != "bearer" or not request.scope["path"].startswith(_API):
        return None
    return key.strip()


def _is_from_us(request: Request, session: Session | None) -> bool:
    """Whether a change was asked for by a page of this server, in this session."""
    if session is None or not _is_same_origin(request):
        return False
    given = request.headers.get(TOKEN_HEADER)
    if given is not None:
        return _is_token(given, session.csrf_token)
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    request.state.token_due = kind in _FORMS  # in the form itself, see check_form
    return kind in _FORMS


def _is_same_origin(request: Request) -> bool:
    """Judge by what browsers say of where a request comes from; silence is left to the token."""
    site = request.headers.get("sec-fetch-site", "same-origin")
    origin = request.headers.get("origin")
    if site not in {"same-origin", "none"}:
        return False
    return origin is None or _place(origin) == _place(f"//{request.headers['host']}")


def _place(address: str) -> str:
    """Host and port of an address, without the port that goes without saying.

    >>> _place("http://Shop:80"), _place("//shop"), _place("null"), _place("http://[")
    ('shop', 'shop', '', '')
    """
    try:
        scheme, place = urlsplit(address)[:2]
    except ValueError:
        return ""
    usual = ":443" if scheme == "https" else ":80"
    return place.lower().removesuffix(usual)


def _is_token(given: str, token: str) -> bool:
    return bool(token) and secrets.compare_digest(given.encode("utf-8", "replace"), token.encode())


def _to_sign_in(request: Request) -> Response:
    query = request.scope["query_string"].decode("latin-1")
    wanted = request.scope["path"] + (f"?{query}" if query else "")
    return RedirectResponse(f"{SIGN_IN}?next={quote(wanted, safe='/')}", status_code=303)


def _with_cookie(send: Send, cookie: str) -> Send:
    async def send_with_cookie(message: Message) -> None:
        if message["type"] == "http.response.start":
            MutableHeaders(scope=message).append("set-cookie", cookie)
        await send(message)

    return send_with_cookie
