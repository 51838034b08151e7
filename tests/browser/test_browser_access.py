"""Every page for everybody: axe-core finds nothing serious, light or dark, wide or narrow.

Rules and their ranks are those of axe-core (Deque Systems), which tests against WCAG 2.2.
"""

from __future__ import annotations

import pytest

from crankwise.store import open_store

PAGES = (
    "/", "/?search=nothing-like-it", "/visits/new", "/visits/{late}", "/visits/{repaired}",
    "/visits/{banks}", "/visits/{late}/hook-up-sheet", "/vehicles/2", "/known-goods",
    "/known-goods/family?name=Tarn%20T20", "/known-goods/{known_good_id}", "/engines",
    "/engines/tarn-t20", "/engines/fell-v6/edit", "/engines/new", "/workshop", "/no-such-page",
    "/visits/{late}/angle-view",
)  # fmt: skip
TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")
SERIOUS = {"serious", "critical"}


@pytest.fixture(scope="session")
def known_good_id(shop):
    with open_store(shop.folder) as store:
        return store.shelf.list()[0].id


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("address", PAGES)
def test_a_page_has_no_serious_violation(new_page, shop, known_good_id, address, scheme):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = new_page(color_scheme=scheme, expects_failures="no-such" in address)
    page.goto(
        address.format(
            late=shop.late, repaired=shop.repaired, banks=shop.banks, known_good_id=known_good_id
        )
    )
    # What is folded away is read as well.
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    found = axe.run(page, options={"runOnly": {"type": "tag", "values": list(TAGS)}})
    serious = [
        f"{item['id']}: {item['help']}: {item['nodes'][0]['html'][:160]}"
        for item in found.response["violations"]
        if item["impact"] in SERIOUS
    ]
    assert not serious, "\n".join(serious)


def test_the_check_itself_finds_what_is_wrong(new_page):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = new_page()
    page.set_content("<html><body><img src='data:,'><button></button></body></html>")
    found = axe.run(page, options={"runOnly": {"type": "tag", "values": list(TAGS)}})
    assert {"image-alt", "button-name"} <= {item["id"] for item in found.response["violations"]}
