"""The accuracy benchmark at its smallest: the tables come out, and hold what they should."""

import re
import sys
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def accuracy():
    # The benchmarks are no part of the installed package.
    sys.path.insert(0, str(ROOT))
    try:
        from benchmarks import accuracy  # noqa: PLC0415

        yield accuracy
    finally:
        sys.path.remove(str(ROOT))


@pytest.fixture(scope="module")
def results(accuracy):
    return accuracy.run(accuracy.Size(recordings=2, draws=10, held_back=2, edges=200), workers=1)


def cells(text, first):
    """Cells of the one row of a table that begins with ``first``."""
    (row,) = re.findall(rf"^\| {re.escape(first)} +\|(.*)\|$", text, re.MULTILINE)
    return [cell.strip() for cell in row.split("|")]


def test_every_goal_is_printed_with_a_verdict_in_words(accuracy, results):
    goals = accuracy.judge(results)
    text = accuracy.report(results, goals)
    assert len({goal.what for goal in goals}) == len(goals) >= 9
    for goal in goals:
        limit, measured, long_run, verdict = cells(text, goal.what)
        assert limit == goal.limit
        assert measured or long_run
        assert verdict == ("pass" if goal.holds else "**miss**")


def test_every_condition_has_a_row_of_figures(accuracy, results):
    text = accuracy.report(results, accuracy.judge(results))
    for name, errors in results.by_condition.items():
        edges, *figures = cells(text, name)
        assert int(edges) == errors.edges == 2 * 8
        worst, rms, median_worst = map(float, figures[:3])
        assert 0.0 < rms <= median_worst <= worst < 0.5


def test_long_run_and_recorded_errors_differ_by_what_the_cycles_strayed(results):
    # 13 cycles of 0.1 degrees scatter: their mean strays by about 0.03 degrees.
    errors = results.by_condition["idle, 60-2, Hall, 100 kS/s, 2 s"]
    strayed = errors.long_run_deg - errors.recorded_deg
    assert 0.003 < np.sqrt(np.mean(strayed**2)) < 0.1


def test_a_wrong_wheel_is_counted_and_told(accuracy, results):
    from dataclasses import replace  # noqa: PLC0415

    spoiled = replace(results.draws[0], outcome="wrong", confidence=0.99, said="another wheel")
    draws = [spoiled, *results.draws[1:]]
    changed = replace(results, draws=draws)
    goals = {goal.what: goal for goal in accuracy.judge(changed)}
    assert not goals["wheel decode, 10 draws: wrong and confident"].holds
    assert not goals["wheel decode, 10 draws: right"].holds
    assert "another wheel" in accuracy.report(changed, list(goals.values()))


def test_edge_times_come_near_the_bound(results):
    # Below the bound no unbiased estimate can scatter; 200 edges know their scatter to 5 %.
    for row in results.timings:
        assert row.edges == 200
        assert 0.8 < row.ratio < 1.5, row.waveform


@pytest.mark.parametrize("name", ["accuracy", "performance"])
def test_the_page_holds_its_tables_between_the_markers(name):
    page = (ROOT / "docs" / f"{name}.md").read_text(encoding="utf-8")
    begin, end = f"<!-- {name}: begin -->", f"<!-- {name}: end -->"
    assert page.count(begin) == page.count(end) == 1
    tables = page[page.index(begin) : page.index(end)]
    assert "| goal" in tables
    assert "pass" in tables


def test_tables_replace_only_what_stands_between_the_markers(accuracy, tmp_path):
    page = tmp_path / "page.md"
    page.write_text("above\n<!-- x: begin -->\nold\n<!-- x: end -->\nbelow\n", encoding="utf-8")
    accuracy.write_between(page, "x", r"new \1")
    text = page.read_text(encoding="utf-8")
    assert text == "above\n<!-- x: begin -->\n\nnew \\1\n\n<!-- x: end -->\nbelow\n"


def test_quick_figures_are_not_written_into_the_page(accuracy, capsys):
    with pytest.raises(SystemExit) as leaving:
        accuracy.main(["--quick", "--write"])
    assert leaving.value.code == 2
    assert "--write needs the full run" in capsys.readouterr().err
