"""Every example in Python on a page and in the README runs as it stands."""

from __future__ import annotations

import re
import runpy
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest
from typer.testing import CliRunner

from crankwise.cli.app import app
from crankwise.testing.simulate import ScopeSpec, preset, simulate_to_file

ROOT = Path(__file__).parents[1]
EXAMPLES = [
    pytest.param(example, id=path.name)
    for path in sorted([ROOT / "README.md", ROOT / "CONTRIBUTING.md", *ROOT.glob("docs/*.md")])
    for example in re.findall(
        r"^```python\n(.*?)^```", path.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL
    )
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """What the examples take for granted: recordings, a known-good, a table, a visit."""
    folder = tmp_path_factory.mktemp("examples")
    scope = ScopeSpec(duration_s=2.0, kind="events", resolution_s=1e-6)
    for name, engine in (("van.csv", "t20-worn-guide"), ("healthy.csv", "t20-fresh-chain")):
        simulate_to_file(replace(preset(engine), scope=scope), folder / name, seed=3)
    table = {"role": ["intake", "intake"], "edge": ["rising"] * 2, "angle_deg": [1.0, 2.0]}
    pl.DataFrame(table).write_parquet(folder / "all.parquet")
    known_good = str(folder / "known-good.json")
    for words in (
        ["measure", str(folder / "healthy.csv"), "-o", known_good],
        ["reference", "add", known_good, "--family", "Tarn T20"],
        ["job", "new", "van-6", "--family", "Tarn T20"],
        ["job", "visit", "add", "van-6", "--mileage", "98400", "--unit", "miles"],
        ["job", "record", "van-6", str(folder / "van.csv")],
        ["job", "compare", "van-6"],
    ):
        done = CliRunner().invoke(app, words, env={"CRANKWISE_STORE": str(folder / "store")})
        assert done.exit_code == 0, done.output
    return folder


@pytest.mark.parametrize("example", EXAMPLES)
def test_the_example_runs(folder, example, monkeypatch):
    monkeypatch.chdir(folder)
    monkeypatch.setenv("CRANKWISE_STORE", str(folder / "store"))
    program = folder / "example.py"
    program.write_text(example, encoding="utf-8")
    runpy.run_path(str(program))


def test_there_are_examples():
    assert len(EXAMPLES) >= 5
