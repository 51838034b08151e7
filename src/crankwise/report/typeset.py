"""A document to PDF: tagged, archivable, with the fonts of this package, and alike every time.

The fonts are DejaVu Sans Condensed 2.37, cut down by fontTools to the characters named below.
"""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from functools import cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from crankwise.errors import MissingPackageError
from crankwise.report.blocks import values

if TYPE_CHECKING:
    from crankwise.report.blocks import Document

DATED: Final = ("a-3a", "ua-1")
"""PDF/A-3 (ISO 19005-3) lets files be attached; PDF/UA-1 (ISO 14289-1) makes it accessible."""
UNDATED: Final = ("ua-1",)
"""PDF/A asks for a date, and none is made up where none is known."""

NOT_SHIPPED: Final = re.compile(
    "[^\t\n\r -~\u00a0-\u024f\u0370-\u0377\u037a-\u037f\u0384-\u038a\u038c\u038e-\u03a1"
    "\u03a3-\u045f\u0490\u0491\u1e00-\u1efb\u2000-\u200a\u2010-\u2027\u202f\u2030-\u203a\u2060\u20ac\u20ba"
    "\u20bd\u2116\u2122\u2190-\u2199\u2212\u2248\u2260-\u2265\u25a0-\u25ff\u2610-\u2612\u26a0"
    "\u2713-\u2718\ufffd]"
)
"""Characters that the fonts of this package don't have."""

_NO_DAY: Final = datetime(1970, 1, 1, tzinfo=UTC)


def pdf(document: Document) -> bytes:
    """Typeset a document.

    Letters of scripts that the package's fonts lack are taken from the computer's fonts, and shown
    as U+FFFD where it has none: only then do the bytes depend on the computer.

    Raises
    ------
    MissingPackageError
        The package that typesets is not installed.
    """
    try:
        import typst  # noqa: PLC0415  optional
    except ImportError as error:
        raise MissingPackageError(
            "A PDF report needs the package typst: install it with pip install "
            "'crankwise[report]', or ask for an .html report"
        ) from error
    content = values(document)
    printable = _replaced(content)
    if printable == content:
        return _compiled(content, document.day, own_fonts=True)
    try:
        return _compiled(content, document.day, own_fonts=False)
    except typst.TypstError:
        return _compiled(printable, document.day, own_fonts=True)


def _compiled(content: Any, day: str, *, own_fonts: bool) -> bytes:
    import typst  # noqa: PLC0415  optional

    made: bytes = typst.compile(
        _template("sheet.typ"),
        format="pdf",
        font_paths=_fonts(own_only=own_fonts),
        sys_inputs={"document": json.dumps(content, ensure_ascii=False)},
        pdf_standards=list(DATED if day else UNDATED),
        timestamp=datetime.fromisoformat(f"{day}T00:00+00:00") if day else _NO_DAY,
    )
    return made


@cache
def _template(name: str) -> bytes:
    return (resources.files("crankwise.report") / "templates" / name).read_bytes()


@cache
def _fonts(*, own_only: bool) -> Any:
    """Fonts to set with, looked up once: those of pages and pictures, and the computer's."""
    import typst  # noqa: PLC0415  optional

    folders = [
        Path(str(resources.files(package) / "fonts"))
        for package in ("crankwise.report", "crankwise.picture")
    ]
    return typst.Fonts(
        include_system_fonts=not own_only, include_embedded_fonts=False, font_paths=folders
    )


def _replaced(content: Any) -> Any:
    """Replace what can't be printed with our fonts, but not in the attachments, which aren't."""
    if isinstance(content, str):
        return NOT_SHIPPED.sub("\N{REPLACEMENT CHARACTER}", content)
    if isinstance(content, dict):
        return {
            key: part if key == "attachments" else _replaced(part) for key, part in content.items()
        }
    return [_replaced(part) for part in content] if isinstance(content, list) else content
