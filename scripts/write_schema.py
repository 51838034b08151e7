"""Write the published JSON Schemas from the dataclasses; run after changing the model."""  # noqa: INP001

from __future__ import annotations

import json
from pathlib import Path

from crankwise import schemas


def main() -> None:
    """Write every schema file of the package."""
    folder = Path(schemas.__file__).parent
    text = json.dumps(schemas.measurement_schema(), indent=2, ensure_ascii=False) + "\n"
    (folder / schemas.FILE_NAME).write_text(text, encoding="utf-8")
    print(f"wrote {schemas.FILE_NAME}")


if __name__ == "__main__":
    main()
