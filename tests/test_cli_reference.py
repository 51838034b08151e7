"""The shelf at the terminal: add, list, find, study, retire, share."""

from __future__ import annotations

import dataclasses
import json

import pytest
from typer.testing import CliRunner

from crankwise import document
from crankwise.cli.app import app
from crankwise.testing.simulate import ScopeSpec, preset, simulate_to_file

FAMILY = "Tarn T20"


class Shelf:
    def __init__(self, store):
        self.store = store

    def type(self, *words, code=0):
        result = CliRunner().invoke(
            app, [*map(str, words), "--store", str(self.store)], env={"COLUMNS": "80"}
        )
        assert result.exit_code == code, f"{words}: {result.output}"
        return result

    def json(self, *words):
        result = self.type(*words, "--json")
        assert result.stderr == ""
        return json.loads(result.stdout)


@pytest.fixture(scope="module")
def recordings(tmp_path_factory):
    """Events of five healthy vans and of another engine."""
    folder = tmp_path_factory.mktemp("recordings")
    scope = ScopeSpec(duration_s=2.0, kind="events", resolution_s=1e-6)
    for name in ("van-1", "van-2", "van-3", "van-4", "t20-fresh-chain", "fell-v6"):
        spec = dataclasses.replace(preset(name), scope=scope)
        simulate_to_file(spec, folder / f"{name}.csv", seed=5)
    return folder


@pytest.fixture(scope="module")
def shelf(tmp_path_factory, recordings):
    shelf = Shelf(tmp_path_factory.mktemp("shelf") / "store")
    shelf.type(
        "reference", "add", recordings / "van-1.csv", "--family", FAMILY, "--mileage", 4200,
        "--unit", "miles", "--date", "2026-03-01", "--fresh-chain", "--verified-by", "marks",
        "--warm", "--phasers-parked", "--conditions", "warm idle", "--note", "first of its kind",
    )  # fmt: skip
    saved = recordings / "van-2.json"
    assert CliRunner().invoke(
        app, ["measure", str(recordings / "van-2.csv"), "-o", str(saved), "-q"]
    ).exit_code == 0  # fmt: skip
    shelf.type("reference", "add", saved, "--family", FAMILY)
    for van in ("van-3", "van-4"):
        shelf.type("reference", "add", recordings / f"{van}.csv", "--family", FAMILY)
    shelf.type("reference", "add", recordings / "fell-v6.csv", "--family", "Fell V6")
    return shelf


def test_the_list_has_every_known_good_and_fits_80_columns(shelf):
    rows = shelf.json("reference", "list")["known_goods"]
    assert sorted(row["family"] for row in rows) == ["Fell V6", *[FAMILY] * 4]
    text = shelf.type("reference", "list").stdout
    assert max(map(len, text.splitlines())) <= 80
    for words in ("4,200 miles", "2026-03-01", "fresh chain", "5 known-goods"):
        assert words in text
    assert len(shelf.json("reference", "list", "--family", "Fell V6")["known_goods"]) == 1
    assert shelf.json("reference", "list", "--wheel", "36-1")["known_goods"] == []


def test_adding_twice_adds_nothing(shelf, recordings):
    before = shelf.json("reference", "list")["known_goods"]
    shelf.type("reference", "add", recordings / "van-3.csv", "--family", FAMILY)
    assert shelf.json("reference", "list")["known_goods"] == before


def test_what_was_said_of_it_is_shown(shelf):
    rows = shelf.json("reference", "list")["known_goods"]
    identifier = next(row["id"] for row in rows if row["provenance"]["mileage"])
    text = " ".join(shelf.type("reference", "show", identifier[:8]).stdout.split())
    for words in (
        identifier, "4,200 miles", "warm idle", "verified by marks", "phasers parked",
        "first of its kind", "before the gap",
    ):  # fmt: skip
        assert words in text


def test_a_shown_known_good_can_be_saved_and_compared_with(shelf, recordings, tmp_path):
    rows = shelf.json("reference", "list", "--family", FAMILY)["known_goods"]
    saved = tmp_path / "known-good.json"
    shelf.type("reference", "show", rows[0]["id"], "-o", saved)
    assert document.load(saved).crank.wheel == "60-2"
    result = CliRunner().invoke(
        app, ["compare", str(recordings / "van-2.csv"), "--reference", str(saved), "--json"]
    )
    assert result.exit_code == 0


def test_a_recording_finds_its_family_by_the_pattern_alone(shelf, recordings):
    for name, family in (("t20-fresh-chain", FAMILY), ("fell-v6", "Fell V6")):
        fits = shelf.json("reference", "list", "--fits", recordings / f"{name}.csv")["fits"]
        assert fits[0]["family"] == family


