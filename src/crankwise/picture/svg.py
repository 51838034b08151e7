"""A tiny SVG writer: elements with escaped text and short numbers."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final
from xml.sax.saxutils import escape, quoteattr

_NOT_XML: Final = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True, slots=True)
class Element:
    """One SVG element; ``attributes`` are already strings, not yet escaped."""

    name: str
    attributes: tuple[tuple[str, str], ...]
    children: tuple[Element | str, ...]

    def __str__(self) -> str:
        head = self.name + "".join(f" {key}={quoteattr(_xml(v))}" for key, v in self.attributes)
        if not self.children:
            return f"<{head}/>"
        inner = "".join(_markup(child) for child in self.children)
        return f"<{head}>{inner}</{self.name}>"


def element(name: str, *children: Element | str, **attributes: str | float) -> Element:
    """Make an element; ``stroke_width`` becomes ``stroke-width``, ``class_`` ``class``.

    >>> str(element("text", "a < b", x=1.25, font_size=11))
    '<text x="1.25" font-size="11">a &lt; b</text>'
    """
    named = tuple(
        (key.rstrip("_").replace("_", "-"), value if isinstance(value, str) else short(value))
        for key, value in attributes.items()
    )
    return Element(name, named, children)


def document(*children: Element, width: float, height: float, title: str, text: str) -> str:
    """Wrap elements into a complete SVG file with a title and a description for readers."""
    root = element(
        "svg",
        *([element("title", title)] if title else []),
        *([element("desc", text)] if text else []),
        *children,
        xmlns="http://www.w3.org/2000/svg",
        width=width,
        height=height,
        viewBox=f"0 0 {short(width)} {short(height)}",
        role="img",
    )
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{root}\n'


def short(number: float) -> str:
    """Format a coordinate with at most two decimals, which is finer than a printed dot.

    >>> short(12.0), short(-0.001), short(3.14159)
    ('12', '0', '3.14')
    """
    text = f"{number:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _markup(child: Element | str) -> str:
    return str(child) if isinstance(child, Element) else escape(_xml(child))


def _xml(text: str) -> str:
    """Take out characters that XML 1.0 forbids (its production 2)."""
    return _NOT_XML.sub("\N{REPLACEMENT CHARACTER}", text)
