"""Other systems: what a terminal can show, where output goes, whose home it is, what time it is.

Each case is a process of its own, as the surroundings count from its start.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from crankwise.store import open_store
from crankwise.testing.simulate import preset, simulate_to_file

PROGRAM = (sys.executable, "-c", "from crankwise.cli import main; main()")
POSIX = pytest.mark.skipif(os.name == "nt", reason="needs a POSIX shell")
ODD_LABEL = "Bus \N{MINIBUS} „ü“ 'x'"
WINDOWS_CONSOLE = {"PYTHONIOENCODING": "cp1252"}
OLD_UNIX = {
    "LC_ALL": "C",
    "PYTHONUTF8": "0",
    "PYTHONCOERCECLOCALE": "0",
    "PYTHONIOENCODING": "ascii",
}


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """A folder with blanks and letters beyond ASCII, with a van, a known-good and a store."""
    folder = tmp_path_factory.mktemp("Werkstatt für Wägen", numbered=False)
    for name, seed in (("t20-fresh-chain", 1), ("t20-worn-guide", 2)):
        spec = preset(name)
        scope = replace(spec.scope, duration_s=1.5, interval_s=5e-5)
        simulate_to_file(replace(spec, scope=scope), folder / f"{name}.csv", seed=seed)
    with open_store(folder / "Läden") as store:
        store.jobs.open(store.jobs.add_vehicle(ODD_LABEL).id)
    return folder


def crankwise(place, *arguments, line="", without=(), **more):
    """Run a command in the place; ``line`` is one of the shell in which ``"$@"`` stands for it."""
    surroundings = {k: v for k, v in (os.environ | more).items() if k not in without}
    command = ("sh", "-c", line, "sh", *PROGRAM, *arguments) if line else (*PROGRAM, *arguments)
    return subprocess.run(command, cwd=place, env=surroundings, capture_output=True, check=False)


def one_line(done) -> str:
    """What it said on stderr, which must be one line of ours."""
    said = done.stderr.decode("utf-8", "replace").strip()
    assert said.startswith("crankwise: "), said
    assert "\n" not in said
    assert "went wrong inside" not in said
    return said


@pytest.mark.parametrize("more", [WINDOWS_CONSOLE, OLD_UNIX], ids=["windows", "old-unix"])
@pytest.mark.parametrize(
    "command",
    [
        ("compare", "t20-worn-guide.csv", "--reference", "t20-fresh-chain.csv"),
        ("compare", "t20-worn-guide.csv", "--reference", "t20-fresh-chain.csv", "--lang", "de"),
        ("job", "list", "--store", "Läden"),
        ("compare", "--help"),
    ],
    ids=lambda words: words[-1],
)
def test_a_terminal_without_the_signs_shows_the_words(place, command, more):
    done = crankwise(place, *command, **more)
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout.isascii() or more is WINDOWS_CONSOLE


@pytest.mark.parametrize("more", [WINDOWS_CONSOLE, OLD_UNIX], ids=["windows", "old-unix"])
def test_json_is_utf_8_whatever_the_terminal(place, more):
    done = crankwise(place, "job", "list", "--json", "--store", "Läden", **more)
    assert json.loads(done.stdout)["jobs"][0]["vehicle"]["label"] == ODD_LABEL


def test_an_error_is_shown_where_the_terminal_lacks_its_letters(place):
    said = one_line(crankwise(place, "measure", "nüpe \N{MINIBUS}.csv", **OLD_UNIX))
    assert "no such file" in said


@POSIX
@pytest.mark.parametrize("command", [("measure", "t20-fresh-chain.csv"), ("--help",)])
def test_output_that_nobody_wants_is_no_error(place, command):
    closed = crankwise(place, *command, line='"$@" >&-')
    assert (closed.returncode, closed.stderr) == (0, b"")
    assert crankwise(place, *command, line='"$@" | head -c 5').stderr == b""


@POSIX
def test_an_error_without_a_place_to_say_it_keeps_its_exit_code(place):
    assert crankwise(place, "measure", "missing.csv", line='"$@" 2>&-').returncode == 3


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize(
    "command",
    [("measure", "t20-fresh-chain.csv"), ("measure", "t20-fresh-chain.csv", "--json"), ("--help",)],
)
def test_output_onto_a_full_disk_says_so(place, command):
    done = crankwise(place, *command, line='"$@" >/dev/full')
    assert done.returncode == 1
    assert "No space left on device" in one_line(done)


@POSIX
def test_a_folder_that_is_gone_is_told(place):
    gone = place / "gone"
    done = crankwise(
        place, "measure", str(place / "t20-fresh-chain.csv"), "-o", "x.json",
        line=f"mkdir '{gone}' && cd '{gone}' && rmdir '{gone}' && \"$@\"",
    )  # fmt: skip
    assert done.returncode == 2
    assert "folder you are in" in one_line(done)


@POSIX
@pytest.mark.parametrize("home", ["/dev/null/home", "/" + "x" * 300])
def test_a_home_that_can_not_be_used_is_told_only_where_it_is_needed(place, home):
    here = {"HOME": home, "without": ("XDG_DATA_HOME", "CRANKWISE_STORE")}
    assert crankwise(place, "measure", "t20-fresh-chain.csv", **here).returncode == 0
    done = crankwise(place, "job", "list", **here)
    assert done.returncode == 2
    assert home[:40] in one_line(done)  # very long words are shortened in the middle


@POSIX
@pytest.mark.parametrize(
    "command",
    [
        ("job", "list", "--store", "~no-such-user/shop"),
        ("job", "list", "--store", "sqlite:///~no-such-user/shop.sqlite"),
        ("batch", "~no-such-user/van.csv", "-o", "all.parquet"),
        ("watch", "~no-such-user/exports"),
    ],
    ids=lambda words: words[0],
)
def test_a_home_that_is_not_there_is_told(place, command):
    done = crankwise(place, *command)
    assert done.returncode == 2
    assert "~no-such-user" in one_line(done)


@pytest.mark.parametrize("more", [{"TERM": "dumb"}, {"NO_COLOR": "1"}, {"COLUMNS": "40"}])
def test_a_plain_or_narrow_terminal_gets_all_the_words_and_no_codes(place, more):
    command = ("compare", "t20-worn-guide.csv", "--reference", "t20-fresh-chain.csv")
    wide, plain = (
        crankwise(place, *command, **{"COLUMNS": "120", "FORCE_COLOR": force} | extra)
        for force, extra in (("", {}), ("1" if "TERM" in more else "", more))
    )
    assert b"\x1b" not in plain.stdout
    # Wrapped words and cells stand in another order.
    assert sorted(b"".join(wide.stdout.split())) == sorted(b"".join(plain.stdout.split()))


@pytest.mark.parametrize(
    "zone", ["Pacific/Kiritimati", "Pacific/Niue", "Europe/Berlin", "Australia/Lord_Howe"]
)
def test_a_visit_is_of_the_day_on_the_wall_and_kept_in_utc(place, zone, tmp_path):
    code = (
        "import sys, os; from crankwise.store import open_store; "
        "from crankwise.workshop.opening import today; print(today())\n"
        "with open_store(sys.argv[1]) as store:\n"
        "    job = store.jobs.open(store.jobs.add_vehicle('van').id)\n"
        "    print(job.opened_at.isoformat())"
    )
    before = datetime.now(tz=UTC)
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / zone)], env=os.environ | {"TZ": zone},
        capture_output=True, text=True, encoding="utf-8", check=True,
    )  # fmt: skip
    after = datetime.now(tz=UTC)
    day, opened = done.stdout.split()
    days = {time.astimezone(ZoneInfo(zone)).date().isoformat() for time in (before, after)}
    assert day in days
    told = datetime.fromisoformat(opened)
    assert told.utcoffset().total_seconds() == 0
    assert before <= told <= after


@pytest.mark.parametrize(
    ("packages", "command", "extra"),
    [
        (("babel", "jinja2", "typst"), ("report", "x.json", "-o", "x.pdf"), "crankwise[report]"),
        (
            ("babel", "jinja2", "typst"),
            ("shop", "set", "--number-format", "de"),
            "crankwise[report]",
        ),
        (("uvicorn", "fastapi"), ("serve", "--no-browser"), "crankwise[web]"),
        (("watchfiles",), ("watch", "."), "crankwise[watch]"),
    ],
    ids=lambda value: value[0] if isinstance(value, tuple) else value,
)
def test_without_its_packages_a_command_names_the_extra(place, packages, command, extra):
    code = (
        f"import sys; sys.modules |= dict.fromkeys({packages!r}); "
        "from crankwise.cli import main; main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *command, "--store", "Läden"], cwd=place, capture_output=True,
        check=False,
    )  # fmt: skip
    assert done.returncode == 3
    assert extra in one_line(done)
