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
from pathlib import Path
from typing import Any

from typer.testing import CliRunner

from crankwise import document, schemas
from crankwise.cli.app import app
from crankwise.picture import angle_view, comparison_view

ROOT = Path(__file__).resolve().parents[1]
INPUTS = ROOT / "tests/snapshots/inputs"
FROM_THE_DEMO = ("van.json", "van-compared.json", "healthy-compared.json")
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
    said = _demo()
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


def _demo() -> str:
    """Run the demo, keep its results as inputs of the tests, and return what it printed."""
    with tempfile.TemporaryDirectory() as folder:
        done = CliRunner().invoke(app, ["demo", "--into", folder], env={"COLUMNS": "80"})
        if done.exit_code != 0:
            raise SystemExit(done.output)
        for name in FROM_THE_DEMO:
            shutil.copy(Path(folder) / name, INPUTS / name)
            print(f"wrote {(INPUTS / name).relative_to(ROOT)}")
    return done.output


def _of_the_van(said: str, *, until: str) -> str:
    """Cut the verdict on the van out of what the demo printed, down to a line."""
    lines = [line.rstrip() for line in said.splitlines()]
    first = next(index for index, line in enumerate(lines) if " worn  " in line)
    last = next(index for index in range(first, len(lines)) if lines[index].startswith(until))
    return "\n".join(lines[first:last]).rstrip()


if __name__ == "__main__":
    main()
