"""Tell what the project needs of others, under which licences, and what is known against it.

    python scripts/audit.py            print the table, ask for known weaknesses
    python scripts/audit.py --write    put both into docs/dependencies.md as well
    python scripts/audit.py --offline  ask nobody

Release dates come from the package index through uv, known weaknesses from its advisories through
pip-audit. Where neither answers, the output says that nobody was asked. Ends with 1 for a known
weakness or a licence that is not allowed.
"""  # noqa: INP001  a script, not a package

from __future__ import annotations

import argparse
import importlib.util
import json
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from needed import CORE, NOT_TOLD, Needed, needed, terms
from registry import pins, release_days, run_module

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from benchmarks.pages import table, write_between  # noqa: E402  the path comes first

PAGE = ROOT / "docs" / "dependencies.md"

FREE: Final = frozenset({
    "0BSD", "Apache-2.0", "BSD", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "ISC", "MIT", "MIT-0",
    "PSF-2.0", "Zlib",
})  # fmt: skip
"""Licences that ask for no more than their text and the names to be kept."""
WITH_DUTIES: Final = frozenset({"LGPL-3.0-only", "LGPL-3.0-or-later", "MPL-2.0"})
"""Licences whose own files must stay open and replaceable: for unmodified packages, by extras."""


def main(arguments: list[str] | None = None) -> int:
    """Print the table and what is known; 0 where nothing stands against it."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--write", action="store_true", help=f"into docs/{PAGE.name} as well")
    parser.add_argument("--offline", action="store_true", help="ask nobody")
    chosen = parser.parse_args(arguments)
    packages = needed()
    dates = {} if chosen.offline else release_days(packages)
    text = as_table(packages, dates)
    refused = [package for package in packages if not is_allowed(package)]
    words, is_clean = ("Known weaknesses: not asked.", True)
    if not chosen.offline:
        words, is_clean = weaknesses(packages)
    print(text, words, sep="\n\n")
    for package in refused:
        print(f"not allowed: {package.name} under {package.licence}", file=sys.stderr)
    if chosen.write:
        write_between(PAGE, "dependencies", text)
        print(f"written: docs/{PAGE.name}")
    return 0 if is_clean and not refused else 1


def as_table(packages: Sequence[Needed], dates: dict[str, str]) -> str:
    """All packages in Markdown; those that the project names itself say its least version."""
    return table(
        ("package", "at least", "looked at", "released", "licence", "brought by"),
        [
            (
                package.name,
                package.least.removeprefix(">="),
                package.version,
                dates.get(package.name, NOT_TOLD),
                package.licence,
                ", ".join(package.reasons),
            )
            for package in packages
        ],
    )


def is_allowed(package: Needed) -> bool:
    """Whether a licence is free, or has duties and comes with an extra only."""
    allowed = FREE if CORE in package.reasons else FREE | WITH_DUTIES
    return terms(package.licence) <= allowed


def weaknesses(packages: Sequence[Needed]) -> tuple[str, bool]:
    """Ask for known weaknesses: what came of it in words, and whether there is none."""
    if importlib.util.find_spec("pip_audit") is None:
        return "Known weaknesses: not asked, pip-audit is not installed.", True
    with tempfile.TemporaryDirectory() as folder:
        asked = Path(folder, "pins.txt")
        asked.write_text(pins(packages), encoding="utf-8")
        said = run_module(
            "pip_audit", "--requirement", str(asked), "--no-deps", "--disable-pip",
            "--progress-spinner", "off", "--format", "json",
        )  # fmt: skip
    if not said:
        return "Known weaknesses: not asked, the service can't be reached.", True
    answers = json.loads(said)["dependencies"]
    # pip-audit passes over what the service does not know, and calls the rest clean.
    known = [answer for answer in answers if "skip_reason" not in answer]
    if not known:
        return "Known weaknesses: not asked, the service knows none of these packages.", True
    found = [
        f"{one['name']} {one['version']}: {bad['id']}" for one in known for bad in one["vulns"]
    ]
    words = f"Known weaknesses: {len(found)} in {len(known)} of {len(packages)} packages asked for."
    return "\n".join([words, *found]), not found


if __name__ == "__main__":
    sys.exit(main())
