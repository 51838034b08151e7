"""House rules about what people read before the code: README, changelog, command reference."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
import typer

import crankwise
from crankwise import errors
from crankwise.cli import guard
from crankwise.cli.app import app

ROOT = Path(__file__).parents[2]
COMMAND = typer.main.get_command(app)
ALIKE = {"--store", "--quiet", "-q", "--lang"}  # told once, with the group


def commands_of(command, before="") -> dict:
    """Every command by its full name, groups and what is in them."""
    found = {}
    for name, inner in command.commands.items():
        found[before + name] = inner
        if hasattr(inner, "commands"):
            found |= commands_of(inner, f"{before}{name} ")
    return found


COMMANDS = commands_of(COMMAND)


def read(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def section(name: str) -> str:
    """Return the part of the command reference under the heading of one command."""
    match = re.search(
        rf"^## crankwise {name}\n(.*?)(?=^## |\Z)", read("docs/cli.md"), re.MULTILINE | re.DOTALL
    )
    assert match, f"docs/cli.md has no section on {name}"
    return match[1]


def options_of(command) -> set[str]:
    return {opt for p in command.params for opt in (*p.opts, *p.secondary_opts) if opt[0] == "-"}


def documented_options(text: str) -> set[str]:
    """Options in the first column of the section's table."""
    cells = re.findall(r"^\| (.*?) \|", text, re.MULTILINE)
    return {opt for cell in cells for opt in re.findall(r"`(--?[a-z-]+)", cell)}


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_the_command_reference_has_each_option_and_no_other(name):
    command = COMMANDS[name]
    real = options_of(command) - {"--help", "-h"}
    if hasattr(command, "commands"):
        assert documented_options(section(name)) in (real, ALIKE)
    elif " " in name:
        assert real & ALIKE == ALIKE
        assert documented_options(section(name)) == real - ALIKE
    else:
        assert documented_options(section(name)) == real


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_the_command_reference_says_what_help_says(name):
    first = " ".join(COMMANDS[name].help.split("\n\n")[0].split())
    assert first in " ".join(section(name).split())


def plain(text: str) -> str:
    """Words without marks, so that a help text and a cell of a table can be held together."""
    text = re.sub(r"\]\([^)]*\)", "", text)
    return " ".join(re.sub(r"[`\[\]]", "", text).split()).rstrip(".").lower()


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_the_command_reference_says_of_each_option_what_help_says(name):
    rows = re.findall(r"^\| (`-.*?) \| (.*) \|$", section(name), re.MULTILINE)
    assert rows or not options_of(COMMANDS[name]) - ALIKE - {"--help", "-h"}
    for shown, told in rows:
        options = set(re.findall(r"`(--?[a-z-]+)", shown))
        for param in COMMANDS[name].params:
            if options & {*param.opts, *param.secondary_opts}:
                assert plain(param.help) in plain(told), f"{name} {shown}"


def test_exit_codes_are_those_of_the_errors():
    known = re.findall(r"^\| (\d+) \| (.*) \|$", read("docs/cli.md"), re.MULTILINE)
    codes = {0, guard.INTERRUPTED, guard.BROKEN_PIPE, errors.CrankwiseError.exit_code}
    codes |= {kind.exit_code for kind in errors.CrankwiseError.__subclasses__()}
    assert {int(code) for code, _ in known} == codes


def test_options_before_the_command_are_documented():
    text = read("docs/cli.md").split("\n## crankwise ")[0]
    assert documented_options(text) == options_of(COMMAND) - {"--help", "-h"}


def test_no_command_is_documented_that_does_not_exist():
    documented = re.findall(r"^## crankwise (.+)$", read("docs/cli.md"), re.MULTILINE)
    assert sorted(documented) == sorted(COMMANDS)


def test_every_option_has_help():
    for name, command in COMMANDS.items():
        for param in command.params:
            assert getattr(param, "help", None) or name == "help", f"{name} {param.name}"


def test_the_version_stands_in_one_place_and_in_the_changelog():
    project = tomllib.loads(read("pyproject.toml"))
    assert "version" not in project["project"]
    assert project["tool"]["hatch"]["version"]["path"] == "src/crankwise/__init__.py"
    assert f"## [{crankwise.__version__}]" in read("CHANGELOG.md")
    others = [
        path
        for path in (ROOT / "src").rglob("*.py")
        if f'"{crankwise.__version__}"' in path.read_text(encoding="utf-8")
    ]
    assert [path.name for path in others] == ["__init__.py"]


def test_ci_runs_the_command_the_readme_gives():
    command = "python3 scripts/check.py"
    assert f"\n{command}\n" in read("README.md")
    assert read(".ci/run").rstrip().endswith(command)


@pytest.mark.parametrize("page", ["README.md", "CONTRIBUTING.md", "CHANGELOG.md", "docs/index.md"])
def test_links_between_pages_lead_somewhere(page):
    folder = (ROOT / page).parent
    for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", read(page)):
        assert (folder / target).exists(), f"{page} links to {target}"


def test_the_index_lists_every_page():
    pages = {path.name for path in (ROOT / "docs").glob("*.md")} - {"index.md"}
    listed = set(re.findall(r"\]\(([^)#:/]+\.md)\)", read("docs/index.md")))
    assert pages <= listed


@pytest.mark.parametrize(
    "page",
    sorted(
        path.relative_to(ROOT).as_posix() for path in (*ROOT.glob("*.md"), *ROOT.glob("docs/*.md"))
    ),
)
def test_every_code_block_is_closed(page):
    is_open = False
    for line in (ROOT / page).read_text(encoding="utf-8").splitlines():
        if line.startswith("```"):
            # A block that was never closed swallows what comes after it up to the next fence.
            assert not (is_open and line != "```"), f"{page}: {line} inside a block"
            is_open = not is_open
    assert not is_open
