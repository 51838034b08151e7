"""The HTML file: one file, no script, nothing loaded, and the same words as the PDF."""

from __future__ import annotations

import html
import re
from dataclasses import replace
from importlib import resources

import pytest

from crankwise.model.job import Advice
from crankwise.report import Wish, made, of_visit
from crankwise.report.blocks import Block, Pair, Section, values
from crankwise.report.making import composed

PAGES = ("report", "before-after", "hook-up", "checklist")


@pytest.fixture(scope="module")
def dossier(mended):
    return of_visit(mended.store, mended.file, mended.file.visits[-1])


def plain(text):
    """Letters and digits alone: where lines and columns break is up to the format."""
    return re.sub(r"[\s\u00a0\u202f]+", "", text)


def shown(markup):
    inside = re.sub(r"<style>.*?</style>", "", markup, flags=re.DOTALL)
    return plain(html.unescape(re.sub(r"<[^>]+>", "", inside)))


@pytest.mark.parametrize("reader", ["owner", "technician"])
@pytest.mark.parametrize("page", PAGES)
def test_pdf_and_html_say_the_same(page, reader, dossier, words_of, text_of):
    wish = Wish(reader=reader, page=page)
    printed = plain(text_of(made(dossier, wish)))
    markup = made(dossier, replace(wish, form="html")).decode()
    for words in words_of(composed(dossier, wish).sheets):
        alt = f'alt="{html.escape(words)}"'.replace("&#x27;", "&#39;")
        assert plain(words) in shown(markup) or alt in markup, words
        assert plain(words) in printed or alt in markup, words


@pytest.mark.parametrize("page", PAGES)
def test_it_needs_nothing_else_and_runs_nothing(page, dossier):
    markup = made(dossier, Wish(form="html", reader="technician", page=page)).decode()
    assert markup.startswith("<!doctype html>")
    assert '<html lang="en">' in markup
    assert "<title>" in markup
    assert not re.search(r"<script|<link|<iframe|@import|url\(|https?://", markup)
    sources = re.findall(r'src="([^"]{20})', markup)
    assert all(source == "data:image/svg+xml;b" for source in sources)
    assert all(re.search(r'alt="', tag) for tag in re.findall(r"<img[^>]*>", markup))


def test_markup_in_texts_is_escaped(dossier, with_facts):
    nasty = '<img src=x onerror="alert(1)">{{ 1 + 1 }}'
    markup = made(with_facts(dossier, Advice(nasty)), Wish(form="html")).decode()
    assert "<img src=x" not in markup
    assert html.escape(nasty, quote=False).split("{{")[0] in markup.replace("&#34;", '"')


def test_the_templates_know_every_kind_of_block():
    kinds = {kind.kind for kind in Block.__args__} | {Section.kind, Pair.kind}
    templates = resources.files("crankwise.report") / "templates"
    typ, markup = (templates.joinpath(f"sheet.{end}").read_text("utf-8") for end in ("typ", "html"))
    in_typ = set(
        re.findall(r"^  ([a-z]+): ", typ.split("#let kinds = (")[1].split("\n)")[0], re.MULTILINE)
    )
    in_html = set(re.findall(r'it\.kind == "([a-z]+)"', markup))
    assert in_typ == in_html == kinds - {"section", "pair"}
    assert values(Section("A", ()))["kind"] == "section"


def test_the_paper_is_told_to_the_printer(dossier):
    for paper in ("A4", "Letter"):
        assert f"size: {paper};" in made(dossier, Wish(form="html", paper=paper)).decode()
