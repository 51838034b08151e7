"""Templates filled: every page gets the same few helpers and one view."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any, Final

from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from markupsafe import Markup, escape

from crankwise import __version__
from crankwise.language import LANGUAGES, current, say, told
from crankwise.language.formats import Numbers

if TYPE_CHECKING:
    from fastapi import Request

_MARKS: Final = {
    "in-time": "●", "drifting": "◐", "worn": "◆", "out-of-time": "■", "not-judged": "○",
}  # fmt: skip


def render(
    request: Request,
    template: str,
    view: Any,
    *,
    status: int = 200,
    headers: Mapping[str, str] | None = None,
) -> HTMLResponse:
    """Fill a template with one view.

    Templates know ``view``, ``request``, ``profile`` (the workshop's), ``csrf_token``, ``number``
    (formats of the workshop's locale), ``_`` for texts of ours and ``told`` for sentences of the
    core.
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
    made.globals.update(_=_said, told=told, marks=_MARKS)
    made.filters.update(told=told)
    return made


def _said(text: str, **values: object) -> Markup:
    """A text of ours, which may hold markup, with values that may not."""
    return Markup(say(text)).format(**values) if values else Markup(say(text))  # noqa: S704  ours


def safe(text: str) -> Markup:
    """Escape a text from outside."""
    return escape(text)
