"""The page on the method says what the code does: its findings, its budget, its worked figures."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import numpy as np
import pytest

from crankwise.angle.fit import CUTOFF_ORDER, cutoff_order
from crankwise.angle.spline import fit, knot_step_deg
from crankwise.angle.unseen import unseen_ripple
from crankwise.wheel import catalogue

ROOT = Path(__file__).parents[1]
SRC = ROOT / "src" / "crankwise"
PAGE = (ROOT / "docs" / "method.md").read_text(encoding="utf-8")


def rows(number):
    """Cells of the table rows in one section of the page."""
    section = PAGE.split(f"\n## {number} ")[1].split("\n## ")[0]
    lines = re.findall(r"^ *\| (.*) \|$", section, re.MULTILINE)
    return [re.split(r" (?<!\\)\| ", line) for line in lines if not line.startswith("--")]


def calls(name, *files):
    for file in files:
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == name:
                yield node


def words(node):
    return {item.value for item in ast.walk(node) if isinstance(item, ast.Constant)}


def test_every_finding_is_listed_with_its_levels():
    files = [*(SRC / "check").glob("*.py"), *(SRC / "roles").glob("*.py")]
    made = {}
    for call in calls("Finding", *files):
        levels = words(call.args[1]) & {"note", "caution", "fault"}
        made.setdefault(call.args[0].value, set()).update(levels)
    listed = {row[0].strip("`"): set(row[1].split(", ")) for row in rows(9)[1:]}
    assert made == listed


def test_every_line_of_the_budget_is_listed_with_its_type():
    made = {c.args[0].value: c.args[2].value for c in calls("Contribution", SRC / "angle/cams.py")}
    listed = {row[0]: row[1] for row in rows(6) if len(row) == 4 and row[1] in {"A", "B"}}
    assert made == listed


def test_unseen_ripple_is_what_the_table_says():
    wheels = catalogue.load()
    listed = [row for row in rows(6) if row[0] in wheels]
    assert len(listed) == 5
    for name, greatest, median in listed:
        cutoff = cutoff_order(wheels[name].teeth_per_rev)
        found = unseen_ripple(wheels[name], cutoff_order=cutoff, second_order_share=0.094)
        for stated, value in (
            (greatest, found.standard_deg.max()),
            (median, np.median(found.standard_deg)),
        ):
            text = stated.split("°")[0]
            assert f"{value:.{len(text.split('.')[1])}f}" == text


@pytest.mark.parametrize(("gain", "order"), re.findall(r"(\d\.\d\d) at (?:order )?(\d+)", PAGE))
def test_the_gain_of_the_curve_is_what_the_page_says(gain, order):
    order = int(order)
    number = np.arange(58 * 12)
    angle = 360.0 * (number // 58) + 6.0 * (number % 58)
    curve = fit(
        angle,
        angle + np.cos(np.deg2rad(order * angle)),
        np.ones(len(angle)),
        step_deg=knot_step_deg(58),
        cutoff_order=CUTOFF_ORDER,
        teeth_per_rev=58,
    )
    inner = np.arange(4 * 360.0, 8 * 360.0, 0.5)
    passed = 2 * np.mean((curve.time_at(inner) - inner) * np.cos(np.deg2rad(order * inner)))
    assert f"{passed:.2f}" == gain


def test_the_window_of_a_half_wave_costs_what_the_page_says():
    # Derived on the page; the least value of pi x / (4 sin^2 x) lies where tan x = 2 x.
    x = np.linspace(0.5, 1.5, 100_001)
    cost = np.pi * x / (4 * np.sin(x) ** 2)
    best = x[np.argmin(cost)]
    assert np.tan(best) == pytest.approx(2 * best, abs=1e-3)
    assert f"{cost.min():.2f} at h = {best / (2 * np.pi):.3f} T" in PAGE
    sixth = float(np.interp(np.pi / 3, x, cost))
    assert f"The code takes h = T/6: {sixth:.2f}." in PAGE


def test_links_lead_somewhere():
    for target in re.findall(r"\]\(([^)#:]+)\)", PAGE):
        assert (ROOT / "docs" / target).exists(), target
