"""Settings of the site that Sphinx builds from these pages; ``scripts/build_site.py`` runs it.

The pages are plain Markdown, read by MyST the way they read in any viewer. Sphinx starts at the
top of the repository, so that links to the changelog, to sources and to pictures lead somewhere
there too. Which pages there are, in which groups, stands once: in the tables of ``index.md``.
"""  # noqa: INP001  settings, not a package

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sphinx.application import Sphinx

project = "Crankwise"
author = "the Crankwise contributors"
extensions = ["myst_parser"]
root_doc = "docs/index"
include_patterns = ["*.md", "docs/*.md"]
myst_heading_anchors = 3
nitpicky = True

html_theme = "furo"
html_title = "Crankwise"
html_static_path = ["site"]
html_css_files = ["site.css"]
html_show_copyright = False
html_show_sphinx = False
html_copy_source = False
html_theme_options = {
    "light_css_variables": {"color-brand-primary": "#44516b", "color-brand-content": "#0b7f7c"},
    "dark_css_variables": {"color-brand-primary": "#aab6cf", "color-brand-content": "#4fc0bc"},
}
highlight_language = "none"  # a block without a name holds an equation, not a program
pygments_style = "default"
pygments_dark_style = "github-dark"

_GROUP = re.compile(r"^## (?P<caption>.+?)\n(?P<rows>.*?)(?=^## |\Z)", re.MULTILINE | re.DOTALL)
_ROW = re.compile(r"^\| \[(?P<title>[^\]]+)\]\((?P<page>[^)]+)\.md\) \|", re.MULTILINE)


def contents(index: str) -> str:
    """Sphinx's tables of contents for the groups of pages in the index."""
    return "".join(
        "\n".join(
            ["\n```{toctree}", ":hidden:", f":caption: {group['caption']}", "",
             *(f"{title} <{page}>" for title, page in _ROW.findall(group["rows"])), "```\n"]
        )
        for group in _GROUP.finditer(index)
        if _ROW.search(group["rows"])
    )  # fmt: skip


def _add_contents(_app: Sphinx, page: str, source: list[str]) -> None:
    if page == root_doc:
        source[0] += contents(source[0])


def setup(app: Sphinx) -> None:
    """Let Sphinx call us when it has read a page."""
    app.connect("source-read", _add_contents)
