"""Progress: on stderr of a terminal only, and only when it takes long."""

from __future__ import annotations

import io
import sys
import time

import pytest

from crankwise.cli.progress import Bar


class Terminal(io.StringIO):
    def isatty(self):
        return True


def watched(monkeypatch):
    """Put a terminal in place of stderr, here and not in a fixture: pytest swaps it in between."""
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys, "stderr", Terminal())
    return sys.stderr


def after(seconds, monkeypatch):
    """Let the clock be this much later from now on."""
    now = time.monotonic
    monkeypatch.setattr(time, "monotonic", lambda: now() + seconds)


def test_long_work_shows_its_step_on_stderr(monkeypatch, capsys):
    terminal = watched(monkeypatch)
    with Bar("Reading van.csv", shown=True) as bar:
        after(5.0, monkeypatch)
        bar(0.2)
        bar.step("naming teeth", 0.5)
    assert "Naming teeth" in terminal.getvalue()
    assert "50%" in terminal.getvalue()
    assert capsys.readouterr().out == ""


def test_short_work_shows_nothing(monkeypatch):
    terminal = watched(monkeypatch)
    with Bar("Reading", shown=True) as bar:
        bar(0.5)
    assert terminal.getvalue() == ""


def test_nothing_is_shown_when_not_asked_or_not_watched(monkeypatch):
    terminal = watched(monkeypatch)
    with Bar("Reading", shown=False) as bar:
        after(5.0, monkeypatch)
        bar(0.5)
    assert terminal.getvalue() == ""
    monkeypatch.setattr(Terminal, "isatty", lambda _: False)
    with Bar("Reading", shown=True) as bar:
        after(5.0, monkeypatch)
        bar(0.5)
    assert terminal.getvalue() == ""


def test_the_bar_goes_away_when_the_work_fails(monkeypatch):
    terminal = watched(monkeypatch)

    def fails():
        with Bar("Reading", shown=True) as bar:
            after(5.0, monkeypatch)
            bar(0.5)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fails()
    assert "\x1b[?25h" in terminal.getvalue()  # the cursor is back
