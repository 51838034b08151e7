"""Sign in with the pass-phrase, and sign out."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from crankwise.language import say
from crankwise.web.access import phrase, sessions_of, tries_of
from crankwise.web.access.gate import SIGN_IN, address_of, cookie_for, known_cookie_name
from crankwise.web.addresses import within
from crankwise.web.desk import AtDesk
from crankwise.web.pages import render

router = APIRouter(include_in_schema=False)
_log = logging.getLogger(__name__)
_KNOWN_S = 90 * 24 * 3600
"""For as long a browser that has signed in keeps tries of its own."""


@dataclass(frozen=True, slots=True)
class SignInView:
    """The way in: what went wrong, if anything did, and the page that was wanted."""

    words: str
    goes_to: str


@router.get(SIGN_IN)
def sign_in(request: Request, desk: AtDesk, next: str = "/") -> Response:  # noqa: A002  the address
    """Ask for the pass-phrase, where one is needed."""
    if request.state.signed_in or not desk.settings.needs_sign_in:
        return RedirectResponse(within(next), status_code=303)
    return render(request, "sign_in.html", SignInView("", within(next)))


@router.post(SIGN_IN)
def signed_in(
    request: Request,
    desk: AtDesk,
    pass_phrase: Annotated[str, Form()] = "",
    goes_to: Annotated[str, Form()] = "/",
) -> Response:
    """Begin a session of its own for whoever knows the pass-phrase."""
    address, tries = address_of(request), tries_of(request)
    name = known_cookie_name(desk.settings)
    known = request.cookies.get(name, "")
    wait_s = tries.begin(address, known)
    if wait_s:
        words = say("Too many attempts. Wait {seconds} seconds, then try again.", seconds=wait_s)
        headers = {"retry-after": str(wait_s)}
        return _asked_again(request, words, goes_to, status=429, headers=headers)
    proof = phrase.proof(desk.store)
    if not phrase.is_right(desk.store, pass_phrase):
        _log.warning("a try to sign in from %s failed", ascii(address)[1:-1])
        words = say("This is not the pass-phrase.")
        return _asked_again(request, words, goes_to, status=401)
    known = tries.succeeded(address, known)
    sessions = sessions_of(request)
    sessions.end(request.state.session.id)
    session = sessions.begin(signed_in=True, proof=proof, address=address)
    answer = RedirectResponse(within(goes_to), status_code=303)
    answer.headers["set-cookie"] = cookie_for(desk.settings, request, session)
    answer.set_cookie(
        name, known, max_age=_KNOWN_S, path=SIGN_IN, httponly=True, samesite="lax",
        secure=request.scope["scheme"] == "https",
    )  # fmt: skip
    return answer


@router.post("/sign-out")
def signed_out(request: Request) -> Response:
    """End the session."""
    sessions_of(request).end(request.state.session.id)
    return RedirectResponse(SIGN_IN, status_code=303)


def _asked_again(
    request: Request,
    words: str,
    goes_to: str,
    *,
    status: int,
    headers: dict[str, str] | None = None,
) -> Response:
    view = SignInView(words, within(goes_to))
    return render(request, "sign_in.html", view, status=status, headers=headers)
