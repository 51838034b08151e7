"""The page on formats says what the readers do."""

from __future__ import annotations

import ast
import re
from pathlib import Path

from crankwise.readers import available

ROOT = Path(__file__).resolve().parents[1]
PAGE = (ROOT / "docs" / "formats.md").read_text(encoding="utf-8")
SOURCES = sorted((ROOT / "src" / "crankwise" / "readers").rglob("*.py"))


def _findings() -> dict[str, set[str]]:
    """Codes of all findings the readers can make, with their levels."""
    found: dict[str, set[str]] = {}
    for path in SOURCES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding":
                code, level = (ast.literal_eval(argument) for argument in node.args[:2])
                found.setdefault(code, set()).add(level)
    return found


def test_every_finding_is_explained_and_no_other() -> None:
    rows = re.findall(r"^\| `([a-z-]+)` \| (note|caution|fault) \|", PAGE, flags=re.MULTILINE)
    assert sorted(code for code, _ in rows) == sorted(_findings())
    for code, level in rows:
        assert level in _findings()[code]


def test_every_format_is_listed() -> None:
    table = PAGE.partition("## ")[0]
    rows = re.findall(r"^\| ([^|]+) \|.*\|$", table, flags=re.MULTILINE)
    assert set(rows) == {"format", *available()}
