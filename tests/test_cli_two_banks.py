"""A four-cam engine at a terminal, without any known-good: bank against bank, then its own."""

from __future__ import annotations

from dataclasses import replace

import pytest
from typer.testing import CliRunner

from crankwise.cli.app import app
from crankwise.testing.simulate import ScopeSpec, preset, simulate_to_file


@pytest.fixture
def typed(tmp_path, monkeypatch):
    monkeypatch.setenv("CRANKWISE_STORE", str(tmp_path / "store"))
    monkeypatch.setenv("COLUMNS", "200")

    def run(*words, code=0):
        result = CliRunner().invoke(app, list(map(str, words)))
        assert result.exit_code == code, f"{words}: {result.output}"
        return result.output

    return run


@pytest.fixture(scope="module")
def v6(tmp_path_factory):
    """A recording whose bank 2 is late as a whole, as an event list."""
    path = tmp_path_factory.mktemp("v6") / "v6.csv"
    scope = ScopeSpec(duration_s=2.0, kind="events", resolution_s=1e-6)
    simulate_to_file(replace(preset("fell-v6-bank-2-late"), scope=scope), path, seed=1)
    return path


def test_a_job_compares_bank_against_bank_for_want_of_a_known_good(typed, v6):
    typed("job", "new", "fell-1")
    typed("job", "visit", "add", "fell-1", "--mileage", "88000", "--unit", "km", "--no-complaint")
    typed("job", "record", "fell-1", v6)
    said = typed("job", "compare", "fell-1")
    assert "a bank that moved as a whole does not show" in said
    assert "compared with the other bank in the same recording" in said
    # No table of cams and no known-good is shown where there are none.
    assert "crank teeth" not in said
    assert "known-good  " not in said


def test_the_file_names_the_command_that_comes_next(typed):
    typed("job", "new", "fell 1")
    assert "crankwise job visit add 'fell 1' --mileage N --unit UNIT" in typed(
        "job", "show", "fell 1"
    )


def test_a_family_can_be_named_once(typed):
    typed("job", "new", "fell-1")
    typed("job", "family", "fell-1", "Fell V6")
    typed("job", "family", "fell-1", "fell v6")
    said = typed("job", "family", "fell-1", "Tarn T20", code=2)
    assert "fell-1 is a Fell V6, not a Tarn T20" in said


def test_a_recheck_is_told_with_its_unit(typed):
    typed("job", "new", "fell-1")
    typed("job", "visit", "add", "fell-1", "--mileage", "88000", "--unit", "km", "--no-complaint")
    typed("job", "offer", "fell-1", "watch", "measure again", "45", "GBP", "--recheck-at", "95000")
    assert "again at 95,000 km" in typed("job", "show", "fell-1")
