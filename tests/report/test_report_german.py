"""Reports in German: nothing English is left over, numbers have German marks, words find room.

What people wrote, names and keys stay as they are; here they are taken out before looking.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import fields, replace
from typing import get_args

import pymupdf
import pytest

from crankwise.language import using
from crankwise.model.comparison import Basis, Level
from crankwise.model.finding import Finding
from crankwise.model.job import Fact
from crankwise.model.policy import CAUSES, OTHER_PAIRS
from crankwise.report import Dossier, Wish, made, of_visit
from crankwise.report.blocks import values
from crankwise.report.making import composed

LEVELS = get_args(Level)
KEYS = [*CAUSES, OTHER_PAIRS, "elongated:timing chain + jumped:timing chain:crank"]
PAGES = [
    Wish(reader=reader, page=page)
    for page in ("report", "before-after", "hook-up", "checklist")
    for reader in ("owner", "technician")
]
ENGLISH = re.compile(
    r"\b(the|of|with|and|is|has|have|are|were|which|that|this|these|from|by|for|not|no|yes|none|"
    r"than|before|after|it|its|at|to|be|been|can|or|on|each|every|other|into|your|our|we|they|"
    r"cams?|teeth|tooth|gap|edges?|wheels?|chain|worn|late|early|later|earlier|speed|mileage|rpm|"
    r"scatter|spread|visits?|recordings?|measured?|compared?|limits?|healthy|known-goods?|unknown|"
    r"in-time|drifting|out-of-time|judged|rising|falling)\b",
    re.IGNORECASE,
)
"""Words that are not German as well."""
POINT = re.compile(r"(?<![\d.,£A-Z])\d+\.\d{1,2}(?![\d.]|\d*%)")
"""A decimal point of a measured number; days have two points, amounts are the workshop's."""
NOT_OURS = re.compile(
    r"[\w -]+\.(?:csv|json)|known-good-\w+|\b[0-9a-f]{16,}\b|\b[\w.]+_\w+\b"
    r"|(?:causes|limits)\.[\w.-]+|[\w-]+ / [\w-]+|, crank$|crank, intake, exhaust"
    r"|(?:crank|intake|exhaust)(?:: |, Hall)|Crankwise [\w.]+|\((?:Dodge|Jeep) [\d.]+\)"
    r"|Diamond Chain FAQ"
)
"""Files, digests, keys, channels, engines that a source is of, and sources."""
STEP = re.compile(
    r"(?:\w+ [\w. -]+, )*(?:known_goods|channels|wheel|reader|outlier_teeth|cycle_known) "
)
"""Settings of a step, as the program names them."""
PLACES = {"kind", "level", "tone", "attachments", "logo", "paper", "language", "day", "name"}
MARGIN_MM = 20.0


def texts(part):
    """Yield every text of a document that is read, those inside pictures too."""
    if isinstance(part, dict):
        for key, inner in part.items():
            if key not in PLACES:
                yield from texts(inner)
    elif isinstance(part, list):
        for inner in part:
            yield from texts(inner)
    elif isinstance(part, str) and part.startswith("<"):
        yield from filter(None, map(str.strip, ET.fromstring(part).itertext()))  # noqa: S314  ours
    elif isinstance(part, str) and part:
        yield part


def said(dossier, wish, language="de"):
    """Texts of a report in a language; letterhead and foot are names."""
    with using(language):
        document = composed(dossier, wish)
    return set(texts(values(document.sheets))) | {document.page_words}


def written_by_people(dossier):
    """Every text that somebody wrote down at the visit, and names that somebody gave."""
    found = [dossier.shop.profile.name, dossier.shop.profile.tax_name]
    for fact in dossier.facts(Fact):
        written = {field.name for field in fields(fact)} - {"signal", "option", "when"}
        found += [getattr(fact, name) for name in written]
    if dossier.vehicle is not None:
        details = dossier.vehicle.details
        found += [dossier.vehicle.label, dossier.vehicle.family, details.customer]
    for item in dossier.known_goods:
        found += [item.grade.note, item.grade.verified_by]
    return sorted({text for text in found if isinstance(text, str) and text}, key=len, reverse=True)


def ours(text, theirs):
    """Take names and what people wrote out of a text."""
    if STEP.match(text):
        return ""
    text = NOT_OURS.sub("", text)
    for words in theirs:
        text = re.sub(re.escape(words), "", text, flags=re.IGNORECASE)
    return text


def leftovers(found, theirs=()):
    return [text for text in found if ENGLISH.search(ours(text, theirs))]


def untranslated(dossier, wish, theirs=()):
    """Texts with words that are the same in German as in English."""
    alike = said(dossier, wish) & said(dossier, wish, "en")
    return [text for text in alike if re.search(r"[a-z]{3}", ours(text, theirs))]


@pytest.fixture(scope="module")
def visits(mended):
    """Every visit of the mended van as it was then, and as it is."""
    return [of_visit(mended.store, mended.file, visit) for visit in mended.file.visits]


def wishes(dossier):
    """Pages that there are of a dossier."""
    return [wish for wish in PAGES if wish.page != "before-after" or dossier.after is not None]


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("key", KEYS)
def test_the_owners_report_is_german_at_every_level_and_for_every_cause(
    key, level, at_level, dossier_of
):
    comparison = at_level(level, key, "cam-target:intake")
    for engine in ("tarn-t20", None):
        dossier = dossier_of(comparison, engine=engine)
        found = said(dossier, Wish())
        assert len(found) > 15
        assert not leftovers(found)
        assert not untranslated(dossier, Wish())
        assert not [text for text in found if POINT.search(text)]


