"""Figures, codes and keys on the pages on recording, policy and comparison are the code's."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from crankwise.angle.student import student_factor
from crankwise.check.signal_checks import sampled_too_slowly
from crankwise.comparison.tolerance import prediction_factor, two_sided_factor_formula
from crankwise.drive.geometry import crank_deg_from_mm, mm_from_crank_deg, one_tooth_deg
from crankwise.judge.policy import load_policy, parse_policy, shipped_entries
from crankwise.units import CYCLE_DEG, rpm_to_deg_per_s

ROOT = Path(__file__).parents[1]
SRC = ROOT / "src" / "crankwise"
RATES = {"k": 1e3, "M": 1e6}


def page(name):
    return (ROOT / "docs" / f"{name}.md").read_text(encoding="utf-8")


def cells(text):
    """Rows of the first table in a text, the line under the heading left out."""
    table = re.search(r"(?:^\|.*\n)+", text, re.MULTILINE)[0]
    rows = [line.strip("| ").split(" | ") for line in table.splitlines()]
    return [row for row in rows if not row[0].startswith("---")]


def marked(name, mark):
    """Rows of the table under a mark."""
    return cells(page(name).split(f"<!-- {mark} -->\n")[1])


def codes_in(text):
    return set(re.findall(r"`([a-z]+(?:-[a-z]+)+)`", text))


def found_codes():
    """Every code of a finding that the product can give."""
    found = set()
    for file in SRC.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding":
                first = node.args[0] if node.args else None
                if isinstance(first, ast.Constant):
                    found.add(first.value)
    return found | codes_in(page("formats").split("\n## Findings\n")[1].split("\n## ")[0])


def test_degrees_from_sample_to_sample():
    heading, *rows = marked("recording", "degrees a sample")
    rates = [float(number) * RATES[unit[0]] for number, unit in map(str.split, heading[1:])]
    for rpm, *degrees in rows:
        for rate, stated in zip(rates, degrees, strict=True):
            assert float(stated) == pytest.approx(rpm_to_deg_per_s(float(rpm)) / rate, rel=1e-9)


def test_cycles_and_what_is_left_of_the_scatter():
    heading, *rows = marked("recording", "cycles counted")
    scatters = [float(re.search(r"[\d.]+", cell)[0]) for cell in heading[2:]]
    rpm = float(re.search(r"(\d+) rpm", heading[0])[1])
    for duration, cycles, *left in rows:
        count = int(float(duration.removesuffix(" s")) * rpm_to_deg_per_s(rpm) / CYCLE_DEG)
        assert int(cycles) == count
        for scatter, stated in zip(scatters, left, strict=True):
            expanded = student_factor(count - 1.0, coverage=0.95) * scatter / count**0.5
            assert stated == f"± {expanded:.2f}°"


def test_the_rule_for_the_rate_is_that_of_the_check():
    # 60 samples a second for each rpm, a tenth of a degree: as the finding advises.
    rule = int(re.search(r"which is (\d+) samples a second for each rpm", page("recording"))[1])
    assert rpm_to_deg_per_s(1.0) / rule == pytest.approx(0.1)
    # "Above half a degree the result says so", and the finding asks for a tenth of one.
    limits = sampled_too_slowly.__globals__
    assert (limits["_COARSE_STEP_DEG"], limits["_GOOD_STEP_DEG"]) == (0.5, 0.1)


@pytest.mark.parametrize("name", ["recording", "first-measurement", "comparison"])
def test_every_code_that_a_page_names_is_given_by_the_product(name):
    named = codes_in(page(name)) - {"in-time", "out-of-time", "not-judged"}
    assert named
    assert named <= found_codes()


def test_the_page_on_the_policy_has_every_key_with_value_and_source():
    listed = {}
    for key, value, source in re.findall(
        r"^\| `([a-z_.-]+)` \| ([\d.]+) \| [^|]+ \| [^|]+ \| ([^|]+) \|$",
        page("policy-file"),
        re.MULTILINE,
    ):
        listed[key] = (float(value), source)
    shipped = shipped_entries()
    assert set(listed) == set(shipped)
    for key, (value, source) in shipped.items():
        assert listed[key][0] == pytest.approx(value, rel=2e-4), key
        assert listed[key][1] == source, key


def test_the_policy_shown_as_an_example_is_one():
    example = re.search(r"^```toml\n(.*?)^```", page("policy-file"), re.MULTILINE | re.DOTALL)[1]
    policy = parse_policy(example, where="the page")
    assert policy.limits.code_limit_deg == 10.0
    assert policy.spread.cam_deg == 0.9
    assert policy.spread.visit_deg == load_policy(None).spread.visit_deg


def test_prediction_factors():
    # Derived with the Student factors of NIST TN 1297, table B.1.
    (_, *counts), (_, *factors) = marked("comparison", "factors")
    for count, stated in zip(counts, factors, strict=True):
        assert stated == f"{prediction_factor(count=float(count), coverage=0.95):.4f}"


def test_the_tolerance_factor_of_the_handbook():
    # NIST/SEMATECH e-Handbook 7.2.6.3: n = 43, 90 %, 99 %, Howe's formula.
    factor = two_sided_factor_formula(count=43, coverage=0.90, confidence=0.99)
    assert f"{factor:.4f}" == "2.2173"
    assert "a factor of 2.2173" in page("comparison")


def test_degrees_and_millimetres_of_chain():
    _, *rows = marked("comparison", "chain")
    for sprocket, lag, growth, tooth in rows:
        pitch, teeth = re.fullmatch(r"([\d.]+) mm, (\d+)", sprocket).groups()
        geometry = {"pitch_mm": float(pitch), "teeth": int(teeth)}
        assert lag == f"{crank_deg_from_mm(elongation_mm=1.0, **geometry):.3f}°"
        assert growth == f"{mm_from_crank_deg(shift_deg=5.0, **geometry):.3f} mm"
        assert tooth == f"{one_tooth_deg(int(teeth)):.2f}°"


def test_the_findings_of_a_comparison_are_listed_with_their_levels():
    made = {}
    source = (SRC / "pipeline" / "comparing.py").read_text(encoding="utf-8")
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding":
            code, level = node.args[:2]
            if isinstance(code, ast.Constant):
                made[code.value] = level.value
    table = re.search(r"^\| finding \|.*\n(?:\|.*\n)+", page("comparison"), re.MULTILINE)[0]
    listed = {row[0].strip("`"): row[1] for row in cells(table)[1:]}
    assert made == listed
