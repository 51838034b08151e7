"""The owner's report says what the comparison says, in plain words, and nothing is invented."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from decimal import Decimal
from typing import get_args

import pytest
import textstat

from crankwise.comparison.words import with_uncertainty
from crankwise.drive.engine_file import load_engine
from crankwise.errors import NotMeasurableError
from crankwise.model.comparison import Level
from crankwise.model.finding import Finding
from crankwise.model.job import Advice, Choice, Offer
from crankwise.model.policy import CAUSES, OTHER_PAIRS
from crankwise.report import Wish, made, of_visit, plain_words, visit_report
from crankwise.report.blocks import Figure, Result
from crankwise.report.common import of_what, quantity
from crankwise.report.making import composed
from crankwise.report.owner import owner_sheet
from crankwise.report.written import Written

LEVELS = get_args(Level)
MOST_GRADE = 9.0  # issue 6: reading grade of the owner's text
SAID_OF_THE_METHOD = {"95", "100"}  # "95 times in 100"


def sheet_of(dossier):
    return owner_sheet(dossier, dossier.comparison, Written(dossier.shop.profile))


def result_of(sheet):
    return next(block for block in sheet.opening if isinstance(block, Result))


def figures_of(sheet):
    return [block for block in sheet.opening if isinstance(block, Figure)]


def numbers_in(text):
    """Numbers as printed, without those that are part of a name such as van-6 or P0016."""
    return set(re.findall(r"(?<![\w.,-])\d[\d,]*(?:\.\d+)?(?![\w-])", text))


@pytest.mark.parametrize("level", LEVELS)
def test_the_first_sentence_is_that_of_the_level(level, at_level, dossier_of):
    result = result_of(sheet_of(dossier_of(at_level(level))))
    assert result.level == result.word == level
    assert result.sentence == plain_words.headline(level, is_loose=False)


def test_the_number_beside_it_is_the_comparisons_own(van, dossier_of):
    dossier = dossier_of(van)
    about = quantity(van)
    assert result_of(sheet_of(dossier)).amount == with_uncertainty(
        about.change_deg, about.uncertainty_deg, sign=False
    )
    assert with_uncertainty(about.change_deg, about.uncertainty_deg) in van.verdict.summary


def test_what_is_not_judged_shows_no_number_and_no_picture(at_level, dossier_of, text_of):
    dossier = dossier_of(at_level("not-judged"))
    sheet = sheet_of(dossier)
    assert result_of(sheet).amount == ""
    assert not figures_of(sheet)
    assert "°" not in text_of(made(dossier, Wish()))


@pytest.mark.parametrize(("code", "said"), [
    ("phaser-moving", "A camshaft adjuster moved while we recorded."),
    ("wheel-unsure", "could not be made out for sure"),
    ("speed-unsteady", "too unsteady for a clear answer"),
])  # fmt: skip
def test_it_says_why_nothing_was_judged(code, said, at_level, dossier_of, words_of):
    comparison = replace(at_level("not-judged"), findings=(Finding(code, "caution", ""),))
    assert said in " ".join(words_of(sheet_of(dossier_of(comparison))))


def test_the_picture_is_left_out_where_the_teeth_are_not_known(van, dossier_of):
    bare = dossier_of(replace(van, crank=None), measurement=None)
    assert not figures_of(sheet_of(bare))
    assert len(figures_of(sheet_of(dossier_of(replace(van, crank=None))))) == 1


def test_the_picture_tells_shift_tooth_and_limits(van, dossier_of):
    figure = figures_of(sheet_of(dossier_of(van)))[0]
    words = " ".join("".join(e.itertext()) for e in ET.fromstring(figure.svg).iter())  # noqa: S314  ours
    intake = van.cam("intake")
    amount = with_uncertainty(intake.shift_deg, intake.uncertainty_deg, sign=False)
    for told in (f"{amount} later", "1 tooth = 6°", "too far: 12°", "look for wear: from 4°"):
        assert told in words
    assert f"{amount} later" in figure.alt


def test_every_number_stands_in_the_record(mended, text_of):
    dossier = of_visit(mended.store, mended.file, mended.file.visits[-1])
    document = composed(dossier, Wish())
    pictures = [b.svg for sheet in document.sheets[:1] for b in figures_of(sheet)]
    drawn = " ".join("".join(e.itertext()) for svg in pictures for e in ET.fromstring(svg).iter())  # noqa: S314  ours
    owner = text_of(visit_report(mended.store, mended.file, mended.file.visits[-1], Wish()))
    record = text_of(
        visit_report(mended.store, mended.file, mended.file.visits[-1], Wish(reader="technician"))
    )
    pages = {"1", "2", "3"}
    missing = numbers_in(f"{owner} {drawn}") - numbers_in(record) - SAID_OF_THE_METHOD - pages
    assert not missing


def test_a_mended_van_is_said_to_be_mended_on_the_first_page(mended):
    dossier = of_visit(mended.store, mended.file, mended.file.visits[-1])
    document = composed(dossier, Wish())
    assert dossier.is_repaired
    assert result_of(document.sheets[0]).level == "drifting"
    assert result_of(document.sheets[0]).now.startswith("Repaired since")
    assert [sheet.title for sheet in document.sheets] == [
        "The valve timing of your engine",
        "The repair",
    ]


def test_the_chance_is_told_from_the_history_or_not_at_all(mended, words_of, with_facts):
    last = of_visit(mended.store, mended.file, mended.file.visits[-1])
    watch = Offer("watch", "measure again", Decimal(45), Decimal(45), "GBP", None, 105_000)
    told = [
        words
        for dossier in (last, of_visit(mended.store, mended.file, mended.file.visits[0]))
        for words in words_of(sheet_of(with_facts(dossier, watch)))
        if "by then" in words
    ]
    assert told == [
        "Chance that it has come to 4° by then: < 1%, told from 4 visits.",
        "How far it will have moved by then can't be told from one visit.",
    ]


def test_without_prices_none_are_made_up(at_level, dossier_of, words_of):
    words = " ".join(words_of(sheet_of(dossier_of(at_level("worn")))))
    assert "We have not put prices to this yet" in words
    assert not re.search(r"[£$€]", words)


def test_the_workshops_own_advice_goes_before_ours(mended, words_of, with_facts):
    dossier = of_visit(mended.store, mended.file, mended.file.visits[-1])
    own = words_of(sheet_of(with_facts(dossier, Advice("new chain"), Choice("no", accepted=False))))
    assert "New chain." in own
    assert plain_words.advice("drifting") not in own
    ours = words_of(sheet_of(with_facts(dossier, Choice("no", accepted=False))))
    assert plain_words.advice("drifting") in ours


@pytest.mark.parametrize(("interference", "said"), [
    ("yes", "the pistons can then hit the valves"),
    ("no", "the pistons do not reach the valves"),
    ("unknown", "Whether pistons can hit valves in this engine"),
])  # fmt: skip
def test_it_says_whether_pistons_meet_valves_as_the_engine_file_does(
    interference, said, at_level, dossier_of, words_of
):
    engine = replace(load_engine("tarn-t20"), interference=interference)
    dossier = replace(dossier_of(at_level("worn", "elongated:timing chain")), engine=engine)
    words = " ".join(words_of(sheet_of(dossier)))
    every = ("the pistons can then hit", "the pistons do not reach", "Whether pistons can hit")
    assert said in words
    assert sum(part in words for part in every) == 1


def test_a_cam_that_only_shakes_is_told_apart_from_one_that_moved(at_level, dossier_of):
    calm = at_level("in-time")
    loose = replace(calm, verdict=replace(calm.verdict, level="drifting"))
    assert "loose" in result_of(sheet_of(dossier_of(loose))).sentence


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("cause", [*CAUSES, OTHER_PAIRS, "elongated:c + jumped:c:crank"])
def test_the_text_is_easy_to_read(cause, level, at_level, dossier_of, words_of):
    for engine in ("tarn-t20", None):
        sheet = sheet_of(dossier_of(at_level(level, cause, "cam-target:intake"), engine=engine))
        # Headings and table cells would make the sentences look shorter than they are.
        text = " ".join(words for words in words_of(sheet) if words.endswith("."))
        assert len(text.split()) > 80
        assert textstat.flesch_kincaid_grade(text) <= MOST_GRADE
        assert textstat.automated_readability_index(text) <= MOST_GRADE


def test_bank_against_bank_has_no_camshaft_to_draw(van, dossier_of):
    banks = replace(van.separations[0], between=("bank-1", "bank-2"))
    comparison = replace(van, cams=(), separations=(banks,), causes=())
    sheet = sheet_of(dossier_of(comparison))
    assert not figures_of(sheet)
    assert "one bank against the other" in result_of(sheet).about


def test_cams_of_two_banks_are_named_apart():
    assert of_what(("exhaust-2", "intake-2")) == (
        "exhaust camshaft of bank 2 against intake camshaft of bank 2"
    )
    assert of_what(("intake", "exhaust")) == "one camshaft against the other"
    assert of_what(("cam-1",)) == "camshaft 1"


def test_an_empty_comparison_is_refused(van, dossier_of):
    empty = dossier_of(replace(van, cams=(), separations=()))
    for form in ("pdf", "csv"):
        with pytest.raises(NotMeasurableError, match="neither a cam nor a separation"):
            made(empty, Wish(form=form))
