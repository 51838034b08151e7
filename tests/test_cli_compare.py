"""The command ``compare``: what reaches the comparison, what people read, what ends how.

Measuring and comparing are replaced here; the whole way is in test_cli_whole.py.
"""

from __future__ import annotations

import dataclasses
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import get_args

import pytest
from typer.testing import CliRunner

from crankwise import document, pipeline
from crankwise.cli import measure as measure_command
from crankwise.cli.app import app
from crankwise.cli.show_comparison import show_comparison
from crankwise.errors import NotMeasurableError, UsageError
from crankwise.model.comparison import Level, RepairCheck
from crankwise.picture.verdicts import SIGNS

SNAPSHOTS = Path(__file__).parent / "snapshots"
INPUTS = SNAPSHOTS / "inputs"
VAN = INPUTS / "van-compared.json"
KNOWN_GOOD = INPUTS / "t20.json"


@pytest.fixture(scope="module")
def van():
    return document.load_comparison(VAN)


@pytest.fixture
def run(monkeypatch, tmp_path):
    """Run the command with the work replaced; ``outcome`` is a comparison or an error."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.delenv("CRANKWISE_DEBUG", raising=False)

    def run(*arguments, outcome=None):
        asked = {"measured": []}

        def measure_file(recording, **options):
            asked["measured"].append((str(recording), options))
            if options["crank"] == "nowhere":
                raise UsageError("there is no channel 'nowhere'")
            return document.load(INPUTS / "van.json")

        def compare(subject, known_goods, **options):
            asked.update(options, subject=subject, known_goods=known_goods)
            if isinstance(outcome, BaseException):
                raise outcome
            return outcome or document.load_comparison(VAN)

        monkeypatch.setattr(measure_command, "measure_file", measure_file)
        monkeypatch.setattr(pipeline, "compare", compare)
        result = CliRunner().invoke(app, ["compare", *map(str, arguments)])
        result.asked = asked
        return result

    return run


@pytest.fixture
def shown(monkeypatch, capsys):
    """Show a comparison and return its lines."""
    monkeypatch.setenv("COLUMNS", "80")

    def shown(comparison):
        show_comparison(comparison, pitch_deg=6.0)
        lines = [line.rstrip() for line in capsys.readouterr().out.splitlines()]
        assert max(map(len, lines)) <= 80
        return lines

    return shown


def with_verdict(comparison, **changes):
    return dataclasses.replace(
        comparison, verdict=dataclasses.replace(comparison.verdict, **changes)
    )


def test_people_get_the_text_of_the_snapshot(shown, van):
    snapshot = (SNAPSHOTS / "compare-van.txt").read_text(encoding="utf-8").splitlines()
    assert shown(van) == snapshot, "read it, then run scripts/write_generated.py"


def test_the_command_prints_the_same_and_names_what_it_saved(run):
    result = run("van.csv", "--reference", "good.csv", "-o", "c.json", "--picture", "c.svg")
    assert (result.exit_code, result.stderr) == (0, "")
    snapshot = (SNAPSHOTS / "compare-van.txt").read_text(encoding="utf-8").splitlines()
    lines = [line.rstrip() for line in result.stdout.splitlines()]
    assert lines == [*snapshot, "saved: c.json", "saved: c.svg"]
    assert document.load_comparison("c.json") == document.load_comparison(VAN)
    assert Path("c.svg").read_text(encoding="utf-8").startswith("<?xml")


def test_json_is_one_document_and_nothing_else(run):
    result = run("van.csv", "--reference", "good.csv", "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    assert json.loads(result.stdout) == json.loads(VAN.read_text(encoding="utf-8"))


@pytest.mark.parametrize("extra", [["--quiet"], ["-q"]])
def test_quiet_prints_nothing(run, extra):
    result = run("van.csv", "--reference", "good.csv", "-o", "c.json", *extra)
    assert (result.exit_code, result.output) == (0, "")
    assert Path("c.json").exists()
    assert all(options["progress"] is False for _, options in result.asked["measured"])


def test_recordings_are_measured_and_saved_measurements_taken_as_they_are(run, tmp_path):
    saved = tmp_path / "no-ending"
    saved.write_bytes(b"\xef\xbb\xbf\n" + KNOWN_GOOD.read_bytes())
    result = run("van.csv", "--reference", saved, "--reference", "other.csv")
    assert result.exit_code == 0, result.output
    assert [name for name, _ in result.asked["measured"]] == ["van.csv", "other.csv"]
    assert result.asked["known_goods"][0] == document.load(KNOWN_GOOD)
    assert len(result.asked["known_goods"]) == 2


def test_options_reach_the_recordings(run):
    result = run(
        "van.csv", "--reference", KNOWN_GOOD, "--crank", "A", "--cam", "intake=B",
        "--interval", "10us",
    )  # fmt: skip
    (_, options), *others = result.asked["measured"]
    assert not others
    assert options["crank"] == "A"
    assert options["cams"] == {"intake": "B"}
    assert options["interval_s"] == 1e-5


def test_options_reach_the_comparison(run, tmp_path):
    policy = tmp_path / "policy.toml"
    policy.write_text('[spread.cam_deg]\nvalue = 0.9\nsource = "ours"\n', encoding="utf-8")
    result = run(
        "van.csv", "--reference", KNOWN_GOOD, "--same-vehicle", "--engine", "tarn-t20",
        "--policy", policy, "--limit", "8.5", "--before", KNOWN_GOOD,
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    asked = result.asked
    assert asked["same_vehicle"] is True
    assert asked["engine"].family == "Tarn T20"
    assert asked["policy"].spread.cam_deg == 0.9
    assert asked["service_limit_deg"] == 8.5
    assert asked["before"] == document.load(KNOWN_GOOD)
    assert len(asked["known_goods"]) == 1


def test_nothing_is_assumed_that_was_not_said(run):
    asked = run("van.csv", "--reference", KNOWN_GOOD).asked
    assert asked["same_vehicle"] is False
    assert (asked["engine"], asked["service_limit_deg"], asked["before"]) == (None, None, None)
    assert asked["policy"].spread.cam_deg == 1.5


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        ([], 2, "Missing argument"),
        (["van.csv", "--limit", "x"], 2, "--limit"),
        (["van.csv", "--cam", "CH1"], 2, "is not ROLE=CHANNEL"),
        (["van.csv", "--lang", "fr"], 2, "give one of: en, de"),
        (["van.csv", "--picture", "x.gif"], 2, ".svg or .png"),
        (["van.csv", "-o", "x.svg", "--picture", "x.svg"], 2, "two names"),
        (["van.csv", "-o", "no/x.json"], 2, "folder does not exist"),
        (["good.json", "--reference", "good.json", "--crank", "A"], 2, "are for recordings"),
        (["good.json", "--reference", "van.csv", "--crank", "nowhere"], 2, "van.csv: there is no"),
        (["good.json", "--reference", "compared.json"], 3, "give the measurement instead"),
        (["good.json", "--reference", "broken.json"], 3, "broken.json: it is not JSON"),
        (["good.json", "--engine", "gone.toml"], 3, "gone.toml"),
        (["good.json", "--policy", "gone.toml"], 3, "gone.toml"),
        (["good.json", "--reference", "good.json", "-o", "good.json"], 2, "a file to read from"),
        (["good.json", "--before", "other.json", "-o", "other.json"], 2, "a file to read from"),
        (["good.json", "--policy", "other.json", "-o", "other.json"], 2, "a file to read from"),
        (["good.json", "--engine", "other.json", "-o", "other.json"], 2, "a file to read from"),
    ],
)
def test_what_can_not_work_is_said_with_its_exit_code(run, tmp_path, arguments, code, said):
    for name in ("good.json", "other.json"):
        (tmp_path / name).write_bytes(KNOWN_GOOD.read_bytes())
    (tmp_path / "compared.json").write_bytes(VAN.read_bytes())
    (tmp_path / "broken.json").write_text("{", encoding="utf-8")
    result = run(*arguments)
    assert result.exit_code == code, result.output
    assert result.stdout == ""
    assert said in " ".join(result.stderr.split())
    assert "Traceback" not in result.stderr
    assert (tmp_path / "good.json").read_bytes() == KNOWN_GOOD.read_bytes()
    assert (tmp_path / "other.json").read_bytes() == KNOWN_GOOD.read_bytes()


@pytest.mark.parametrize("extra", [[], ["--json"], ["--quiet"]])
def test_a_refused_comparison_ends_with_4_and_one_line(run, extra):
    outcome = NotMeasurableError("the crank wheels differ: 60-2 and 36-1")
    result = run("van.csv", "--reference", KNOWN_GOOD, "-o", "c.json", *extra, outcome=outcome)
    assert (result.exit_code, result.stdout) == (4, "")
    assert result.stderr == "crankwise: the crank wheels differ: 60-2 and 36-1\n"
    assert not Path("c.json").exists()


@pytest.mark.parametrize("level", get_args(Level))
def test_the_verdict_is_the_first_thing_said(shown, van, level):
    lines = shown(with_verdict(van, level=level, summary="One sentence, +4.2° ± 0.1°."))
    assert lines[0] == f"{SIGNS[level].sign} {level}  One sentence, +4.2° ± 0.1°."


def test_no_number_of_degrees_stands_without_its_uncertainty(shown, van):
    lines = shown(van)
    table = lines[next(k for k, line in enumerate(lines) if line.startswith("cam  ")) :]
    for cam, line in zip(van.cams, table[1:], strict=False):
        assert line.startswith(cam.role)
        assert line.count("±") == 2
        assert cam.direction in line
        assert "outside" in line
    between = table[next(k for k, line in enumerate(table) if line.startswith("between")) + 1]
    assert "±" in between
    assert "opening" in between


def test_healthy_limits_say_within_outside_or_not_known(shown, van):
    wide = dataclasses.replace(van.cams[0].healthy, low_deg=-9.0, high_deg=9.0)
    cams = (
        dataclasses.replace(van.cams[0], healthy=wide),
        dataclasses.replace(van.cams[1], healthy=None),
    )
    text = "\n".join(shown(dataclasses.replace(van, cams=cams)))
    assert "within -9.0° to +9.0°" in text
    assert "not known" in text


def test_the_three_likeliest_causes_and_never_certainty(shown, van):
    cause = van.causes[0]
    causes = tuple(
        dataclasses.replace(cause, name=f"cause {k}", probability=p, size="", because="why")
        for k, p in enumerate((0.999, 0.5, 0.001, 0.0))
    )
    lines = shown(dataclasses.replace(van, causes=causes))
    start = lines.index("likeliest causes")
    told = [line.split("cause")[0].strip() for line in lines[start + 1 :] if " %  cause" in line]
    assert told == ["> 99 %", "50 %", "< 1 %"]
    assert "cause 3" not in "\n".join(lines)


def test_an_engine_in_time_is_not_to_be_opened_up(shown, van):
    worn, in_time = shown(van), shown(with_verdict(van, level="in-time"))
    assert "next check" in worn
    assert "next check" not in in_time


def test_nothing_is_said_twice(shown, van):
    advice = ("Wait.", f"Next: {van.next_check.text}")
    text = " ".join(" ".join(shown(with_verdict(van, advice=advice))).split())
    assert text.count(van.next_check.text) == 1
    assert "Wait." in text
    for words in (van.limits.text, van.limits.code_limit_source, van.cams[0].words[1:]):
        assert text.count(words) == 1, words


def test_a_repair_is_judged(shown, van):
    repair = RepairCheck(
        van.cams, is_right=False, remains=("intake cam: before +4.2° ± 0.1°, now +2.0° ± 0.1°",),
        may_become_known_good=False, why="the verdict after the repair is drifting",
    )  # fmt: skip
    lines = shown(dataclasses.replace(van, repair=repair))
    assert "the repair is not complete" in lines
    assert "  - Intake cam: before +4.2° ± 0.1°, now +2.0° ± 0.1°." in lines
    assert "  - No known-good yet: the verdict after the repair is drifting." in lines
    right = dataclasses.replace(repair, is_right=True, may_become_known_good=True, why="so")
    lines = shown(dataclasses.replace(van, repair=right))
    assert "the repair is right" in lines
    assert "  - It may become a known-good: so." in lines


def test_a_bare_comparison_has_no_empty_headings(shown, van):
    bare = dataclasses.replace(
        van, causes=(), next_check=None, separations=(), findings=(), ripple=None
    )
    bare = with_verdict(bare, reasons=(), advice=(), cautions=(), codes=(), would_change=())
    lines = shown(bare)
    titles = [line for line in lines if line and not line.startswith(" ")]
    assert "limits" in titles
    assert {"mind", "why", "likeliest causes", "next check", "what to do", "trouble codes",
            "what would change this"}.isdisjoint(titles)  # fmt: skip


def test_a_known_good_that_stands_out_is_named(shown, van):
    odd = dataclasses.replace(van.known_goods[0], name="odd.csv", set_aside=True)
    text = "\n".join(shown(dataclasses.replace(van, known_goods=(van.known_goods[0], odd))))
    assert "odd.csv" in text
    assert "left out" in text


def test_scatter_is_told_only_where_it_has_grown(shown, van):
    cams = tuple(dataclasses.replace(cam, scatter_ratio=1.2) for cam in van.cams)
    calm = dataclasses.replace(van, cams=cams, causes=())
    assert "scatters about" not in "\n".join(shown(calm))
    cams = (dataclasses.replace(van.cams[0], scatter_ratio=2.9), van.cams[1])
    text = "\n".join(shown(dataclasses.replace(van, cams=cams)))
    assert "scatters about 3 times as much" in text


def test_a_name_can_not_steer_the_terminal(shown, van):
    evil = "\x1b]0;owned\x07\x1b[2J[bold]x[/bold]"
    comparison = dataclasses.replace(
        with_verdict(van, summary=evil, reasons=(evil,), advice=(evil,)),
        subject=dataclasses.replace(van.subject, name=evil),
        cams=(dataclasses.replace(van.cams[0], words=evil),),
        causes=(dataclasses.replace(van.causes[0], name=evil, because=evil, size=evil),),
    )
    text = "\n".join(shown(comparison))
    assert "\x1b" not in text
    assert "[bold]x[/bold]" in text


def test_a_terminal_without_the_signs_gets_plain_ones():
    code = (
        "from crankwise import document; "
        "from crankwise.cli.show_comparison import show_comparison; "
        f"show_comparison(document.load_comparison({str(VAN)!r}), pitch_deg=6.0)"
    )
    env = os.environ | {"PYTHONIOENCODING": "ascii"}
    env.pop("PYTHONUTF8", None)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, env=env, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(b"<!> worn  ")
