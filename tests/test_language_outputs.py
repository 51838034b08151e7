"""What the program really says, in German: every sentence, of engines in all conditions."""

from __future__ import annotations

import json
import re
import time
from dataclasses import replace
from itertools import cycle

import pytest
from typer.testing import CliRunner

from crankwise import document
from crankwise.cli.app import app
from crankwise.drive.engine_file import load_engine
from crankwise.drive.limits import limits
from crankwise.errors import CrankwiseError
from crankwise.language import told, using
from crankwise.language.telling import not_understood, tell
from crankwise.picture import angle_view, comparison_view
from crankwise.picture.layout import text_width
from crankwise.picture.panels import WIDTH
from crankwise.pipeline import compare, measure
from crankwise.store import job_state, open_store
from crankwise.testing.simulate import (
    PRESETS,
    DamagedTooth,
    Dropout,
    ExtraEdges,
    MissedTeeth,
    MissingTooth,
    SwappedChannels,
    TargetMoved,
    simulate,
)
from crankwise.workshop import scenario

NAMES = {
    "Tarn T20", "Fell V6", "exhaust bank 1", "exhaust bank 2", "intake bank 1", "intake bank 2",
    *(limit.source for limit in limits().values()),
}  # fmt: skip
"""What stays as it is: names of engines, of channels and of publications."""
KEYS = {
    "format", "sha256", "cause", "code", "channels", "channel", "subject_channel", "id", "key",
    "crankwise_version", "wheel_key", "fixed_roles",
}  # fmt: skip
"""Fields for programs."""
ENGLISH = re.compile(
    r"\b(the|and|with|which|from|that|this|of|late|early|cam|cams|crank|teeth|tooth|edges?|gap|"
    r"chain|guide|worn|known-good|speed|cycles?|recording|exhaust|intake)\b"
)
FRESH = PRESETS["t20-fresh-chain"]
CASES = (
    "t20-fresh-chain", "t20-worn-guide", "t20-stretched", "t20-jumped-tooth", "t20-phaser-moving",
    "t20-cranking", "t20-start-up", "t20-no-names", "t20-vr", "t20-logic", "van-2", "van-3",
    "van-5", "fell-v6", "fell-v6-bank-2-late",
)  # fmt: skip
FAULTS = {
    "missing-tooth": MissingTooth("crank", 17),
    "damaged-tooth": DamagedTooth("crank", 20, shift_deg=1.6),
    "damaged-cam": DamagedTooth("intake", 1, shift_deg=4.0),
    "missed-teeth": MissedTeeth("crank", share=0.004),
    "extra-edges": ExtraEdges("intake", count=12, width_s=2e-5),
    "dropout": Dropout("crank", start_s=0.5, duration_s=0.03, as_missing=True),
    "target-moved": TargetMoved("crank", shift_deg=4.0),
    "swapped": SwappedChannels("crank", "intake"),
}


def short(spec, seconds=1.2):
    return replace(spec, scope=replace(spec.scope, duration_s=min(spec.scope.duration_s, seconds)))


