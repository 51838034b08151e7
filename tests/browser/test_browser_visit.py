"""The whole visit in a browser: from a dropped recording to the known-good that comes of it."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from crankwise.testing.simulate import simulate_to_file
from crankwise.testing.simulate.visits import van_at


@pytest.fixture
def recorded(tmp_path):
    """Simulate what the scope saves of a van; returns the file."""

    def made(name: str, *, miles: int, fitted_at: int = 0, van: str = "van-6"):
        spec = van_at(van, mileage=miles, chain_fitted_at=fitted_at)
        scope = replace(spec.scope, duration_s=1.5, interval_s=2e-5)
        path = tmp_path / name
        simulate_to_file(replace(spec, scope=scope), path, seed=miles + 7)
        return path

    return made


def test_the_whole_visit(new_page, own_server, recorded):
    page = new_page(base_url=own_server)
    page.goto("/")
    drop = page.locator("[data-drop] input[type=file]")
    drop.set_input_files(recorded("late.csv", miles=99_100))

    # The recording is here; the vehicle gets a name, and nothing else is asked for.
    page.wait_for_url("**/visits/new?upload=*")
    page.get_by_text("late.csv is here").wait_for()
    page.get_by_label("Vehicle").fill("van-7")
    page.get_by_label("Mileage").fill("99,100")
    page.get_by_role("button", name="Begin the visit").click()

    # Measured and compared by itself, with known-goods that its pattern fits.
    verdict = page.locator("#verdict .result .verdict")
    verdict.wait_for(timeout=30_000)
    assert re.search("drifting|worn", verdict.inner_text())
    assert page.locator("#roles select").first.input_value() == "crank"
    assert page.locator("#verdict .share").count() >= 1

    _swap_cams_and_back(page)
    _advise_and_repair(page)
    _record_after_the_repair(page, recorded("after.csv", miles=99_100, fitted_at=99_100))
    _keep_as_known_good(page)


def _swap_cams_and_back(page):
    selects = page.locator("#roles select")
    roles = [selects.nth(i).input_value() for i in range(selects.count())]
    intake, exhaust = roles.index("intake"), roles.index("exhaust")
    for order in (("exhaust", "intake"), ("intake", "exhaust")):
        selects = page.locator("#roles select")
        with page.expect_navigation():
            selects.nth(intake).select_option(order[0])
            selects.nth(exhaust).select_option(order[1])
        page.wait_for_function(
            "([place, role]) => document.querySelectorAll('#roles select')[place].value === role "
            "&& !document.querySelector('#recording [data-work]')",
            arg=[intake, order[0]],
            timeout=30_000,
        )
    page.locator("#verdict .result .verdict").wait_for()


def _advise_and_repair(page):
    advice = page.locator("#advice")
    offer = advice.locator(".offer").first
    offer.get_by_text("Put a price on it").click()
    offer.get_by_label("What is in it").fill("chain, guides and tensioner")
    offer.get_by_label("From").fill("576.40")
    offer.get_by_label("to if it varies").fill("700")
    offer.get_by_role("button", name="Note").click()
    assert page.locator("#advice .price").first.inner_text() == "€576.40 – €700.00"

    advice.get_by_text("Note what is advised").click()
    advice.get_by_label("The owner chooses").fill("have it done now")
    advice.get_by_label("the repair is ordered").check()
    advice.locator("form[action$=choice] button").click()
    page.get_by_text("Have it done now.").wait_for()

    # An ordered repair opens its own form.
    repair = page.locator("#after-repair")
    repair.get_by_label("What was done").fill("chain, guides and tensioner replaced")
    repair.get_by_label("new chain or belt").first.check()
    repair.locator("form[action$=repair] button").click()
    page.get_by_text("New chain.").wait_for()


def _record_after_the_repair(page, path):
    page.locator("#after-repair input[type=file]").set_input_files(path)
    after = page.locator("#after-repair .result .verdict")
    after.wait_for(timeout=30_000)
    assert "in-time" in after.inner_text()
    page.get_by_text("The repair is right").wait_for()


def _keep_as_known_good(page):
    section = page.locator("#after-repair")
    section.get_by_label("Engine family").fill("Tarn T20")
    section.get_by_label("Timing proved by").fill("marks on the sprockets")
    section.get_by_role("button", name="Put it on the shelf").click()
    page.wait_for_url(re.compile("/known-goods/[0-9a-f]{16}$"))
    page.get_by_text("timing proved by marks on the sprockets").wait_for()
    page.get_by_role("link", name="Known-goods").click()
    page.get_by_role("link", name="Tarn T20").first.click()
    page.get_by_text("3 known-goods with the crank wheel 60-2").wait_for()


def test_the_visit_by_keyboard_alone(new_page, own_server):
    page = new_page(base_url=own_server)
    page.goto("/")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    _tab_to(page, "New visit")
    page.keyboard.press("Enter")
    page.wait_for_url("**/visits/new")
    page.keyboard.type("van-8")  # the first field has the focus
    _tab_to(page, "Begin the visit")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/visits/\d+$"))
    _tab_to(page, "Complaint and trouble codes", backwards=False)
    assert page.locator("h1").inner_text().startswith("van-8")


def _tab_to(page, words: str, *, backwards: bool = False):
    """Press Tab until what has the focus says these words."""
    for _ in range(80):
        page.keyboard.press("Shift+Tab" if backwards else "Tab")
        if words in page.evaluate("document.activeElement.innerText || ''"):
            return
    pytest.fail(f"no way to {words!r} by the Tab key")


def test_a_file_that_is_no_recording_is_refused_in_words(new_page, own_server, tmp_path):
    page = new_page(base_url=own_server, expects_failures=True)
    picture = tmp_path / "photo.png"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(200))
    page.goto("/visits/1")
    page.locator("#recording input[type=file]").set_input_files(picture)
    wrong = page.locator("#recording .wrong")
    wrong.wait_for()
    assert "photo.png" in wrong.inner_text()


def test_on_a_tablet_every_step_is_reached_by_touch(new_page, server, shop):
    page = new_page(viewport={"width": 820, "height": 1180}, has_touch=True)
    page.goto(f"/visits/{shop.late}")
    for step in ("Verdict", "Advice and prices", "After the repair"):
        page.get_by_role("navigation", name="Steps of the visit").get_by_text(step).tap()
        page.wait_for_timeout(300)
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= 820, "the page scrolls sideways"
    targets = page.locator("main button:visible, main .button:visible, main select:visible")
    heights = [box["height"] for box in (t.bounding_box() for t in targets.all()) if box]
    assert min(heights) >= 24  # WCAG 2.2, 2.5.8 target size (minimum)
