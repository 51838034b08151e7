"""The page of the watched folder shows what comes in by itself."""

from __future__ import annotations

import shutil


def test_results_appear_by_themselves_and_lead_on(new_page, serve, shop, tmp_path):
    shutil.copytree(shop.folder, tmp_path / "shop")
    exports = tmp_path / "exports"
    exports.mkdir()
    worn = next(shop.recordings.glob("van-5 121800 *.csv"))
    with serve(tmp_path / "shop", watch=str(exports)) as address:
        page = new_page(base_url=address)
        page.goto("/watching")
        assert "Nothing yet" in page.inner_text("main")
        shutil.copy(worn, exports / "CH001.csv")
        row = page.locator("tbody tr", has_text="CH001.csv")
        row.wait_for(timeout=20_000)
        assert not page.locator("[data-watching-nothing]").is_visible()
        # What the store knows of this recording by a visit says how it was measured.
        assert "against" in row.inner_text()
        (exports / "<b>notes.txt").write_text("call the owner\n")
        refused = page.locator("tbody tr", has_text="<b>notes.txt")
        refused.wait_for(timeout=20_000)
        assert page.locator("tbody tr").first.inner_text() == refused.inner_text()
        assert page.locator("tbody b").count() == 0
        page.reload()
        assert page.locator("tbody tr").count() == 2
        page.get_by_role("link", name="CH001.csv").click()
        page.wait_for_url("**/watching/*")
        assert page.locator("h1").inner_text() == "CH001.csv"
        shown = page.evaluate("document.querySelector('.picture img').naturalWidth")
        assert shown > 0
