"""Every command line on a page, in the README or in a help text could be typed as it stands."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
import typer

from crankwise.cli.app import app

ROOT = Path(__file__).parents[1]
PAGES = {
    path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8")
    for path in sorted([*ROOT.glob("*.md"), *ROOT.glob("docs/*.md")])
    if path.name != "CHANGELOG.md"  # tells of older versions too
}
COMMAND = typer.main.get_command(app)
BLOCK = re.compile(r"^ *```(\w*)\n(.*?)^ *```", re.MULTILINE | re.DOTALL)
BESIDE = {"--quick", "--write", "--help"}
"""Options of the benchmarks that pages name in a sentence, and the one of all commands."""


def whole_lines(text):
    """Command lines in the blocks of a page, continued ones joined."""
    for language, inside in BLOCK.findall(text):
        if language in {"sh", "text", "yaml"}:
            for line in inside.replace("\\\n", " ").splitlines():
                found = re.search(r"(?:^|command: )\s*(crankwise .*)", line)
                if found and language != "text":
                    yield found[1]


def inline_lines(text):
    """Command lines inside sentences and tables, which may leave out what goes without saying."""
    for line in re.findall(r"`(crankwise [^`]+)`", BLOCK.sub("", text)):
        if not re.match(r"crankwise(\.| COMMAND|\[)", line):
            yield line


def problem(line, *, whole):
    """What is wrong with a command line, or nothing."""
    words = shlex.split(re.sub(r"[\[\]]|\.\.\.", " ", line), comments=True)[1:]
    command = COMMAND
    while words and hasattr(command, "commands"):
        name = words.pop(0)
        if name.startswith("-"):
            return before_the_command(name)
        if name not in command.commands:
            return f"no command {name}"
        command = command.commands[name]
    return None if hasattr(command, "commands") else wrong_words(command, words, whole=whole)


def wrong_words(command, words, *, whole):
    """What is wrong with what stands after a command, told by its own parser."""
    context = command.context_class(command)
    try:
        given, extra, _ = command.make_parser(context).parse_args(words)
        for param in command.params:
            value, _ = param.consume_value(context, given)
            if whole and param.required and param.value_is_missing(value):
                return f"{param.name} is missing"
    except Exception as error:
        if not hasattr(error, "format_message"):  # no word about what was typed
            raise
        return error.format_message()
    return f"too many words: {extra}" if extra else None


def before_the_command(option):
    known = {opt for param in COMMAND.params for opt in param.opts}
    return None if option in known | BESIDE else f"no option {option}"


LINES = [
    (page, line, whole)
    for page, text in PAGES.items()
    for finder, whole in ((whole_lines, True), (inline_lines, False))
    for line in finder(text)
]


@pytest.mark.parametrize(("page", "line", "whole"), LINES)
def test_the_command_line_can_be_typed(page, line, whole):
    assert problem(line, whole=whole) is None


def test_there_are_command_lines_on_the_pages_that_have_them():
    pages = {page for page, _, _ in LINES}
    assert {"README.md", "docs/cli.md", "docs/jobs.md", "docs/first-measurement.md"} <= pages
    assert len(LINES) > 100


@pytest.mark.parametrize(
    "line",
    [
        "crankwise mesure van.csv",
        "crankwise measure",
        "crankwise measure van.csv --roles x",
        "crankwise compare van.csv --reference",
        "crankwise measure van.csv other.csv",
        "crankwise --colour measure van.csv",
        "crankwise job visit ad van-3",
    ],
)
def test_a_line_that_can_not_be_typed_is_found(line):
    assert problem(line, whole=True)


def every_option(command):
    found = {opt for p in command.params for opt in (*p.opts, *p.secondary_opts)}
    for inner in getattr(command, "commands", {}).values():
        found |= every_option(inner)
    return found


@pytest.mark.parametrize("page", PAGES)
def test_every_option_named_in_a_sentence_exists(page):
    prose = BLOCK.sub("", PAGES[page])
    named = {
        option
        for code in re.findall(r"`(--[^`]+)`", prose)
        for option in re.findall(r"(?<![\w-])--[a-z][a-z-]*", code)
    }
    assert named <= every_option(COMMAND) | BESIDE
