"""Templates filled: every page gets the same few helpers and one view."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Final

from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from crankwise import __version__
from crankwise.language import LANGUAGES, current, say, told
from crankwise.picture.verdicts import SIGNS
from crankwise.web.numbers import Numbers

ROLES: Final = (
    "crank", "intake", "exhaust", "intake-1", "exhaust-1", "intake-2", "exhaust-2",
    "cam-1", "cam-2", "cam-3", "cam-4",
)  # fmt: skip
"""What a channel may be; more cams than these are named on the command line."""

if TYPE_CHECKING:
    from fastapi import Request


def render(
    request: Request,
    template: str,
    view: Any,
    *,
    status: int = 200,
    headers: Mapping[str, str] | None = None,
    **more: object,
) -> HTMLResponse:
    """Fill a template with one view.

    Templates know ``view``, ``request``, ``profile`` (the workshop's), ``csrf_token``, ``number``
    (formats of the workshop's locale), ``_`` for texts of ours and ``told`` for sentences of the
    core; ``more`` is what one template needs besides.
    """
    profile = request.app.state.desk.store.shop.profile()
    text = (
        _environment()
        .get_template(template)
        .render(
            view=view,
            request=request,
            profile=profile,
            number=Numbers(profile),
            csrf_token=getattr(request.state, "csrf_token", ""),
            signed_in=getattr(request.state, "signed_in", False),
            lang=current(),
            languages=LANGUAGES,
            version=__version__,
            **more,
        )
    )
    return HTMLResponse(text, status_code=status, headers=dict(headers or {}))


@cache
def _environment() -> Environment:
    folder = str(resources.files("crankwise.web") / "templates")
    made = Environment(
        loader=FileSystemLoader(folder),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals.update(
        _=_said,
        told=told,
        static=static,
        role_names=ROLES,
        marks={level: sign.sign for level, sign in SIGNS.items()},
    )
    made.filters.update(sentence=sentence)
    return made


def static(name: str) -> str:
    """Address of a shipped file; it changes with the file, so that browsers may keep it."""
    return f"/static/{name}?v={_version_of(name)}"


@cache
def _version_of(name: str) -> str:
    data = resources.files("crankwise.web").joinpath("static", *name.split("/")).read_bytes()
    return hashlib.sha256(data).hexdigest()[:10]


def sentence(words: str) -> str:
    """Begin with a capital and end with a full stop.

    >>> sentence("advise the owner")
    'Advise the owner.'
    """
    text = str(words)
    ended = text if not text or text.endswith((".", "!", "?", ":")) else f"{text}."
    return ended[:1].upper() + ended[1:]


def _said(text: str, **values: object) -> Markup:
    """A text of ours, which may hold markup, with values that may not."""
    return Markup(say(text)).format(**values) if values else Markup(say(text))  # noqa: S704  ours
