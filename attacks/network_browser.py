"""Pages with hostile texts on them, in a real browser: nothing may run, load or turn up."""

from __future__ import annotations

import re
import shutil
from typing import TYPE_CHECKING, Final

from playwright.sync_api import sync_playwright

if TYPE_CHECKING:
    from collections.abc import Sequence

    from playwright.sync_api import ConsoleMessage, Dialog, Request

    from attacks.network_server import Served, Tally

MARK: Final = "zqx"
"""Every element, attribute or dialog that a payload would make bears it."""
_CHROMIUM: Final = ("chromium", "chromium-browser", "google-chrome")
_QUIET: Final = (
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync",
    "--disable-component-update", "--no-first-run", "--disable-quic",
)  # fmt: skip
_ELEMENTS: Final = f"""() => {{
  const all = [...document.querySelectorAll('*')];
  const bad = all.filter((e) => [...e.attributes].some((a) => a.name.startsWith('on'))
    || /\\b{MARK}\\b/.test(e.getAttribute('class') ?? '')
    || (e.getAttribute('href') ?? e.getAttribute('src') ?? '').trim().startsWith('javascript:'));
  return bad.map((e) => e.outerHTML.slice(0, 120)).concat(window.{MARK} ? ['ran'] : []);
}}"""


def browse(served: Served, addresses: Sequence[str], tally: Tally) -> bool:
    """Open every page and picture; returns whether there is a browser to do so."""
    path = next(filter(None, map(shutil.which, _CHROMIUM)), None)
    if path is None:
        return False
    seen: list[str] = []

    def dialog(shown: Dialog) -> None:
        seen.append(f"dialog {shown.message}")
        shown.dismiss()

    def said(message: ConsoleMessage) -> None:
        if "Content Security" in message.text or MARK in message.text:
            seen.append(message.text)

    def asked(request: Request) -> None:
        # A text may stand in an address of ours; what counts is whom is asked.
        if not request.url.startswith((f"{served.address}/", "data:", "blob:")):
            seen.append(request.url)

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=path, args=list(_QUIET))
        page = browser.new_context(base_url=served.address).new_page()
        page.on("dialog", dialog)
        page.on("console", said)
        page.on("request", asked)
        for address in addresses:
            if address.startswith("/api") or re.search(r"\.(?:pdf|csv|json|toml)", address):
                continue
            seen.clear()
            answer = page.goto(address, wait_until="load")
            made = page.evaluate(_ELEMENTS)
            is_there = answer is not None and answer.status < 500
            tally.note((address[:100], seen, made), held=is_there and not seen and not made)
        browser.close()
    return True
