"""Who may do what: names the server goes by, sessions, sign-in, keys, and headers of every answer.

On this computer alone nobody signs in; a server that others reach asks for the pass-phrase. From
the outside in, a request passes :mod:`headers`, :mod:`hosts`, :mod:`limits` and :mod:`gate`.
"""

from __future__ import annotations

from fastapi import FastAPI, Request

from crankwise.web.access.gate import Gate
from crankwise.web.access.headers import Headers
from crankwise.web.access.hosts import Hosts
from crankwise.web.access.limits import BodyLimit
from crankwise.web.access.sessions import Sessions
from crankwise.web.access.tries import Tries
from crankwise.web.settings import Settings


def install(app: FastAPI, settings: Settings) -> None:
    """Guard an application; whatever is added to it afterwards stands outside."""
    app.state.sessions = Sessions()
    app.state.tries = Tries()
    app.add_middleware(Gate, settings=settings, sessions=app.state.sessions)
    app.add_middleware(BodyLimit)
    app.add_middleware(Hosts, settings=settings)
    app.add_middleware(Headers)


def sessions_of(request: Request) -> Sessions:
    """Return the sessions of the server that got a request."""
    sessions: Sessions = request.app.state.sessions
    return sessions


def tries_of(request: Request) -> Tries:
    """Return the tries to sign in at the server that got a request."""
    tries: Tries = request.app.state.tries
    return tries
