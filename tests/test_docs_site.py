"""The site is built by one command, and every link on it leads somewhere without internet."""

from __future__ import annotations

import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest

pytest.importorskip("sphinx", reason="for development only")

ROOT = Path(__file__).parents[1]
BUILD = ROOT / "scripts" / "build_site.py"
LOADS = {
    "audio": "src", "embed": "src", "iframe": "src", "image": "href", "img": "src", "link": "href",
    "object": "data", "script": "src", "source": "src", "use": "href", "video": "src",
}  # fmt: skip


class Page(HTMLParser):
    """What a page links to, what it loads, and the places in it."""

    def __init__(self, text):
        super().__init__()
        self.links, self.loads, self.places = [], [], set()
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.places |= {given[name] for name in ("id", "name") if given.get(name)}
        if tag == "a" and given.get("href"):
            self.links.append(given["href"])
        if given.get(LOADS.get(tag, "")):
            self.loads.append(given[LOADS[tag]])


def build(*arguments):
    return subprocess.run(
        [sys.executable, BUILD, *map(str, arguments)], capture_output=True, text=True, check=False
    )


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    folder = tmp_path_factory.mktemp("site")
    done = build(folder)
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture(scope="module")
def pages(site):
    return {path: Page(path.read_text(encoding="utf-8")) for path in site.rglob("*.html")}


def test_every_link_and_every_place_in_a_page_exists(pages):
    lost = []
    for path, page in pages.items():
        for link in (*page.links, *page.loads):
            parts = urlsplit(link)
            if parts.scheme or parts.netloc:
                continue
            there = (path.parent / unquote(parts.path)).resolve() if parts.path else path
            place = unquote(parts.fragment)
            if not there.is_file() or (place and place not in pages[there].places):
                lost.append(f"{path.name}: {link}")
    assert not lost


def test_nothing_is_loaded_from_elsewhere(site, pages):
    fetched = [load for page in pages.values() for load in page.loads if "//" in load]
    assert not [load for load in fetched if not load.startswith("data:")]
    for style in site.rglob("*.css"):
        text = style.read_text(encoding="utf-8")
        assert "@import" not in text, style
        assert "url(http" not in text.replace('"', "").replace("'", ""), style
        assert "url(//" not in text.replace('"', "").replace("'", ""), style


def test_every_page_stands_in_the_contents(site, pages):
    home = site / "docs" / "index.html"
    written = {f"{path.stem}.html" for path in (ROOT / "docs").glob("*.md")} - {"index.html"}
    assert written <= {link.partition("#")[0] for link in pages[home].links}
    assert "docs/index.html" in (site / "index.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("[there](nowhere.md)", "nowhere.md"),
        ("[there](method.md#no-such-heading)", "no-such-heading"),
        ("[there](../src/crankwise/nowhere.py)", "nowhere.py"),
        ("![picture](nowhere.svg)", "nowhere.svg"),
    ],
)
def test_what_leads_nowhere_ends_the_build(tmp_path, line, said):
    source = tmp_path / "source"
    (source / "docs" / "site").mkdir(parents=True)
    (source / "docs" / "conf.py").write_bytes((ROOT / "docs" / "conf.py").read_bytes())
    (source / "docs" / "site" / "site.css").touch()
    index = "# Index\n\n## Start\n\n| page | what |\n|---|---|\n"
    rows = "| [Why](why.md) | why |\n| [Method](method.md) | how |\n"
    (source / "docs" / "index.md").write_text(index + rows, encoding="utf-8")
    (source / "docs" / "method.md").write_text("# Method\n", encoding="utf-8")
    (source / "docs" / "why.md").write_text(f"# Why\n\n{line}\n", encoding="utf-8")
    scripts = source / "scripts"
    scripts.mkdir()
    (scripts / BUILD.name).write_bytes(BUILD.read_bytes())
    done = subprocess.run(
        [sys.executable, scripts / BUILD.name, tmp_path / "site"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode != 0
    assert said in done.stderr
