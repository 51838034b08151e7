"""Languages: the catalogue is complete, sentences are led back to it, and nothing is garbled."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
import textwrap
import threading
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from crankwise.errors import CrankwiseError
from crankwise.language import LANGUAGES, current, say, say_many, told, using
from crankwise.language.catalogue import catalogue
from crankwise.language.numbers import MARKS
from crankwise.language.po import read_po
from crankwise.language.telling import not_understood
from crankwise.language.templates import places_of

ROOT = Path(__file__).parents[1]
OTHERS = sorted(set(LANGUAGES) - {"en"})
STYLES = {"bold red", "bold yellow", "bold green", "DejaVu Sans", "right", "left", "start", "end"}


def po_text(code):
    return (ROOT / f"src/crankwise/language/{code}.po").read_text(encoding="utf-8")


def messages_of(code):
    return [message for message in read_po(po_text(code)) if message.text]


GERMAN = messages_of("de")


@pytest.fixture(scope="module")
def scripts():
    # They are no part of the installed package.
    sys.path.insert(0, str(ROOT / "scripts"))
    try:
        import messages  # noqa: PLC0415
        import string_finder  # noqa: PLC0415
        import write_catalogue  # noqa: PLC0415

        yield messages, string_finder, write_catalogue
    finally:
        sys.path.remove(str(ROOT / "scripts"))


@pytest.fixture
def german():
    with using("de"):
        yield


# --- the catalogue ---


@pytest.mark.parametrize("code", OTHERS)
def test_every_message_of_the_source_is_translated(scripts, code):
    messages, _, write_catalogue = scripts
    kept = list(read_po(po_text(code)))
    merged = write_catalogue.merge(messages.all_messages(), kept)
    assert [message.text for message in merged if not message.forms] == []
    written = write_catalogue.as_po(merged, write_catalogue.header(kept, code))
    assert written == po_text(code), "run scripts/write_catalogue.py"


@pytest.mark.parametrize("code", OTHERS)
def test_a_translation_has_the_places_digits_and_full_stop_of_its_message(code):
    for message in messages_of(code):
        assert len(message.forms) == (2 if message.plural else 1)
        for source, form in zip((message.text, message.plural), message.forms, strict=False):
            assert sorted(places_of(form)) == sorted(places_of(source)), source
            assert digits(re.sub(r"\{\w+\}", "", form)) == digits(re.sub(r"\{\w+\}", "", source))
            assert form.endswith(".") == source.endswith("."), source
            assert form[-1].isspace() == source[-1].isspace(), source


@pytest.mark.parametrize(
    ("english", "translated"),
    [
        ("known-good", "utmuster"),
        ("verdict", "rteil"),
        ("elongat", "läng"),
        ("shelf", "ammlung"),
        ("trouble code", "ehlercode"),
        ("code limit", "ehlercodegrenze"),
        ("timing edge", "ezugsflanke"),
        ("tensioner", "pann"),
        ("uncertainty", "nsicher"),
        ("service information", "herstellerangabe|serviceinformation"),
    ],
)
def test_a_concept_has_one_word(english, translated):
    found = [message for message in GERMAN if re.search(rf"(?<![-/\w]){english}", message.text)]
    assert found
    for message in found:
        assert re.search(translated, message.forms[0], re.IGNORECASE), message.text


def test_the_reader_agrees_with_an_independent_one():
    pofile = pytest.importorskip("babel.messages.pofile")
    path = ROOT / "src/crankwise/language/de.po"
    with path.open("rb") as file:
        theirs = {
            message.id[0] if message.pluralizable else message.id: message.string
            for message in pofile.read_po(file)
            if message.id
        }
    mine = {m.text: m.forms if m.plural else m.forms[0] for m in GERMAN}
    assert mine == theirs


def test_the_reader_knows_escapes_long_texts_fuzzy_and_obsolete_ones():
    text = textwrap.dedent(
        r"""
        #, fuzzy
        msgid "guessed"
        msgstr "geraten"

        #: a.py
        #: b.py
        msgid ""
        "one\n"
        "\"two\" \\ three"
        msgstr ""
        "eins\n"
        "\"zwei\" \\ drei"

        #~ msgid "gone"
        #~ msgstr "fort"

        msgid "{count} tooth"
        msgid_plural "{count} teeth"
        msgstr[0] "{count} Zahn"
        msgstr[1] "{count} Zähne"
        """
    )
    fuzzy, long, plural = read_po(text)
    assert fuzzy.forms == ()
    assert long.text == 'one\n"two" \\ three'
    assert long.forms == ('eins\n"zwei" \\ drei',)
    assert long.origins == ("a.py", "b.py")
    assert plural.forms == ("{count} Zahn", "{count} Zähne")
    with pytest.raises(ValueError, match="no line of a catalogue: nonsense"):
        list(read_po('msgid "a"\nnonsense\n'))


# --- finding the messages ---


def found_in(scripts, source):
    finder = scripts[1].Finder(ast.parse(textwrap.dedent(source)))
    finder.visit(finder.tree)
    return finder.found


@pytest.mark.parametrize(
    ("source", "messages"),
    [
        ('x = f"moved by {a:.1f}° and {b!r}"', ["moved by {1}° and {2}"]),
        ('x = "long text " f"with {a}"', ["long text with {1}"]),
        ('x = "a tail" + (f" of {a}" if a else "")', ["a tail of {1}", "a tail"]),
        ("x = f\"comes {a} {'late' if b else 'early'}\"", ["comes {1} late", "comes {1} early"]),
        ('_T = "Engine speed"\nx = f"{_T}, Bank 1"', ["Engine speed", "Engine speed, Bank 1"]),
        ('x = "late" if a else "early"', ["late", "early"]),
        ('x = {"a key": "a value here"}', ["a value here"]),
        ('raise UsageError(f"there is no {a} here")', ["there is no {1} here"]),
        ('raise ValueError("for programmers only")', []),
        ('def f(a: "a type") -> None:\n    """A docstring here."""', []),
        ('x = re.compile("a pattern here")', []),
        ('x = "key"', []),
        ('x = text.replace("a b", "c d")', []),
        ('x = a == "not this one"', []),
    ],
)  # fmt: skip
def test_what_people_read_is_found_and_nothing_else(scripts, source, messages):
    assert found_in(scripts, source) == messages


def test_a_new_sentence_anywhere_in_the_core_is_noticed(scripts):
    messages = scripts[0]
    for package in (*messages.CORE, *messages.RAISED):
        tree = ast.parse('raise UsageError(f"nobody has translated {this} yet")')
        found = [item.text for item in messages.of_module(tree, f"{package}/new.py")]
        assert found == ["nobody has translated {1} yet"]


def test_every_package_is_looked_through(scripts):
    messages = scripts[0]
    packages = {path.parent.name for path in (ROOT / "src/crankwise").glob("*/__init__.py")}
    without_words = {"model", "levels"}  # the model's words are read from its types
    assert packages - {*messages.CORE, *messages.RAISED, *without_words, "language"} == set()


def test_texts_of_templates_are_found(scripts, tmp_path):
    page = tmp_path / "page.html"
    page.write_text(
        '{{ _("Vehicles") }} {{ _("{n} of {all}", n=1, all=2) }} {{ told(row.text) }}'
        '{{ say_many("{count} visit", "{count} visits", 3) }}'
    )
    found = [(item.text, item.plural) for item in scripts[0].of_template(page, "page.html")]
    assert set(found) == {
        ("Vehicles", ""),
        ("{n} of {all}", ""),
        ("{count} visit", "{count} visits"),
    }


FOR_MACHINES = {
    "cli": {"ns", "to", "crankwise  --store"},
    "picture": {
        "rotate(-90  )",
        "translate( 0)",
        "'DejaVu Sans', Verdana, sans-serif",
        "strand",
        "strand on-teeth",
        "tight",
        "slack",
    },
    "web": {
        "true",
        "false",
        "recording",  # the name of a file that came without one
        "all addresses",
        "visit",
        "source",
        'format = ""',
        'format = "crankwise.engine/1"\nfamily = ""',
        'attachment; filename=""',
        'attachment; filename="api.json"',
        "=; Path=/; HttpOnly; SameSite=Lax",
        "text/csv; charset=utf-8",
        "text/html; charset=utf-8",
        'inline; filename=""',
        "default-src 'none'; frame-ancestors 'none'",
        (
            "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; "
            "frame-ancestors 'none'"
        ),
        (
            "default-src 'self'; img-src 'self' data: blob:; object-src 'none'; base-uri 'none'; "
            "form-action 'self'; frame-ancestors 'none'"
        ),
        "public, max-age=31536000, immutable",
        "no-cache",
        "Valve timing in crank degrees: jobs, recordings, comparisons, known-goods.",
        "1,234.56 (US)",
        "1 234,56 (SE)",
    },
}
"""Texts that nobody reads, or programs only: classes of SVG, headers, keys of files."""


@pytest.mark.parametrize("package", sorted(FOR_MACHINES))
def test_what_is_printed_drawn_or_shown_is_said(scripts, package):
    """Every text there is given to ``say`` or its like, or is an error's or an option's."""
    messages, finder, _ = scripts
    said = {finder.trimmed(item.text) for item in messages.all_messages()}

    class Unsaid(finder.Finder):
        def visit_Call(self, node):  # noqa: N802  its name in ast
            if finder.called(node) not in messages.SAYING:
                super().visit_Call(node)

        def visit_Raise(self, node):  # noqa: N802  its name in ast
            """Told where it is caught."""

    found = set()
    folder = ROOT / "src/crankwise" / package
    described = folder / "api"  # routes describe themselves to programs, in English
    for path in sorted(set(folder.rglob("*.py")) - set(described.glob("*.py"))):
        looking = Unsaid(ast.parse(path.read_text(encoding="utf-8")))
        looking.visit(looking.tree)
        found |= {text for text in looking.found if not text.startswith(("crankwise", "<?xml"))}
    words = {re.sub(r"\{\w+\}", "", text).strip() for text in found - said - STYLES}
    assert words <= FOR_MACHINES[package]


def test_errors_that_reach_people_are_known(scripts):
    kinds = {CrankwiseError}
    while more := {sub for kind in kinds for sub in kind.__subclasses__()} - kinds:
        kinds |= more
    assert {kind.__name__ for kind in kinds - {CrankwiseError}} == scripts[1].OURS


def test_a_table_of_texts_is_marked(scripts):
    source = 'LABELS = {"pin": message("Pin"), "wire": message("Wire")}\nKEYS = {"a": "Not this"}'
    found = [item.text for item in scripts[0].of_module(ast.parse(source), "web/new.py")]
    assert found == ["Pin", "Wire"]


# --- saying ---


def test_a_language_is_spoken_for_a_while():
    assert current() == "en"
    with using("de"):
        assert current() == "de"
        with using("fr"):
            assert current() == "en"
        assert say("known-good") == "Gutmuster"
    assert current() == "en"
    assert say("known-good") == "known-good"


def test_another_thread_speaks_english():
    heard = []
    with using("de"):
        thread = threading.Thread(target=lambda: heard.append(say("known-good")))
        thread.start()
        thread.join()
    assert heard == ["known-good"]


def test_places_are_filled_and_numbers_written(german):
    words = say("added: {added}, there already: {present}", added=1.5, present="2.5")
    assert words == "aufgenommen: 1,5, schon vorhanden: 2.5"
    assert say("no such message {a}", a="{b}") == "no such message {b}"


@pytest.mark.parametrize(("count", "words"), [(0, "0 Zähne"), (1, "1 Zahn"), (2, "2 Zähne")])
def test_the_number_decides_the_form(german, count, words):
    pitch = told("6°")
    said = say_many(
        "{count} tooth, {pitch} apart", "{count} teeth, {pitch} apart", count, pitch=pitch
    )
    assert said == f"{words}, Teilung 6°"


# --- telling ---

WHEELS_DIFFER = (
    "the crank wheels differ: the subject has 36-1 (35 teeth), the known-good 60-2 (58 teeth); "
    "choose a known-good of the same engine"
)
WHEELS_DIFFER_DE = (
    "die Geberräder der Kurbelwelle sind verschieden: Der Prüfling hat 36-1 (35 Zähne), das "
    "Gutmuster 60-2 (58 Zähne); ein Gutmuster desselben Motors wählen"
)
FORECAST = (
    "At this rate the limit of +12.0° is reached in 12,300 miles, at about 98,000 miles (91,000 "
    "miles at the earliest, with no end in sight). That lies 1.4 times as far ahead as the visits "
    "span: measure again before relying on it."
)
FORECAST_DE = (
    "Geht es so weiter, ist die Grenze von +12,0° nach 12.300 Meilen erreicht, bei etwa 98.000 "
    "Meilen (frühestens bei 91.000 Meilen, ein Ende ist nicht abzusehen). Das liegt 1,4-mal so "
    "weit voraus, wie die Besuche reichen: neu messen, bevor man sich darauf verlässt."
)


@pytest.mark.parametrize(
    ("sentence", "words"),
    [
        ("intake", "Einlass"),
        ("Intake-2", "Einlass Bank 2"),
        ("out-of-time", "verstellt"),
        ("4.1° ± 0.2°", "4,1° ± 0,2°"),
        ("98,400 miles", "98.400 Meilen"),
        ("760 rpm (687 to 814)", "760 U/min (687 bis 814)"),
        ("57%", "57 %"),
        ("2026-03-01", "01.03.2026"),
        ("exhaust 3.9° late, intake in place", "Auslass 3,9° spät, Einlass unverändert"),
        (
            "timing chain elongated, and intake cam wheel or its sensor moved",
            "Steuerkette gelängt sowie Geberrad Einlass oder dessen Sensor versetzt",
        ),
        (
            "angle between exhaust-1 and intake-1 cam",
            "Stellung von Auslassnockenwelle Bank 1 und Einlassnockenwelle Bank 1 zueinander",
        ),
        (
            "Known-good van.csv was left out: no cam was recorded.",
            "Gutmuster van.csv wurde ausgelassen: es wurde keine Nockenwelle aufgezeichnet.",
        ),
        (WHEELS_DIFFER, WHEELS_DIFFER_DE),
        (FORECAST, FORECAST_DE),
    ],
)
def test_sentences_of_the_core_are_told(german, sentence, words):
    assert told(sentence) == words


@pytest.mark.parametrize(
    "text",
    [
        "rattles when cold, and smokes",
        "chain kit",
        "the crank was loose and the cam fell off",
        "Anna said: never again",
        "van 3",
        "1.2.3",
        "recording 1.5.csv",
        "P0016",
        "36-2-1",
        "0a1b2c3d",
        "127.0.0.1:8720",
        "Äußerst eigenartig.",
    ],
)
def test_what_is_not_understood_stays_as_it_is(german, text):
    assert told(text) == text


def test_words_of_people_stay_theirs_within_a_sentence(german):
    assert told("advised: timing chain elongated") == "empfohlen: „timing chain elongated“"
    assert told("visit of 2026-03-01: late, and early; nothing recorded") == (
        "Besuch am 01.03.2026: „late, and early“; nichts aufgezeichnet"
    )
    name = "a 1.5 late.csv"
    assert told(f"{name}: the file is empty. Save or copy the recording again").startswith(name)
    assert "'intake'" in told("channel 'intake' is named both crank and intake")


@pytest.mark.parametrize(
    "hostile", ["<b>x</b>", "{0}", "{name}", "{1}", "{}", "%s", "\\", "{{", "a'b\"c", "\x00"]
)
def test_hostile_places_stay_inert(german, hostile):
    sentence = f"{hostile}: no such file. Check the name and the folder"
    assert told(sentence) == f"{hostile}: diese Datei gibt es nicht. Namen und Ordner prüfen"


PARTS = st.sampled_from([m.text for m in GERMAN]) | st.text(max_size=20)


@given(st.lists(PARTS, max_size=5).map(" ".join) | st.text())
def test_any_text_can_be_told(text):
    assert told(text) == text, "English is what it was"
    with using("de"):
        assert isinstance(told(text), str)
        assert isinstance(not_understood("de", text), tuple)


@pytest.mark.parametrize("mark", [" ", ",", ";", ".", ": ", ", and ", " (", "a, ", "the x ", "1.1"])
def test_long_texts_are_told_in_no_time(german, mark):
    assert told(mark * 3000)


WITH_PLACES = [m.text for m in GERMAN if re.search(r"\{\d\}", m.text)]
NUMBERS = st.decimals(-9999, 99999, places=1, allow_nan=False).map(str)


@given(st.sampled_from(WITH_PLACES), st.lists(NUMBERS, min_size=9, max_size=9))
def test_every_message_with_numbers_is_told_and_keeps_its_digits(message, numbers):
    sentence = re.sub(r"\{(\d)\}", lambda place: numbers[int(place[1])], message)
    with using("de"):
        said = told(sentence)
    assert digits(said) == digits(sentence)
    if any(word.isalpha() and len(word) > 2 for word in re.sub(r"\{\d\}", "", message).split()):
        assert said != sentence


def digits(text):
    return sorted(re.findall(r"\d", text))


def test_the_matcher_is_exact_about_what_surrounds_places(german):
    assert told("Not judged") == "Nicht beurteilt"
    assert told("Not judged:x.") == "Not judged:x."


# --- around it ---


def test_languages_need_only_the_core_of_the_package():
    code = (
        "import sys; sys.modules['babel'] = None\n"
        "from crankwise.language import told, using\n"
        "with using('de'): print(told('in-time'))\n"
        "heavy = {'numpy', 'polars', 'jinja2', 'tempfile'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "in Ordnung"


def test_marks_are_known_for_every_language():
    assert set(MARKS) == set(OTHERS)
    for code in OTHERS:
        assert catalogue(code).texts


def test_a_document_is_the_same_in_every_language(german):
    from crankwise import document  # noqa: PLC0415

    inputs = ROOT / "tests/snapshots/inputs"
    comparison = document.load_comparison(inputs / "van-compared.json")
    again = document.dumps(replace(comparison))
    assert json.loads(again) == json.loads((inputs / "van-compared.json").read_text("utf-8"))
