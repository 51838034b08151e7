"""Files made wrong end in a plain line: some mutations, all that once got through, hostile ones."""

from __future__ import annotations

import json
import random
import subprocess
import sys
import warnings
from pathlib import Path

import pytest
from attacks.readers_hostile_files import CASES
from attacks.readers_mutate import mutated
from attacks.readers_try import KINDS, outcome

from crankwise.readers import partwise
from crankwise.readers.delimited import parse

ROOT = Path(__file__).parents[1]
FUZZED = Path(__file__).parent / "fuzzed"
FOLDERS = {kind.lower().replace(" ", "-"): kind for kind in KINDS} | {"arrow": "Parquet and Arrow"}
MUTATIONS, FEW = 200, 30
"""Few of HDF5, for each of which a process is started."""
REFUSED_OR_NOT = {"read", "measured", "compared", "parts refused", "exit 3", "exit 4"}
ROUTES = (0, 1, 2, 3, 7, 8, 13, 14, 16)
"""Numbers that lead a file along every way there is."""


@pytest.fixture(autouse=True)
def _put_back(monkeypatch: pytest.MonkeyPatch) -> None:
    # The attack makes both small, so that short files are read part by part.
    monkeypatch.setattr(partwise, "HEAD_ROWS", partwise.HEAD_ROWS)
    monkeypatch.setattr(parse, "SHORT_BYTES", parse.SHORT_BYTES)


@pytest.mark.parametrize("kind", KINDS)
def test_wrong_files_are_read_or_refused_in_a_line(kind: str, tmp_path: Path) -> None:
    make, route = KINDS[kind]
    seeds, came = make(), set()
    for number in range(FEW if kind == "HDF5" else MUTATIONS):
        rng = random.Random(f"{kind} 5 {number}")
        name, content = mutated(kind, seeds, rng)
        path = tmp_path / name
        path.write_bytes(content)
        came.add(outcome(route, path, number))
    assert came <= REFUSED_OR_NOT
    assert "exit 3" in came
    assert came & {"read", "measured", "compared"}, "all were refused: the seeds are no good"


@pytest.mark.parametrize(
    "path", sorted(FUZZED.rglob("*.*")), ids=lambda path: str(path.relative_to(FUZZED))
)
def test_what_got_through_once_does_so_no_more(
    path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    _, route = KINDS[FOLDERS[path.parent.name]]
    for number in ROUTES:
        assert outcome(route, path, number) in REFUSED_OR_NOT
    assert capfd.readouterr() == ("", "")


def test_every_folder_of_such_files_is_of_a_kind() -> None:
    assert {folder.name for folder in FUZZED.iterdir()} <= set(FOLDERS)


def test_hostile_files_are_refused_within_limits() -> None:
    names = [case.name for case in CASES[::3]]
    done = subprocess.run(
        [sys.executable, "-m", "attacks.readers_hostile", *names],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    results = [json.loads(line) for line in done.stdout.splitlines()]
    assert [result["name"] for result in results] == names, done.stderr
    assert {result["name"]: result["complaint"] for result in results if result["complaint"]} == {}


def test_seeds_are_sound(tmp_path: Path) -> None:
    for kind, (make, route) in KINDS.items():
        came = set()
        for name, content in make().items():
            (tmp_path / name).write_bytes(content)
            with warnings.catch_warnings():
                came.add(outcome(route, tmp_path / name, 1))
        assert "read" in came, kind