def texts(value):
    """Every text of a document that people may read."""
    if isinstance(value, dict):
        for key, inner in value.items():
            if key == "next_check" and inner:
                yield inner["text"]
            elif key not in KEYS:
                yield from texts(inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from texts(inner)
    elif isinstance(value, str):
        yield value


class Heard:
    """All sentences of one run."""

    def __init__(self):
        self.sentences: dict[str, None] = {}
        self.cases = 0

    def of(self, result):
        self.cases += 1
        self.sentences.update(dict.fromkeys(texts(json.loads(document.dumps(result)))))
        return result

    def measure(self, spec):
        try:
            return self.of(measure(simulate(spec, seed=1).recording))
        except CrankwiseError as error:
            self.sentences[str(error)] = None
            return None

    def compare(self, *sides, **how):
        try:
            return self.of(compare(*sides, **how))
        except CrankwiseError as error:
            self.sentences[str(error)] = None
            return None


@pytest.fixture(scope="module")
def heard():
    heard = Heard()
    measured = {name: heard.measure(short(PRESETS[name])) for name in CASES}
    measured |= {
        name: heard.measure(short(replace(FRESH, name=f"{name}.csv", faults=(fault,))))
        for name, fault in FAULTS.items()
    }
    fresh, tarn, fell = measured["t20-fresh-chain"], load_engine("tarn-t20"), load_engine("fell-v6")
    population = [fresh, measured["van-2"], measured["van-3"]]
    ways = cycle(
        (
            {"known_goods": [fresh], "engine": tarn},
            {"known_goods": [fresh], "same_vehicle": True},
            {"known_goods": population, "engine": tarn},
        )
    )
    for name, subject in measured.items():
        if subject is not None and not name.startswith("fell"):
            heard.compare(subject, **next(ways))
    late, worn = measured["fell-v6-bank-2-late"], measured["t20-worn-guide"]
    heard.compare(late, [], engine=fell)
    heard.compare(late, [measured["fell-v6"]], engine=fell, service_limit_deg=3.0)
    heard.compare(late, [fresh])
    heard.compare(fresh, [])
    heard.compare(worn, [fresh], same_vehicle=True, engine=tarn)
    heard.compare(fresh, [fresh], before=worn, engine=tarn)
    heard.compare(worn, population, before=fresh)
    return heard


def test_every_sentence_of_measurements_and_comparisons_is_told(heard):
    assert heard.cases > 40
    assert len(heard.sentences) > 600
    open_ones = {
        (part, sentence)
        for sentence in heard.sentences
        for part in not_understood("de", sentence)
        if part not in NAMES and len(part) > 1
    }
    assert not open_ones
    for sentence in heard.sentences:
        said = re.sub(r"'[^']*'|[\w-]*-[\w-]*|exhaust bank|intake bank", "", tell("de", sentence))
        assert not ENGLISH.search(said), tell("de", sentence)


def test_digits_survive(heard):
    for sentence in heard.sentences:
        said = tell("de", sentence)
        assert sorted(re.findall(r"\d", said)) == sorted(re.findall(r"\d", sentence)), said


def test_telling_is_fast(heard):
    """A thousand sentences heard for the first time; the bound is ten times what it takes."""
    sentences = [f"{sentence} " for sentence in heard.sentences]  # none of them kept yet
    tell("de", "in-time")
    start = time.process_time()
    for sentence in sentences:
        tell("de", sentence)
    assert (time.process_time() - start) / len(sentences) < 4e-3


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A store with two of the vans: one that is repaired, and one whose chain wears."""
    folder = tmp_path_factory.mktemp("shop")
    lives = [life for life in scenario.LIVES if life.van in {"van-1", "van-4", "van-6"}]
    with pytest.MonkeyPatch.context() as patch, open_store(str(folder / "store")) as store:
        patch.setattr(scenario, "LIVES", lives)
        scenario.fill_store(store, folder / "vans")
    return folder / "store"


def test_states_history_and_family_are_told(shop):
    sentences = []
    with open_store(str(shop)) as store:
        for file in store.jobs.list():
            for part in _parts(file):
                state = job_state(part)
                sentences += [state.state, state.because, state.next_step]
            history = store.history(file.vehicle.id)
            sentences += history.left_out
            for series in history.series:
                for trend in (series.worn, series.out_of_time):
                    sentences += [trend.reason, *trend.remarks]
                    sentences += [trend.forecast.text] if trend.forecast else []
        for pattern in store.shelf.statistics("Tarn T20"):
            for spread in (*pattern.cams, *pattern.separations):
                sentences += [spread.quantity, spread.basis, *spread.remarks]
            sentences += [odd.text for odd in pattern.outliers]
    assert len(set(sentences)) > 40
    for sentence in sentences:
        assert not [part for part in not_understood("de", sentence) if ".csv" not in part], sentence


def _parts(file):
    """The file as it was after each visit, fact by fact, measured or not, compared or not."""
    yield replace(file, visits=())
    for count, last in enumerate(file.visits, 1):
        before = file.visits[: count - 1]
        for kept in range(len(last.facts) + 1):
            so_far = replace(last, facts=last.facts[:kept])
            not_compared = replace(so_far, comparisons=())
            not_measured = replace(not_compared, measurements=())
            not_recorded = replace(not_measured, recordings=())
            for visit in (so_far, not_compared, not_measured, not_recorded):
                yield replace(file, visits=(*before, visit))


# --- the terminal ---


def run(*arguments):
    done = CliRunner().invoke(app, list(map(str, arguments)), env={"COLUMNS": "100"})
    return done.exit_code, done.output


COMMANDS = (
    ("job", "list"),
    ("job", "show", "van-6"),
    ("job", "show", "van-4"),
    ("job", "history", "van-4"),
    ("job", "history", "van-6"),
    ("reference", "list"),
    ("reference", "population", "--family", "Tarn T20"),
)


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_views_of_the_store_are_german(shop, command):
    code, said = run(*command, "--store", shop, "--lang", "de")
    assert code == 0
    # What people of the workshop wrote, and names of files and channels, stay.
    ours = [line for line in said.splitlines() if not _is_theirs(line)]
    assert len(ours) > 3
    assert not ENGLISH.search("\n".join(ours)), "\n".join(ours)
    code, english = run(*command, "--store", shop)
    assert code == 0
    assert english != said


_THEIRS = (
    "Anschluss", "Prüfung", "Beanstandung", "empfohlen", "angenommen", "Reparatur", "Preis",
    "Angebot",
)  # fmt: skip


def _is_theirs(line):
    words = line.split()
    is_going_on = line.startswith(" " * 12) and "abgegriffen" in line
    begun = bool(words) and words[0] in _THEIRS
    return begun or is_going_on or "tensioner" in line or "after repair" in line


@pytest.mark.parametrize("place", ["before", "after"])
def test_the_option_stands_before_or_after_the_command(shop, place):
    words = ["job", "list", "--store", str(shop)]
    at = 0 if place == "before" else len(words)
    code, said = run(*words[:at], "--lang", "de", *words[at:])
    assert code == 0
    assert "Fahrzeug" in said
    assert "Fahrzeug" not in run(*words)[1], "spoken for one command only"


def test_json_is_the_same_in_every_language(shop):
    for command in (("job", "show", "van-6"), ("job", "history", "van-4"), ("reference", "list")):
        asked = (*command, "--store", shop, "--json")
        assert run(*asked, "--lang", "de") == run(*asked)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("measure", "nowhere.csv"), "nowhere.csv: diese Datei gibt es nicht"),
        (("measure", "nowhere.csv", "--interval", "3"), "kein Abtastintervall"),
        (("job", "show", "van-9"), "es gibt keine Akte für 'van-9'"),
        (("reference", "add", "x.csv", "--family", " "), "--family ist leer"),
        (("job", "visit", "add", "van-6", "--date", "yesterday"), "ist kein Datum"),
        (("reference", "show", "ffffffff"), "nicht vorhanden: Gutmuster ffffffff"),
    ],
)
def test_failures_are_said_in_the_language(shop, tmp_path, arguments, words):
    where = () if arguments[0] == "measure" else ("--store", shop)
    code, said = run(*arguments, *where, "--lang", "de")
    assert code in {2, 3, 4}
    assert words in " ".join(re.sub("[│╭╰─]", "", said).split())


# --- pictures ---


@pytest.mark.parametrize("language", ["en", "de"])
def test_pictures_speak_the_language_within_their_width(language):
    subject = measure(simulate(short(PRESETS["t20-worn-guide"]), seed=1).recording)
    known_good = measure(simulate(short(FRESH), seed=1).recording)
    comparison = compare(subject, [known_good], engine=load_engine("tarn-t20"))
    with using(language):
        drawn = [angle_view(subject), comparison_view(comparison, crank=subject.crank)]
        word = told(comparison.verdict.level)
    assert word in drawn[1]
    for picture in drawn:
        assert ("Auslass" in picture) is (language == "de")
        for x, size, anchor, words in re.findall(
            r'<text x="([\d.]+)" y="[\d.]+" font-size="([\d.]+)" fill="[^"]*" '
            r'text-anchor="(\w+)"[^>]*>([^<]*)<',
            picture,
        ):
            if anchor == "start":
                assert float(x) + 0.9 * text_width(words, size=float(size)) < WIDTH, words
        if language == "de":
            words = " ".join(re.findall(r">([^<]+)<", picture))
            assert not ENGLISH.search(re.sub(r"t20-[a-z-]+", "", words)), words
