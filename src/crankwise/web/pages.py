"""Templates filled: every page gets the same few helpers and one view."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Final

from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from markupsafe import Markup, escape

from crankwise import __version__
from crankwise.language import LANGUAGES, current, say, say_many, told
from crankwise.picture.verdicts import SIGNS
from crankwise.picture.words import angle_words, bounds_words
from crankwise.web.addresses import seen_at
from crankwise.web.numbers import Numbers

ROLES: Final = (
    "crank", "intake", "exhaust", "intake-1", "exhaust-1", "intake-2", "exhaust-2",
    "cam-1", "cam-2", "cam-3", "cam-4",
)  # fmt: skip
"""What a channel may be; more cams than these are named on the command line."""

_NAME: Final = re.compile(r"\S*[\d._/\\]\S*\s")

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
    core; ``more`` is what one template needs besides. ``number`` writes money, mileages and days as
    the workshop does, ``decimal`` measured values as the language does.
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
            seen_at=seen_at(request),
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
        _many=_said_of_many,
        told=told,
        decimal=decimal,
        angle_words=angle_words,
        bounds_words=bounds_words,
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
    """Begin with a capital, unless a name comes first, and end with a full stop.

    >>> sentence("advise the owner"), sentence("late.csv is measured")
    ('Advise the owner.', 'late.csv is measured.')
    """
    ended = words if not words or words.endswith((".", "!", "?", ":")) else words + "."
    is_name = _NAME.match(ended) is not None
    return ended if is_name else ended[:1].upper() + ended[1:]


def decimal(value: float, places: int = 1) -> str:
    """Write a measured value with fixed places, such as ``1,234.5``, in the language spoken."""
    return told(f"{value:,.{places}f}")


def _said(text: str, **values: object) -> Markup:
    """A text of ours, which may hold markup, with values that may not."""
    return Markup(say(text, **_harmless(values)))  # noqa: S704  ours


def _said_of_many(one: str, many: str, count: int, **values: object) -> Markup:
    """The same for a number of things."""
    return Markup(say_many(one, many, count, **_harmless(values)))  # noqa: S704  ours


def _harmless(values: Mapping[str, object]) -> dict[str, object]:
    return {
        name: escape(value) if isinstance(value, str) else value for name, value in values.items()
    }
