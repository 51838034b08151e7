"""Six vans from the first visit to the known-good after the repair, typed at a terminal."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from crankwise.cli.app import app
from crankwise.store import job_state, open_store
from crankwise.testing.simulate import ScopeSpec, simulate_to_file
from crankwise.testing.simulate.visits import van_at

FAMILY = "Tarn T20"
VISITS = {
    "van-1": ((4_200, "2023-09-05"), (21_400, "2025-03-18")),
    "van-2": ((31_500, "2025-12-02"),),
    "van-3": ((58_900, "2026-01-13"),),
    "van-4": (
        (45_100, "2023-10-03"),
        (59_700, "2024-06-18"),
        (73_800, "2025-03-25"),
        (87_300, "2026-01-20"),
    ),
    "van-5": ((64_900, "2023-09-12"), (121_800, "2026-02-03")),
    "van-6": (
        (52_800, "2023-11-07"),
        (83_600, "2025-06-10"),
        (98_400, "2026-02-17"),
    ),
}
REPAIRED = ("van-5", "van-6")


class Desk:
    """A store and a folder of recordings, worked on only by commands."""

    def __init__(self, folder):
        self.folder = folder
        self.store = folder / "store"

    def type(self, *words, code=0):
        """Run a command; the store is named after it."""
        result = CliRunner().invoke(
            app, [*map(str, words), "--store", str(self.store)], env={"COLUMNS": "80"}
        )
        assert result.exit_code == code, f"{words}: {result.output}"
        return result

    def json(self, *words):
        result = self.type(*words, "--json")
        assert result.stderr == ""
        return json.loads(result.stdout)

    def recording(self, van, mileage, *, after_repair=False):
        path = self.folder / f"{van}-{mileage}{'-after' if after_repair else ''}.csv"
        spec = van_at(van, mileage=mileage, chain_fitted_at=mileage if after_repair else 0)
        scope = ScopeSpec(duration_s=2.0, kind="events", resolution_s=1e-6)
        simulate_to_file(replace(spec, scope=scope), path, seed=mileage + after_repair)
        return path


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    desk = Desk(tmp_path_factory.mktemp("desk"))
    desk.verdicts = {}
    for van, visits in VISITS.items():
        desk.type("job", "new", van, "--family", FAMILY, "--vin", f"VIN{van}", "--quiet")
        for mileage, date in visits:
            visit_van(desk, van, mileage, date)
        if van in REPAIRED:
            repair(desk, van, visits[-1][0])
    return desk


def visit_van(desk, van, mileage, date):
    desk.type(
        "job", "visit", "add", van, "--date", date, "--mileage", mileage, "--unit", "miles",
        "--no-complaint", "--no-codes",
    )  # fmt: skip
    desk.type("job", "record", van, desk.recording(van, mileage), "--quiet")
    if (van, mileage) == ("van-1", 4_200):
        desk.type(
            "job", "known-good", van, "--fresh-chain", "--warm", "--phasers-parked",
            "--verified-by", "marks on the sprockets",
        )  # fmt: skip
        return
    compared = desk.json("job", "compare", van, "--engine", "tarn-t20")
    desk.verdicts[van, mileage] = compared["verdict"]["level"]


def repair(desk, van, mileage):
    desk.type("job", "advised", van, "chain, guides and tensioner new")
    desk.type("job", "chosen", van, "have it done now", "--accepted")
    desk.type("job", "repair", van, "chain, guides and tensioner replaced", "--chain-replaced")
    desk.type("job", "price", van, "chain kit", "186.40", "gbp")
    after = desk.recording(van, mileage, after_repair=True)
    desk.type("job", "record", van, after, "--purpose", "after-repair", "--quiet")
    compared = desk.json("job", "compare", van, "--engine", "tarn-t20")
    assert compared["repair"]["may_become_known_good"], compared["repair"]["why"]
    desk.type("job", "known-good", van, "--fresh-chain", "--warm", "--phasers-parked")


def states(desk):
    return {
        item["vehicle"]["label"]: item["state"]["state"]
        for item in desk.json("job", "list")["jobs"]
    }


def test_healthy_vans_pass_and_the_worn_guide_is_found(desk):
    for van in ("van-1", "van-2", "van-3"):
        last = VISITS[van][-1][0]
        assert desk.verdicts[van, last] == "in-time", van
    assert desk.verdicts["van-6", 98_400] not in {"in-time", "not-judged"}


def test_the_repaired_vans_are_verified_and_the_state_was_never_set(desk):
    found = states(desk)
    assert set(found) == set(VISITS)
    for van in REPAIRED:
        assert found[van] == "verified"
    assert found["van-2"] == "judged"


def test_the_file_holds_the_whole_visit(desk):
    file = desk.json("job", "show", "van-6")["file"]
    last = file["visits"][-1]
    assert (last["visit"]["mileage"], last["visit"]["mileage_unit"]) == (98_400, "miles")
    kinds = {fact["kind"] for fact in last["facts"]}
    assert len(kinds) >= 6, kinds
    assert [item["purpose"] for item in last["recordings"]] == ["diagnosis", "after-repair"]
    levels = [item["comparison"]["verdict"]["level"] for item in last["comparisons"]]
    assert levels[-1] == "in-time"
    assert len(file["known_goods"]) == 1


def test_a_van_with_its_own_known_good_is_compared_with_itself(desk):
    last = desk.json("job", "show", "van-1")["file"]["visits"][-1]
    assert last["comparisons"][-1]["comparison"]["limits"]["basis"] == "same-vehicle"


def test_a_known_good_from_before_the_chain_is_not_the_vehicles_own(desk, tmp_path):
    other = Desk(tmp_path)
    other.type("job", "new", "van-5", "--family", FAMILY)
    visit = ("job", "visit", "add", "van-5", "--unit", "miles", "--mileage")
    other.type(*visit, 64_900, "--date", "2023-09-12")
    other.type("job", "record", "van-5", other.recording("van-5", 64_900), "--quiet")
    other.type("job", "known-good", "van-5")
    other.type(*visit, 121_800, "--date", "2026-02-03")
    other.type("job", "record", "van-5", other.recording("van-5", 121_800), "--quiet")
    before = other.json("job", "compare", "van-5")
    other.type("job", "repair", "van-5", "chain", "--chain-replaced")
    after = other.recording("van-5", 121_800, after_repair=True)
    other.type("job", "record", "van-5", after, "--purpose", "after-repair", "--quiet")
    assert before["limits"]["basis"] == "same-vehicle"
    assert other.json("job", "compare", "van-5")["limits"]["basis"] == "one-other-vehicle"


def test_history_follows_the_wear_that_was_simulated(desk):
    found = desk.json("job", "history", "van-4", "--engine", "tarn-t20")
    assert found["mileage_unit"] == "miles"
    intake = next(item for item in found["series"] if item["quantity"] == "intake")
    change = intake["worn"]["change_per_10000"]
    # The preset puts 1.6 × 1.6° on the intake cam over 87,300 miles.
    assert change["low"] <= 10_000 * 1.6 * 1.6 / 87_300 <= change["high"]
    assert len(intake["visits"]) == 4


def test_history_begins_anew_with_the_new_chain(desk):
    text = desk.type("job", "history", "van-6").stdout
    assert "The chain was replaced at 98,400 miles" in text
    assert "Too few visits" in text


def test_every_table_fits_80_columns(desk):
    for words in (
        ("job", "list"),
        ("job", "show", "van-6"),
        ("job", "history", "van-4"),
        ("job", "remeasure", "van-6"),
        ("reference", "list"),
        ("reference", "population", "--family", FAMILY),
        ("reference", "list", "--fits", desk.folder / "van-3-58900.csv"),
    ):
        lines = desk.type(*words).stdout.splitlines()
        assert max(map(len, lines)) <= 80, words


def test_what_was_written_down_is_shown(desk):
    text = " ".join(desk.type("job", "show", "van-6").stdout.split())
    for words in (
        "visit 3: 2026-02-17, 98,400 miles", "chain, guides and tensioner replaced (new chain)",
        "chain kit: 186.40 GBP", "van-6-98400-after.csv (after-repair)", "in-time",
    ):  # fmt: skip
        assert words in text


def test_an_engine_that_has_moved_is_no_known_good(desk, tmp_path):
    other = Desk(tmp_path)
    other.type("job", "new", "van-6", "--family", FAMILY)
    for mileage in (52_800, 98_400):
        other.type("job", "visit", "add", "van-6", "--unit", "miles", "--mileage", mileage)
        other.type("job", "record", "van-6", desk.folder / f"van-6-{mileage}.csv", "--quiet")
        if mileage == 52_800:
            other.type("job", "known-good", "van-6")
    assert other.json("job", "compare", "van-6")["verdict"]["level"] == "drifting"
    refused = other.type("job", "known-good", "van-6", code=4)
    assert "is drifting, and a known-good is a healthy engine" in refused.stderr
    other.type("job", "known-good", "van-6", "--despite-verdict")
    assert len(other.json("reference", "list")["known_goods"]) == 2


def test_a_second_store_takes_the_shelf_and_gives_the_same_verdicts(desk, tmp_path):
    bundle = tmp_path / "shelf.zip"
    desk.type("reference", "export", "-o", bundle)
    second = Desk(tmp_path)
    assert len(second.json("reference", "import", bundle)["added"]) == 3
    again = second.json("reference", "import", bundle)
    assert (again["added"], len(again["present"]), again["conflicts"]) == ([], 3, [])
    for van, visits in VISITS.items():
        subject = desk.folder / f"{van}-{visits[-1][0]}.csv"
        words = ("compare", subject, "--family", FAMILY, "--engine", "tarn-t20")
        here, there = desk.json(*words), second.json(*words)
        assert here["verdict"] == there["verdict"], van
        assert here["cams"] == there["cams"], van
    assert b"VINvan" not in bundle.read_bytes()


def test_remeasuring_keeps_both_and_changes_nothing_with_the_same_method(desk):
    done = desk.json("job", "remeasure", "van-6")["recordings"]
    assert len(done) == 4
    assert all(item["failed"] is None for item in done)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("job", "show", "van-9"), "crankwise job list"),
        (("job", "new", "VAN-3"), "van-3 has a job already"),
        (("job", "new", "7"), "number of a job"),
        (("job", "visit", "add", "van-2", "--mileage", "10"), "--unit"),
        (("job", "visit", "add", "van-2"), "--unknown-mileage"),
        (("job", "visit", "add", "van-2", "--unit", "leagues"), "km, miles"),
        (("job", "visit", "add", "van-2", "--date", "3/1/26"), "2026-01-03 or 2026-03-01"),
        (("job", "visit", "add", "van-2", "--date", "31.2.26"), "2026-03-01"),
        (("job", "visit", "add", "van-2", "--mileage", "98.4", "--unit", "km"), "whole number"),
        (("job", "codes", "van-2", "16"), "P0016"),
        (("job", "hook-up", "van-2", "--signal", "crankshaft"), "write crank, intake"),
        (("job", "codes", "van-2"), "--none"),
        (("job", "price", "van-2", "chain", "much", "GBP"), "89.50"),
        (("job", "price", "van-2", "chain", "5", "pounds"), "three letters"),
        (("job", "repair", "van-2", "chain"), "--chain-replaced or --chain-kept"),
        (("job", "chosen", "van-2", "wait"), "--accepted or --declined"),
        (("job", "check", "van-2", "codes cleared"), "--before or --after"),
        (("job", "note", "van-2", " "), "empty"),
        (("job", "note", "van-2", "x", "--visit", "9"), "1 to 1"),
        (("job", "compare", "van-2", "--family", "Fell V6"), "Fell V6"),
        (("compare", "x.json", "--family", "Fell V6"), "Fell V6"),
    ],
)
def test_what_makes_no_sense_is_one_line_and_2(desk, words, said):
    result = desk.type(*words, code=2)
    assert said in " ".join(result.stderr.split())
    assert "Traceback" not in result.output


def test_the_store_may_be_named_before_the_command_or_by_the_environment(desk, monkeypatch):
    runner = CliRunner()
    where = str(desk.store)
    there = {tuple(states(desk).items())}
    for words, env in (
        (["--store", where, "job", "list", "--json"], {}),
        (["job", "--store", where, "list", "--json"], {}),
        (["job", "list", "--json"], {"CRANKWISE_STORE": where}),
    ):
        result = runner.invoke(app, words, env=env)
        assert result.exit_code == 0, result.output
        jobs = json.loads(result.stdout)["jobs"]
        there.add(tuple((job["vehicle"]["label"], job["state"]["state"]) for job in jobs))
    assert len(there) == 1


def test_names_from_the_store_are_completed(desk, monkeypatch):
    monkeypatch.setenv("CRANKWISE_STORE", str(desk.store))
    env = {"_CRANKWISE_COMPLETE": "complete_bash", "COMP_CWORD": "3"}
    for line, expected in (
        ("crankwise job show van-", set(VISITS)),
        ("crankwise reference population --family ", {FAMILY}),
    ):
        env |= {"COMP_WORDS": line, "COMP_CWORD": str(len(line.split(" ")) - 1)}
        result = CliRunner().invoke(app, [], env=env, prog_name="crankwise")
        assert set(result.stdout.splitlines()) == expected


def test_an_old_folder_is_taken_in_with_a_report(desk, tmp_path):
    other = Desk(tmp_path)
    folder = tmp_path / "old"
    (folder / "van-3").mkdir(parents=True)
    source = desk.folder / "van-3-58900.csv"
    for name in (
        "van-3/2024-04-09 34000 miles.csv", "van-3/yesterday.csv", "van-4 2024-05-01 100 km.csv",
    ):  # fmt: skip
        path = folder / name
        path.write_bytes(source.read_bytes() + b"\n" * len(name))
    (folder / "shopping.txt").write_text("milk\n", encoding="utf-8")
    (folder / ".hidden").write_text("x", encoding="utf-8")
    taken = other.json("job", "import", folder, "--family", FAMILY)["files"]
    assert {item["name"]: item["outcome"] for item in taken} == {
        "shopping.txt": "refused",
        "van-3/2024-04-09 34000 miles.csv": "visit",
        "van-3/yesterday.csv": "kept",
        "van-4 2024-05-01 100 km.csv": "visit",
    }
    text = next(item["text"] for item in taken if item["outcome"] == "kept")
    assert "no date and no mileage with its unit" in text
    assert set(states(other)) == {"van-3", "van-4"}
    again = other.json("job", "import", folder, "--family", FAMILY)["files"]
    assert sum("there already" in item["text"] for item in again) == 2
    assert len(other.json("job", "show", "van-3")["file"]["visits"][0]["recordings"]) == 1
    other.type("job", "import", tmp_path / "nowhere", code=2)


def test_a_visit_after_the_matter_is_closed_begins_another(tmp_path):
    desk = Desk(tmp_path)
    desk.type("job", "new", "van-2", "--family", FAMILY)

    def state():
        with open_store(str(desk.store)) as store:
            (file,) = store.jobs.list()
        return job_state(file).state

    seen = [state()]
    visit = ("job", "visit", "add", "van-2", "--unit", "miles", "--mileage")
    for words in (
        (*visit, 10_600, "--complaint", "rattles"),
        ("job", "record", "van-2", desk.recording("van-2", 10_600)),
        ("reference", "add", desk.recording("van-1", 4_200), "--family", FAMILY),
        ("job", "compare", "van-2"),
        ("job", "advised", "van-2", "chain new"),
        ("job", "chosen", "van-2", "wait", "--declined"),
        (*visit, 31_500),
        ("job", "record", "van-2", desk.recording("van-2", 31_500)),
        ("job", "compare", "van-2"),
        ("job", "advised", "van-2", "chain new"),
        ("job", "chosen", "van-2", "do it", "--accepted"),
        (*visit, 31_600),
        ("job", "repair", "van-2", "chain", "--chain-replaced"),
        ("job", "note", "van-2", "oil changed as well"),
    ):
        desk.type(*words)
        seen.append(state())
    assert seen == [
        "open", "to-record", "to-compare", "to-compare", "judged", "advised", "declined",
        "to-record", "to-compare", "judged", "advised", "accepted", "accepted", "repaired",
        "repaired",
    ]  # fmt: skip
