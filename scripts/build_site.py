"""Build the documentation as a site, for reading without internet.

    .venv/bin/python scripts/build_site.py          into the folder site
    .venv/bin/python scripts/build_site.py FOLDER   into another one

A link that leads nowhere, a heading that a link misses and a page in no group of ``docs/index.md``
end it with an error. Nothing on the site is loaded from elsewhere.
"""  # noqa: INP001  a script, not a package

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from sphinx.cmd.build import main as sphinx

ROOT = Path(__file__).resolve().parents[1]
HOME = "docs/index.html"
DOOR = f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Crankwise</title>
<meta http-equiv="refresh" content="0; url={HOME}"></head>
<body><a href="{HOME}">Crankwise</a></body></html>
"""


def main(arguments: list[str]) -> int:
    """Build the site and return the exit code: 0 if every link leads somewhere."""
    folder = Path(arguments[0]) if arguments else ROOT / "site"
    with tempfile.TemporaryDirectory() as kept:
        code = sphinx(
            ["-q", "-E", "-W", "--keep-going", "-d", kept, "-c", str(ROOT / "docs"),
             str(ROOT), str(folder)]
        )  # fmt: skip
    if code == 0:
        (folder / "index.html").write_text(DOOR, encoding="utf-8")
        print(f"open {folder / 'index.html'}")
    return code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
