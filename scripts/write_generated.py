"""Write the files that are made from the code: the JSON Schema and the picture in the README.

Run it after changing the measurement model or the angle view.
"""  # noqa: INP001  a script, not a package

from __future__ import annotations

import json
from pathlib import Path

from crankwise import document, schemas
from crankwise.picture import angle_view

ROOT = Path(__file__).resolve().parents[1]


def main() -> None:
    """Write every generated file and say which."""
    schema = json.dumps(schemas.measurement_schema(), indent=2, ensure_ascii=False) + "\n"
    picture = angle_view(document.load(ROOT / "tests/snapshots/inputs/van.json"))
    for path, text in (
        (Path(schemas.__file__).parent / schemas.FILE_NAME, schema),
        (ROOT / "docs/angle-view.svg", picture),
    ):
        path.write_text(text, encoding="utf-8")
        print(f"wrote {path.relative_to(ROOT)}")


if __name__ == "__main__":
    main()