def test_nothing_fits_an_engine_that_the_shelf_does_not_hold(shelf, recordings, tmp_path):
    empty = Shelf(tmp_path / "store")
    result = empty.type("reference", "list", "--fits", recordings / "van-1.csv")
    assert "No known-good on the shelf fits van-1.csv" in " ".join(result.stdout.split())
    assert "No known-good here yet" in empty.type("reference", "list").stdout


def test_the_population_has_each_cam_and_each_edge(shelf):
    pattern = shelf.json("reference", "population", "--family", FAMILY)["patterns"][0]
    assert pattern["known_goods"] == 4
    assert {spread["count"] for spread in pattern["cams"]} == {4}
    assert len(pattern["edges"]) == 16
    assert all(edge["low_deg"] < edge["high_deg"] for edge in pattern["edges"])


def test_compare_takes_the_known_goods_of_a_family_from_the_shelf(shelf, recordings, tmp_path):
    words = ("compare", recordings / "t20-fresh-chain.csv", "--family", FAMILY)
    compared = shelf.json(*words)
    assert compared["limits"]["basis"] == "population"
    assert compared["limits"]["known_goods"] == 4
    more = shelf.json(*words, "--reference", recordings / "van-1.csv")
    # It stands on the shelf already: one recording counts once.
    assert len(more["known_goods"]) == 4
    result = shelf.type("compare", recordings / "van-1.csv", "--family", "Fell V6", code=4)
    assert result.stderr.count("\n") == 1


def test_what_is_retired_is_kept_and_not_used(recordings, tmp_path):
    shelf = Shelf(tmp_path / "store")
    shelf.type("reference", "add", recordings / "van-1.csv", "--family", FAMILY)
    (row,) = shelf.json("reference", "list")["known_goods"]
    shelf.type("reference", "retire", row["id"], "--why", "crank target was moved")
    assert shelf.json("reference", "list")["known_goods"] == []
    assert len(shelf.json("reference", "list", "--retired")["known_goods"]) == 1
    assert "crank target was moved" in shelf.type("reference", "show", row["id"]).stdout
    shelf.type("compare", recordings / "van-2.csv", "--family", FAMILY, code=2)


def test_export_and_import_carry_the_shelf(shelf, tmp_path):
    bundle = tmp_path / "all.zip"
    exported = shelf.json("reference", "export", "-o", bundle)["exported"]
    other = Shelf(tmp_path / "store")
    assert sorted(other.json("reference", "import", bundle)["added"]) == sorted(exported)
    once = other.json("reference", "list")["known_goods"]
    assert "there already: 5" in other.type("reference", "import", bundle).stdout
    assert other.json("reference", "list")["known_goods"] == once
    single = tmp_path / "one.json"
    other.type("reference", "export", "-o", single, "--id", exported[0])
    third = Shelf(tmp_path / "third")
    assert third.json("reference", "import", single)["added"] == [exported[0]]


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("reference", "add", "{van}"), 2, "--family"),
        (("reference", "add", "{van}", "--family", " "), 2, "empty"),
        (("reference", "add", "{van}", "--family", "X", "--mileage", "5"), 2, "--unit"),
        (("reference", "add", "{van}", "--family", "X", "--date", "May"), 2, "2026-03-01"),
        (("reference", "add", "{saved}", "--family", "X", "--crank", "A"), 2, "saved measurement"),
        (("reference", "add", "gone.csv", "--family", "X"), 3, "gone.csv"),
        (("reference", "show", "ffffffffffff"), 2, "ffffffffffff"),
        (("reference", "retire", "ffffffffffff", "--why", "x"), 2, "ffffffffffff"),
        (("reference", "list", "--fits", "{van}", "--family", "X"), 2, "leave out"),
        (("reference", "list", "--crank", "A"), 2, "--fits"),
        (("reference", "population", "--family", "Tarn"), 2, "Fell V6, Tarn T20"),
        (("reference", "import", "{van}"), 3, "van-1.csv"),
    ],
)
def test_what_can_not_be_done_is_one_line(shelf, recordings, words, code, said):
    places = {"van": recordings / "van-1.csv", "saved": recordings / "van-2.json"}
    result = shelf.type(*(word.format(**places) for word in words), code=code)
    assert said in " ".join(result.stderr.split())
    assert "Traceback" not in result.output


@pytest.mark.parametrize("words", [("reference", "add", "{van}", "--family", "X", "--quiet")])
def test_quiet_says_nothing(recordings, tmp_path, words):
    shelf = Shelf(tmp_path / "store")
    result = shelf.type(*(word.format(van=recordings / "van-1.csv") for word in words))
    assert result.output == ""
