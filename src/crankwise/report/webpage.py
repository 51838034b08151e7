"""A document to one HTML file that needs nothing else, and prints as the PDF does."""

from __future__ import annotations

import base64
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from crankwise.report.blocks import values

if TYPE_CHECKING:
    from crankwise.report.blocks import Document


def html(document: Document) -> str:
    """Write a document as one HTML file: styles and pictures inside, no script."""
    template = _environment().get_template("sheet.html")
    return template.render(document=values(document), css=_css()) + "\n"


@cache
def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(str(resources.files("crankwise.report") / "templates")),
        autoescape=True,
        undefined=StrictUndefined,
    )
    made.filters["picture"] = _picture
    return made


@cache
def _css() -> Markup:
    text = (resources.files("crankwise.report") / "templates" / "sheet.css").read_text("utf-8")
    return Markup(text)  # noqa: S704  our own styles


def _picture(svg: str) -> str:
    """Put a picture into its address: as an image it can't run or load anything."""
    return f"data:image/svg+xml;base64,{base64.b64encode(svg.encode()).decode()}"
