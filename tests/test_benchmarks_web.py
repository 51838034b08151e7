"""The benchmark of the screens at its smallest: the figures come out, and hold what they should."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from crankwise.store import open_store

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def web():
    # The benchmarks are no part of the installed package.
    sys.path.insert(0, str(ROOT))
    try:
        from benchmarks import web  # noqa: PLC0415

        yield web
    finally:
        sys.path.remove(str(ROOT))


def test_every_goal_has_a_row_and_nothing_fails(web, tmp_path):
    with open_store(tmp_path / "shop") as store:
        store.jobs.open(store.jobs.add_vehicle("van 1").id)
    size = web.Size(clients=2, seconds=0.5, upload_bytes=3_000_000)
    pages, errors, upload, weight = web.rows(tmp_path, tmp_path / "shop", size)
    assert pages[0].startswith("2 clients at once")
    assert pages[1] == "≤ 300 ms"
    assert errors[2:] == ("0", "pass")
    assert upload[0].startswith("upload of 3 MB")
    assert upload[3] == "pass"
    assert weight[3] == "pass"


def test_a_page_weighs_what_it_loads(web):
    links = '<a class="x" href="/visits/3#top">a</a> <a href="https://else.example/">b</a>'
    assert web._LINK.findall(links) == ["/visits/3", "https://else.example/"]
    parts = '<link rel="stylesheet" href="/a.css"><script type="module" src="/b.js"></script>'
    assert web._PART.findall(parts) == ["/a.css", "/b.js"]
    script = "import { a } from './c.js';\nimport \"../d.js\";\nconst e = await import('./e.js');"
    assert web._IMPORT.findall(script) == ["./c.js", "../d.js", "./e.js"]
