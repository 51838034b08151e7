"""No abbreviation on a page or a screen that the page on words does not explain."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from crankwise.language.po import read_po

ROOT = Path(__file__).parents[1]
PAGES = sorted([*ROOT.glob("*.md"), *ROOT.glob("docs/*.md")])
CAPITALS = re.compile(r"(?<![\w-])[A-Z]{2,}(?=s?\b)")
CODE = re.compile(r"^ *```.*?^ *```|`[^`]*`", re.MULTILINE | re.DOTALL)
NAMES = {"CHANGELOG", "CTS", "EUR", "GBP", "GM", "LGPL", "MATLAB", "README"}
"""Files, a model, currencies, a maker, a licence, a program: names, explained by themselves."""


def prose(path):
    """What a page says in sentences, without code, links' targets, sources and written tables."""
    text = path.read_text(encoding="utf-8")
    text = re.sub(r"<!-- (.+?): begin -->.*?<!-- \1: end -->", "", text, flags=re.DOTALL)
    text = re.sub(r"^## (?:\d+ )?Sources\n.*?(?=^## |\Z)", "", text, flags=re.MULTILINE | re.DOTALL)
    return re.sub(r"\]\([^)]*\)|<!--.*?-->", "]", CODE.sub("", text), flags=re.DOTALL)


def explained():
    table = (ROOT / "docs" / "words.md").read_text(encoding="utf-8").split("## Abbreviations")[1]
    return set(re.findall(r"[A-Z]{2,}", " ".join(re.findall(r"^\| (.*?) \|", table, re.MULTILINE))))


def placeholders():
    """Words in capitals that stand for what is to be typed, as in ``measure RECORDING``."""
    commands = (ROOT / "docs" / "cli.md").read_text(encoding="utf-8")
    return {word for code in CODE.findall(commands) for word in CAPITALS.findall(code)}


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.name)
def test_every_abbreviation_on_a_page_is_explained(page):
    used = set(CAPITALS.findall(prose(page)))
    assert used <= explained() | placeholders() | NAMES


def test_every_abbreviation_on_screens_and_at_the_terminal_is_explained():
    # The catalogue of the second language has every message that the source holds.
    catalogue = (ROOT / "src/crankwise/language/de.po").read_text(encoding="utf-8")
    said = " ".join(message.text for message in read_po(catalogue))
    assert set(CAPITALS.findall(said)) <= explained() | placeholders() | NAMES


def test_every_abbreviation_explained_is_used():
    texts = [path.read_text(encoding="utf-8") for path in PAGES if path.name != "words.md"]
    texts += [path.read_text(encoding="utf-8") for path in (ROOT / "src").rglob("*.py")]
    texts += [path.read_text(encoding="utf-8") for path in (ROOT / "src").rglob("*.html")]
    used = set(re.findall(r"[A-Z]{2,}", " ".join(texts)))
    assert explained() <= used
