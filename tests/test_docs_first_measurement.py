"""docs/first-measurement.md, followed step by step in an empty folder."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs" / "first-measurement.md").read_text(encoding="utf-8")
TERMINAL = PAGE.split("\n## In the terminal\n")[1].split("\n## In the browser\n")[0]
BROWSER = PAGE.split("\n## In the browser\n")[1].split("\n## With your own recording\n")[0]
START = "from crankwise.cli import main; main()"


def steps(text):
    """Commands of the page in order, each with the output that the page shows below it."""
    blocks = re.findall(r"^```(sh|text)\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    found = []
    for language, inside in blocks:
        if language == "sh":
            found += [[line, ""] for line in inside.splitlines()]
        else:
            found[-1][1] = inside
    return [tuple(step) for step in found]


@pytest.fixture(scope="module")
def followed(tmp_path_factory):
    """What each command of the terminal's part said, by its line; and the folder."""
    folder = tmp_path_factory.mktemp("clone")
    said = {}
    for line, _ in steps(TERMINAL):
        program, *rest = shlex.split(line)
        if program == "mkdir":
            (folder / rest[0]).mkdir()
        elif program == "cd":
            folder /= rest[0]
        else:
            assert program == "crankwise"
            said[line] = crankwise(rest, folder)
    return said, folder


def crankwise(words, folder):
    done = subprocess.run(
        [sys.executable, "-c", START, *words], cwd=folder, capture_output=True, text=True,
        env={"COLUMNS": "80", "PYTHONPATH": str(ROOT / "src"), "PYTHONIOENCODING": "utf-8",
             "CRANKWISE_STORE": str(folder / "store"), "HOME": str(folder)},
        encoding="utf-8", check=False,
    )  # fmt: skip
    assert done.returncode == 0, f"{words}: {done.stderr}"
    return "\n".join(line.rstrip() for line in done.stdout.splitlines())


@pytest.mark.parametrize(("line", "shown"), [step for step in steps(TERMINAL) if step[1]])
def test_each_command_says_what_the_page_shows(followed, line, shown):
    said, _ = followed
    assert said[line].startswith(shown.rstrip("\n"))


def test_what_the_page_tells_of_the_result_is_so(followed):
    said, folder = followed
    compared = said[next(line for line in said if line.endswith("--picture van.svg"))]
    first_cause = compared.split("likeliest causes")[1].split("%")[1]
    assert "guide between the cams worn" in " ".join(first_cause.split())
    assert "<svg" in (folder / "van.svg").read_text(encoding="utf-8")
    measured = said[next(line for line in said if line.startswith("crankwise measure"))]
    row = r"rising +([\d.]+°) +([\d.]+°) +([\d.]+) after the gap"
    angle, uncertainty, teeth = re.search(row, measured.split("exhaust: ")[1]).groups()
    prose = " ".join(PAGE.split())
    assert f"the exhaust cam stands at {angle} ± {uncertainty} after" in prose
    assert f"counted at the engine, {teeth} teeth after the gap" in prose


def test_the_shelf_takes_the_known_good_for_the_browser(followed):
    _, folder = followed
    add, serve = [line for line, _ in steps(BROWSER)]
    assert "added: known-good" in crankwise(shlex.split(add)[1:], folder)
    assert serve == "crankwise serve"
    compared = crankwise(["compare", "van.csv", "--family", "Tarn T20"], folder)
    assert compared.startswith("◐ drifting")


def test_the_readme_installs_by_the_same_command():
    install = re.search(r"^```sh\n(.*?)\n", PAGE, re.MULTILINE)[1]
    assert install in (ROOT / "README.md").read_text(encoding="utf-8")
