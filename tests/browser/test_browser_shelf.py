"""Known-goods shared between workshops in a browser: taken as a file here, dropped there."""

from __future__ import annotations

import json
import zipfile


def test_a_family_leaves_one_workshop_and_comes_into_another(
    new_page, server, empty_server, tmp_path
):
    giving, taking = new_page(base_url=server), new_page(base_url=empty_server)
    giving.goto("/known-goods")
    with giving.expect_download() as found:
        giving.get_by_role("link", name="as a file").first.click()
    bundle = tmp_path / found.value.suggested_filename
    found.value.save_as(bundle)
    count = len(zipfile.ZipFile(bundle).namelist())
    assert (bundle.suffix, count) == (".zip", 2)

    taking.goto("/known-goods")
    taking.locator("[data-drop] input[type=file]").set_input_files(bundle)
    taking.get_by_text(f"{count} added, 0 were here already, 0 left out.").wait_for()
    assert taking.get_by_role("link", name="Tarn T20").count() == 1

    taking.goto("/known-goods")
    taking.locator("[data-drop] input[type=file]").set_input_files(bundle)
    taking.get_by_text(f"0 added, {count} were here already, 0 left out.").wait_for()


def test_one_known_good_leaves_as_a_file_of_its_own(new_page, server, tmp_path):
    page = new_page(base_url=server)
    page.goto("/known-goods")
    page.locator("tbody th a[href^='/known-goods/']").last.click()
    page.wait_for_url("**/known-goods/*")
    with page.expect_download() as found:
        page.get_by_role("link", name="Share as a file").click()
    file = tmp_path / found.value.suggested_filename
    found.value.save_as(file)
    known_good = json.loads(file.read_text(encoding="utf-8"))
    assert known_good["format"] == "crankwise.known-good/1"
    assert file.name == f"{known_good['id']}.json"


def test_what_holds_no_known_goods_is_told_in_words(new_page, empty_server, tmp_path):
    page = new_page(base_url=empty_server, expects_failures=True)
    wrong = tmp_path / "prices.zip"
    wrong.write_bytes(b"no bundle")
    page.goto("/known-goods")
    page.locator("[data-drop] input[type=file]").set_input_files(wrong)
    alert = page.locator("[data-works] .wrong")
    alert.wait_for()
    assert "prices.zip" in alert.inner_text()