@pytest.mark.parametrize("key", KEYS)
def test_the_checklist_is_german_for_every_cause(key, at_level, dossier_of):
    comparison = at_level("worn", key)
    told_in_the_test = (comparison.verdict.summary, key)
    found = said(dossier_of(comparison), Wish(page="checklist"))
    assert not leftovers(found, told_in_the_test)


@pytest.mark.parametrize("page", ["hook-up", "checklist"])
def test_an_empty_sheet_is_german(page, shop):
    found = said(Dossier(shop), Wish(page=page))
    assert len(found) > 15
    assert not leftovers(found)
    assert not untranslated(Dossier(shop), Wish(page=page))


@pytest.mark.parametrize(
    ("code", "words"),
    [("phaser-moving", "Nockenwellenversteller"), ("wheel-unsure", "Rad"), ("other", "unruhig")],
)
def test_it_is_german_why_nothing_was_judged(code, words, at_level, dossier_of):
    comparison = replace(at_level("not-judged"), findings=(Finding(code, "caution", ""),))
    found = said(dossier_of(comparison), Wish())
    assert any(words in text for text in found)
    assert not leftovers(found)


@pytest.mark.parametrize("basis", get_args(Basis))
def test_what_it_was_compared_with_is_german(basis, van, dossier_of):
    limits = replace(van.limits, basis=basis)
    banks = replace(van.separations[0], between=("bank-1", "bank-2"))
    four = replace(van.separations[0], between=("exhaust-1", "intake-2"))
    for separations in (van.separations, (banks,), (four,)):
        comparison = replace(van, limits=limits, separations=separations, cams=())
        found = said(dossier_of(comparison), Wish())
        assert not leftovers(found)


def test_pistons_that_meet_valves_or_do_not_are_german(at_level, dossier_of):
    dossier = dossier_of(at_level("worn", "elongated:timing chain"))
    for interference in ("yes", "no", "unknown"):
        engine = replace(dossier.engine, interference=interference)
        assert not leftovers(said(replace(dossier, engine=engine), Wish()))


def test_every_page_on_every_visit_is_german(visits):
    """Record, owner's report, repair and pages for the bench of a van with all kinds of facts."""
    for dossier in visits:
        theirs = written_by_people(dossier)
        for wish in wishes(dossier):
            assert not leftovers(said(dossier, wish), theirs), wish
            assert not untranslated(dossier, wish, theirs), wish


@pytest.mark.parametrize("comparison", ["van", "four_cams"])
def test_the_record_of_a_saved_comparison_is_german(comparison, request, dossier_of):
    dossier = dossier_of(request.getfixturevalue(comparison))
    found = said(dossier, Wish(reader="technician"))
    assert len(found) > 150
    assert not leftovers(found)
    assert not [text for text in found if POINT.search(ours(text, ()))]


def test_english_words_would_be_found(visits):
    """The search itself, on a report that is not German."""
    theirs = written_by_people(visits[-1])
    english = said(visits[-1], Wish(reader="technician"), "en")
    assert len(leftovers(english, theirs)) > 60
    assert len([text for text in english if POINT.search(ours(text, theirs))]) > 60


def test_measured_numbers_and_days_are_german_and_amounts_the_workshops(visits, text_of):
    """DIN 1333 writes a decimal comma, DIN 5008 a day as 17.02.2026."""
    found = text_of(made(visits[-1], Wish(language="de")))
    assert "17.02.2026" in found
    assert re.search(r"\d,\d° ± \d,\d°", found)
    assert "98.400 Meilen" in found
    assert "£691.74 bis £769.86" in found
    british = text_of(made(visits[-1], Wish(language="en")))
    assert "£691.74 to £769.86" in british
    assert "98,400 miles" in british


def test_an_english_report_of_a_german_workshop_keeps_the_marks_of_english(visits):
    profile = replace(visits[-1].shop.profile, number_format="de-DE")
    dossier = replace(visits[-1], shop=replace(visits[-1].shop, profile=profile))
    found = said(dossier, Wish(), "en")
    assert not [text for text in found if re.search(r"\d,\d+°", text)]
    assert any(re.search(r"\d\.\d° ± \d\.\d°", text) for text in found)
    assert "691,74\xa0£ to 769,86\xa0£" in found


@pytest.fixture(scope="module")
def sheets(visits, four_cams, at_level, dossier_of, shop):
    """Everything that can be printed, with what it is of."""
    every = [(visits[-1], wish) for wish in wishes(visits[-1])]
    every += [(dossier_of(at_level(level)), Wish()) for level in LEVELS]
    every += [(dossier_of(four_cams), Wish(reader=reader)) for reader in ("owner", "technician")]
    return [*every, *((Dossier(shop), Wish(page=page)) for page in ("hook-up", "checklist"))]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_german_words_find_room_on_paper(paper, sheets):
    """No word runs over the right margin, and no page is begun for a line or two."""
    for dossier, wish in sheets:
        printed = pymupdf.open("pdf", made(dossier, replace(wish, language="de", paper=paper)))
        for page in printed:
            words = page.get_text("words")
            right = page.rect.width - MARGIN_MM / 25.4 * 72
            assert [word[4] for word in words if word[2] > right + 1.0] == [], wish
        assert len({round(word[1]) for word in printed[-1].get_text("words")}) > 3, wish
