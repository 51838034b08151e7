"""Screens in another language: every text of theirs is known, and a page speaks one language."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from importlib import resources
from pathlib import Path

import pytest

pytest.importorskip("fastapi", reason="the screens are an extra: install crankwise[web]")

from jinja2 import Environment, nodes

from crankwise.language.catalogue import catalogue
from crankwise.web.engine_form import ENGINE, Part
from crankwise.web.failures import _WORDS
from crankwise.web.views import workshop

WEB = Path(str(resources.files("crankwise.web")))
GERMAN = catalogue("de")
READ_ALOUD = {"alt", "aria-label", "placeholder", "title"}
AS_THEY_ARE = {"Crankwise", "– Crankwise", "SVG", "PNG", "g", "a", "n", "b", "m", "t", "s", "p"}
"""The program's name, kinds of files, and keys."""


# --- texts that are known ---


class Raw(HTMLParser):
    """Collects words that stand in a page as they are."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.in_script = False

    def handle_starttag(self, tag, attrs):
        self.in_script = tag in {"script", "style"}
        self.found += [value for name, value in attrs if name in READ_ALOUD and value]

    def handle_endtag(self, tag):  # noqa: ARG002  as the parser calls it
        self.in_script = False

    def handle_data(self, data):
        if not self.in_script:
            self.found.append(data)


def raw_words(text: str) -> list[str]:
    """Words of a template that are not given to anything: they would be English on every page."""
    tree = Environment(autoescape=True).parse(text)
    page = Raw()
    page.feed("".join(node.data for node in tree.find_all(nodes.TemplateData)))
    lines = (line.strip() for words in page.found for line in words.splitlines())
    return [line for line in lines if re.search(r"[^\W\d_]", line) and line not in AS_THEY_ARE]


@pytest.mark.parametrize("path", sorted(WEB.glob("templates/**/*.html")), ids=lambda p: p.name)
def test_a_template_has_no_words_of_its_own(path):
    assert raw_words(path.read_text(encoding="utf-8")) == []


def test_words_of_a_template_would_be_found():
    text = (
        '{% if x %}<p title="{{ _("Day") }}">Page <b>{{ n }}</b></p><img alt="a wheel">{% endif %}'
    )
    assert raw_words(text) == ["Page", "a wheel"]


def labels(part: Part) -> Iterator[str]:
    yield part.label
    yield from (field.label for field in part.fields)
    for inner in part.parts:
        yield from labels(inner)


def test_texts_of_tables_are_translated():
    texts = [*labels(ENGINE), *workshop.GROUPS.values(), *workshop._LABELS.values()]
    assert len(texts) > 60
    for text in (*texts, *_WORDS.values()):
        assert text in GERMAN.texts, text


def test_choices_of_the_engine_form_are_told():
    def choices(part):
        yield from (word for field in part.fields for word in field.choices)
        for inner in part.parts:
            yield from choices(inner)

    for word in set(choices(ENGINE)) - {"true", "false"}:
        assert word in GERMAN.texts, word


def test_scripts_ask_for_texts_that_their_page_has():
    template = (WEB / "templates/angle_view.html").read_text(encoding="utf-8")
    there = set(re.findall(r'"(\w+)": _\(', template))
    asked = set()
    for path in WEB.glob("static/angle-view/*.js"):
        script = path.read_text(encoding="utf-8")
        asked |= set(re.findall(r'\b(?:say|entry)\("(\w+)"', script))
        asked |= {key for key in re.findall(r'"([a-z]+[A-Z]\w*)"', script) if key in there}
    plain = {"rising", "falling", "before", "after"}  # asked for by the name that a value has
    assert asked - there == set()
    assert there - asked - plain == set(), "nobody asks for these"


# --- one language to a page ---


def marks(client, address: str, language: str) -> str:
    client.cookies.set("language", language)
    answer = client.get(address)
    assert answer.status_code == 200
    assert f'<html lang="{language}">' in answer.text or "<svg" in answer.text
    return answer.text


def test_each_language_has_its_marks_however_pages_were_asked_for(local):
    for language in ("de", "en", "de", "en"):
        text = marks(local, "/visits/2", language)
        shifts = re.findall(r"[+-]\d+[.,]\d+° ± \d+[.,]\d+°", text)
        assert len(shifts) >= 3
        assert all(("," in shift) is (language == "de") for shift in shifts)
        assert ("4.200\u202fMeilen" in text) is (language == "de")
        assert ("4,200\u202fmiles" in text) is (language == "en")


def test_pictures_come_in_the_language_of_the_page(local):
    known_good = re.search(r"/known-goods/[0-9a-f]{16}", local.get("/known-goods").text)[0]
    for address, english, german in (
        ("/engines/tarn-t20/drawing.svg", "slack strand", "Leertrum"),
        ("/known-goods/family/population.svg?name=Tarn%20T20", "Each edge", "Jede Flanke"),
        (f"{known_good}/angle-view.svg", "crank angle after", "Kurbelwinkel nach"),
    ):
        for language, words in (("en", english), ("de", german), ("en", english)):
            assert words in marks(local, address, language)


def switch(client, text: str) -> str:
    """Press the button of the other language; returns where it leads."""
    fields = dict(re.findall(r'name="(csrf_token|back)" value="([^"]*)"', text))
    other = re.search(r'name="language" value="(\w+)"', text)[1]
    fields = {name: value.replace("&amp;", "&") for name, value in fields.items()}
    answer = client.post("/language", data=fields | {"language": other}, follow_redirects=False)
    assert answer.status_code == 303
    return answer.headers["location"]


@pytest.mark.parametrize(
    "address", ["/", "/known-goods/family?name=Tarn%20T20", "/?search=van&page=1", "/no-such-page"]
)
def test_the_switch_leads_back_to_the_page(local, address):
    text = local.get(address).text
    assert switch(local, text) == address
    assert '<html lang="de">' in local.get(address).text


def test_the_switch_on_the_answer_to_a_form_leads_back_to_the_form(local, token_of):
    form = {"csrf_token": token_of(local), "name": "", "family": "x"}
    referer = {"referer": "http://localhost:8720/engines/new"}
    answer = local.post("/engines", data=form, headers=referer)
    assert answer.status_code == 400
    assert switch(local, answer.text) == "/engines/new"


@pytest.mark.parametrize("referer", ["", "http://else.where//evil", "javascript:alert(1)"])
def test_the_switch_never_leads_elsewhere(local, token_of, referer):
    form = {"csrf_token": token_of(local), "name": "", "family": "x"}
    answer = local.post("/engines", data=form, headers={"referer": referer} if referer else {})
    assert switch(local, answer.text) == "/"


def test_the_way_in_can_be_read_in_another_language(tablet):
    text = tablet.get("/sign-in?next=/engines").text
    assert switch(tablet, text) == "/sign-in?next=/engines"
    assert "Passphrase der Werkstatt" in tablet.get("/sign-in").text
    assert tablet.get("/engines").status_code == 303, "nothing else is open"


def test_a_browser_that_likes_german_gets_it(local):
    answer = local.get("/", headers={"accept-language": "de-AT,de;q=0.9,en;q=0.8"})
    assert '<html lang="de">' in answer.text


def test_a_wrong_field_is_named_in_the_language(local):
    local.cookies.set("language", "de")
    answer = local.get("/?page=0")
    assert answer.status_code == 422
    assert "fehlt etwas oder ist nicht lesbar: page." in answer.text
    assert "Input should" not in answer.text
