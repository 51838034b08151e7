"""The commands: what goes to which stream, and which exit code ends what.

Measuring itself is replaced by a saved measurement here; the whole way is in test_cli_whole.py.
"""

from __future__ import annotations

import dataclasses
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

import crankwise
from crankwise import document
from crankwise.cli import measure as measure_command
from crankwise.cli.app import app
from crankwise.errors import MissingPackageError, NotMeasurableError, UnreadableError

SNAPSHOTS = Path(__file__).parent / "snapshots"
T20 = SNAPSHOTS / "inputs" / "t20.json"


@pytest.fixture
def run(monkeypatch, tmp_path):
    """Run a command with measuring replaced; ``outcome`` is a measurement or an error."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.delenv("CRANKWISE_DEBUG", raising=False)

    def run(*arguments, outcome=None):
        asked = {}

        def measure_file(recording, **options):
            asked.update(options, recording=recording)
            if isinstance(outcome, BaseException):
                raise outcome
            return outcome or document.load(T20)

        monkeypatch.setattr(measure_command, "measure_file", measure_file)
        result = CliRunner().invoke(app, list(arguments))
        result.asked = asked
        return result

    return run


def test_people_get_the_table_of_the_snapshot(run):
    result = run("measure", "van-3.csv")
    assert result.exit_code == 0
    assert result.stderr == ""
    lines = [line.rstrip() for line in result.stdout.splitlines()]
    assert lines == (SNAPSHOTS / "measure-t20.txt").read_text(encoding="utf-8").splitlines()
    assert max(map(len, lines)) <= 80


def test_json_is_one_document_and_nothing_else(run):
    result = run("measure", "van.csv", "--json")
    assert result.exit_code == 0
    assert result.stderr == ""
    assert json.loads(result.stdout) == json.loads(T20.read_text(encoding="utf-8"))


def test_json_is_utf_8_whatever_the_terminal(run):
    crank = dataclasses.replace(document.load(T20).crank, channel="Датчик µ")
    outcome = dataclasses.replace(document.load(T20), crank=crank)
    result = run("measure", "van.csv", "--json", outcome=outcome)
    assert "Датчик µ".encode() in result.stdout_bytes


def test_options_reach_the_measurement(run):
    result = run(
        "measure", "van.csv", "--crank", "A", "--cam", "intake=B", "--cam", "exhaust=C",
        "--interval", "10us",
    )  # fmt: skip
    assert result.asked["crank"] == "A"
    assert result.asked["cams"] == {"intake": "B", "exhaust": "C"}
    assert result.asked["interval_s"] == 1e-5
    assert result.asked["recording"] == Path("van.csv")


@pytest.mark.parametrize(
    "arguments", [("-q", "measure", "van.csv"), ("measure", "van.csv", "--quiet")]
)
def test_quiet_prints_nothing_wherever_it_stands(run, arguments):
    result = run(*arguments, "-o", "van.json")
    assert (result.exit_code, result.output) == (0, "")
    assert document.load("van.json") == document.load(T20)
    assert result.asked["progress"] is False


def test_files_are_written_and_named(run):
    result = run("measure", "van.csv", "-o", "van.json", "--picture", "van.svg")
    assert result.exit_code == 0
    assert "saved: van.json" in result.stdout
    assert "saved: van.svg" in result.stdout
    assert document.load("van.json") == document.load(T20)
    assert Path("van.svg").read_text(encoding="utf-8").startswith("<?xml")


@pytest.mark.parametrize(
    ("outcome", "code"),
    [
        (UnreadableError("van.csv, row 7: 'x' is no number; remove it"), 3),
        (MissingPackageError("van.mf4 needs asammdf: pip install 'crankwise[mdf]'"), 3),
        (NotMeasurableError("van.csv: no channel looks like a crank sensor"), 4),
        (KeyboardInterrupt(), 130),
        (BrokenPipeError(), 141),
        (MemoryError(), 1),
        (ZeroDivisionError("float division by zero"), 1),
    ],
)
@pytest.mark.parametrize("extra", [(), ("--json",), ("--quiet",)])
def test_every_failure_is_one_line_and_its_exit_code(run, outcome, code, extra):
    result = run("measure", "van.csv", *extra, outcome=outcome)
    assert result.exit_code == code
    assert result.stdout == ""
    silent = isinstance(outcome, KeyboardInterrupt | BrokenPipeError)
    assert result.stderr.count("\n") == (0 if silent else 1)
    assert "Traceback" not in result.stderr
    if not silent:
        assert result.stderr.startswith("crankwise: ")


def test_what_went_wrong_inside_says_how_to_report_it(run, monkeypatch):
    outcome = ZeroDivisionError("float division\nby zero")
    said = run("measure", "van.csv", outcome=outcome).stderr
    assert "ZeroDivisionError: float division by zero" in said
    assert "report" in said
    monkeypatch.setenv("CRANKWISE_DEBUG", "1")
    assert run("measure", "van.csv", outcome=outcome).exception is outcome


def test_a_name_can_not_steer_the_terminal(run):
    evil = "\x1b]0;owned\x07\x1b[2J[bold]x[/bold]"
    cam = dataclasses.replace(document.load(T20).cams[0], channel=evil)
    result = run("measure", "a", outcome=dataclasses.replace(document.load(T20), cams=(cam,)))
    assert "\x1b" not in result.output
    assert "[bold]x[/bold]" in result.output
    failed = run("measure", "a", outcome=UnreadableError(evil))
    assert "\x1b" not in failed.output


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("measure",), "Missing argument"),
        (("measure", "x", "--lang", "fr"), "give one of: en, de"),
        (("--lang", "fr", "measure", "x"), "give one of: en, de"),
        (("measure", "x", "--frank", "A"), "No such option"),
        (("measure", "x", "--cam", "CH1"), "is not ROLE=CHANNEL"),
        (("measure", "x", "--interval", "10"), "write the unit"),
        (("measure", "x", "--picture", "x.gif"), ".svg or .png"),
        (("frobnicate",), "No such command"),
    ],
)
def test_usage_errors_end_with_2(run, arguments, said):
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert said in result.stderr
    assert "Traceback" not in result.stderr


def test_findings_say_their_level_in_words_the_worst_first(run):
    text = run("measure", "x", outcome=document.load(SNAPSHOTS / "inputs" / "v6.json")).stdout
    assert "✖ fault" in text
    both = run("measure", "x").stdout
    assert both.index("▲ caution") < both.index("● note")


def test_a_measurement_without_edges_or_cams_is_shown(run):
    t20 = document.load(T20)
    cam = dataclasses.replace(t20.cams[0], edges=(), cycles=1)
    crank = dataclasses.replace(t20.crank, cycle_known=False, revolutions=1)
    outcome = dataclasses.replace(t20, cams=(cam,), crank=crank, findings=(), roles={})
    text = run("measure", "x", outcome=outcome).stdout
    assert "1 cycle\n" in text
    assert "1 revolution\n" in " ".join(line.rstrip() + "\n" for line in text.splitlines())
    assert "cycle        not known: " in text
    assert "no edge" in text
    assert "crank" in run("measure", "x", outcome=dataclasses.replace(t20, cams=())).stdout


def test_version_and_help():
    runner = CliRunner()
    assert runner.invoke(app, ["--version"]).stdout == f"crankwise {crankwise.__version__}\n"
    for arguments in (["--help"], ["measure", "-h"], ["simulate", "--help"], ["demo", "--help"]):
        assert runner.invoke(app, arguments).exit_code == 0


def started(code: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    env = {k: v for k, v in os.environ.items() if k != "PYTHONUTF8"} | environment
    return subprocess.run([sys.executable, "-c", code], capture_output=True, env=env, check=False)


def test_a_terminal_without_the_signs_gets_plain_ones():
    code = (
        "from crankwise import document; from crankwise.cli.show import show_measurement; "
        f"show_measurement(document.load({str(T20)!r}))"
    )
    done = started(code, PYTHONIOENCODING="ascii")
    assert done.returncode == 0, done.stderr
    assert b"! caution" in done.stdout
    assert b"rising" in done.stdout


@pytest.mark.parametrize("extra", [[], ["--json"], ["--help"]])
def test_a_closed_pipe_is_no_error(extra):
    # Measuring is replaced; the table, the document and the help meet a reader that has left.
    code = (
        "import sys; from crankwise import document; from crankwise.cli import main, measure; "
        f"measure.measure_file = lambda *_, **__: document.load({str(T20)!r}); "
        f"sys.argv = ['crankwise', 'measure', 'x', *{extra!r}]; main()"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    process.stdout.close()
    assert process.stderr.read() == b""
    process.stderr.close()
    assert process.wait() in (1, 141) if extra == ["--help"] else process.wait() == 141


def test_the_program_ends_with_the_code_of_the_error(tmp_path):
    code = (
        "import sys; "
        f"sys.argv=['crankwise', 'measure', {str(tmp_path / 'gone.csv')!r}, '--cam', 'x']; "
        "from crankwise.cli import main; main()"
    )
    done = started(code)
    assert done.returncode == 2
    assert done.stdout == b""


def test_completion_lists_the_commands():
    done = started(
        "import sys; sys.argv=['crankwise']; from crankwise.cli import main; main()",
        _CRANKWISE_COMPLETE="complete_bash", COMP_WORDS="crankwise me", COMP_CWORD="1",
    )  # fmt: skip
    assert done.stdout.split() == [b"measure"]
