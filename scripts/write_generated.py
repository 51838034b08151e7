"""Write the files that are made from the code.

These are the JSON Schemas, the demo's results among the inputs of the tests, the pictures in the
documentation, what a terminal shows of a comparison, and the quote in the README. Run it after
changing the models, the pictures or what the demo says, and look at what has changed.
"""  # noqa: INP001  a script, not a package

from __future__ import annotations

import json
import re
import shutil
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from typer.testing import CliRunner

from crankwise import document, schemas
from crankwise.cli.app import app
from crankwise.drive.engine_file import load_engine
from crankwise.model.measurement import Measurement
from crankwise.model.recording import FloatArray
from crankwise.model.shelf import FamilyStatistics
from crankwise.picture import angle_view, comparison_view
from crankwise.picture.engine_view import engine_view
from crankwise.picture.history_view import history_view
from crankwise.picture.population_view import population_view
from crankwise.store import codec, open_store
from crankwise.store.privacy import neutral
from crankwise.workshop.finding import find_job

ROOT = Path(__file__).resolve().parents[1]
INPUTS = ROOT / "tests/snapshots/inputs"
FROM_THE_DEMO = ("van.json", "van-compared.json", "healthy-compared.json")
VAN = "van-4"
KNOWN_GOODS = 14
ODD = 8  # the one of them that is no good
QUOTE = re.compile(r"(<!-- from the demo -->\n```text\n).*?(\n```\n)", re.DOTALL)


def main() -> None:
    """Write every generated file and say which."""
    written = {
        Path(schemas.__file__).parent / schemas.MEASUREMENT_FILE: _schema(
            schemas.measurement_schema()
        ),
        Path(schemas.__file__).parent / schemas.COMPARISON_FILE: _schema(
            schemas.comparison_schema()
        ),
        Path(schemas.__file__).parent / schemas.KNOWN_GOOD_FILE: _schema(
            schemas.known_good_schema()
        ),
    }
    readme = ROOT / "README.md"
    said, history = _demo()
    population = _population()
    written[ROOT / "docs/history-view.svg"] = history
    written[ROOT / "docs/population-view.svg"] = population_view(population)
    written[ROOT / "docs/engine-view.svg"] = engine_view(load_engine("tarn-t20"))
    written[INPUTS / "tarn-t20-population.json"] = codec.dump(population) + "\n"
    written[INPUTS.parent / "compare-van.txt"] = _of_the_van(said, until="saved: ") + "\n"
    written[readme] = QUOTE.sub(
        lambda found: found[1] + _of_the_van(said, until="why") + found[2],
        readme.read_text(encoding="utf-8"),
    )
    van = document.load(INPUTS / "van.json")
    compared = document.load_comparison(INPUTS / "van-compared.json")
    written[ROOT / "docs/angle-view.svg"] = angle_view(van)
    written[ROOT / "docs/comparison-view.svg"] = comparison_view(compared, crank=van.crank)
    for path, text in written.items():
        path.write_text(text, encoding="utf-8")
        print(f"wrote {path.relative_to(ROOT)}")


def _schema(schema: dict[str, Any]) -> str:
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def _demo() -> tuple[str, str]:
    """Run the demo, keep its results as inputs of the tests; return its words and one history."""
    with tempfile.TemporaryDirectory() as folder:
        said = _run("demo", "--into", folder)
        for name in FROM_THE_DEMO:
            shutil.copy(Path(folder) / name, INPUTS / name)
            print(f"wrote {(INPUTS / name).relative_to(ROOT)}")
        where = str(Path(folder) / "store")
        kept = INPUTS / f"{VAN}-history.json"
        kept.write_text(_run("job", "history", VAN, "--json", "--store", where), encoding="utf-8")
        print(f"wrote {kept.relative_to(ROOT)}")
        with open_store(where) as store:
            van = find_job(store, VAN).vehicle
            history = store.history(van.id, engine=store.shop.engine_of_family(van.family))
            return said, history_view(history, vehicle=VAN)


def _run(*command: str) -> str:
    done = CliRunner().invoke(app, command, env={"COLUMNS": "80"})
    if done.exit_code != 0:
        raise SystemExit(done.output)
    return done.output


def _population() -> FamilyStatistics:
    """Statistics of a shelf of engines made from one simulated measurement, one of them odd."""
    base = neutral(document.load(INPUTS / "t20.json"))
    random = np.random.default_rng(12)
    with tempfile.TemporaryDirectory() as folder, open_store(folder) as store:
        for number in range(KNOWN_GOODS):
            shifts = random.normal(0.0, 0.7, len(base.cams))
            shifts[0] += 7.0 * (number == ODD)
            store.shelf.add(_another(base, number, shifts, random), family="Tarn T20")
        [found] = store.shelf.statistics("Tarn T20")
    return found


def _another(
    base: Measurement, number: int, shifts: FloatArray, random: np.random.Generator
) -> Measurement:
    """Another engine of the family: each cam shifted, and each edge a little by itself."""
    cams = []
    for cam, shift in zip(base.cams, shifts, strict=True):
        moved = shift + random.normal(0.0, 0.15, len(cam.edges))
        edges = [
            replace(edge, angle_deg=float((edge.angle_deg + by) % 720.0))
            for edge, by in zip(cam.edges, moved, strict=True)
        ]
        cams.append(replace(cam, edges=tuple(sorted(edges, key=lambda edge: edge.angle_deg))))
    recording = replace(base.recording, sha256=f"{number:064x}")
    return replace(base, recording=recording, cams=tuple(cams))


def _of_the_van(said: str, *, until: str) -> str:
    """Cut the verdict on the van out of what the demo printed, down to a line."""
    lines = [line.rstrip() for line in said.splitlines()]
    first = next(index for index, line in enumerate(lines) if " worn  " in line)
    last = next(index for index in range(first, len(lines)) if lines[index].startswith(until))
    return "\n".join(lines[first:last]).rstrip()


if __name__ == "__main__":
    main()
