"""Every page in German: nothing English is left over, and the longer words find room.

Words of people and names stay as they are: what they are in this shop is listed here.
"""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from crankwise.store import open_store
from crankwise.testing.simulate import simulate_to_file
from crankwise.testing.simulate.visits import van_at

PAGES = (
    "/", "/?search=nothing-like-it", "/visits/new", "/visits/new?vehicle=2", "/visits/{known_good}",
    "/visits/{late}", "/visits/{repaired}", "/visits/{banks}",
    "/visits/{late}/angle-view", "/vehicles/1", "/vehicles/2", "/vehicles/4", "/known-goods",
    "/known-goods?retired=yes", "/known-goods/family?name=Tarn%20T20",
    "/known-goods/{known_good_id}", "/engines", "/engines/tarn-t20", "/engines/fell-v6",
    "/engines/generic-twin-cam-belt", "/engines/fell-v6/edit", "/engines/new", "/workshop",
)  # fmt: skip
FAILURES = ("/no-such-page", "/visits/9999", "/vehicles/9999", "/engines/keiner", "/?page=0")

WRITTEN_BY_PEOPLE = (
    r"[Cc]hain and guides replaced",
    r"\S+ \d+ miles [\w-]+\.csv",  # recordings
    r"[\w-]+\.(?:csv|json|zip|toml)",
    r"generic-[\w-]+",  # engine files
    r"\S+\.sqlite",  # where the store is
)
ENGLISH = re.compile(
    r"\b(the|of|with|and|is|has|have|are|were|which|that|this|these|from|by|for|not|no|yes|none|"
    r"than|before|after|it|its|at|to|be|been|can|or|on|each|every|other|into|your|"
    r"cams?|teeth|tooth|gap|edges?|wheels?|chain|worn|late|early|speed|mileage|miles|rpm|verdict|"
    r"scatter|spread|visits?|vehicles?|engines?|recordings?|measured?|compared?|limits?|healthy|"
    r"known-goods?|unknown|in-time|drifting|out-of-time|judged|rising|falling)\b"
)
"""Words that are not German as well, in the spelling they have within a sentence."""
POINT = re.compile(r"(?<![\d.,:/’A-Z])\d+\.\d{1,2}(?![\d.])")
"""A decimal point; days have two."""

TEXTS = """async () => {
  const found = [];
  const spoken = ["aria-label", "alt", "placeholder", "title", "label"];
  const kinds = NodeFilter.SHOW_ELEMENT | NodeFilter.SHOW_TEXT;
  const walker = document.createTreeWalker(document.documentElement, kinds);
  for (let node = walker.currentNode; node; node = walker.nextNode()) {
    if (node.nodeType === Node.TEXT_NODE) {
      if (!node.parentElement.closest("script, style, pre, code")) found.push(node.textContent);
    } else found.push(...spoken.map((name) => node.getAttribute(name)));
  }
  for (const option of document.querySelectorAll("datalist option:empty")) found.push(option.value);
  for (const picture of document.querySelectorAll('main img[src*=".svg"]')) {
    const answer = await fetch(picture.src);
    const drawn = new DOMParser().parseFromString(await answer.text(), "image/svg+xml");
    const words = drawn.querySelectorAll("text, title, desc");
    found.push(...Array.from(words, (one) => one.textContent));
  }
  const plain = found.filter(Boolean).map((words) => words.replace(/\\s+/g, " ").trim());
  return [...new Set(plain.filter(Boolean))];
}"""

TOO_WIDE = """() => {
  const words = "button, .button, a, label, h1, h2, h3, p, li, dt, dd, th, td, summary, legend";
  const places = `:is(${words}, caption, .scroll, .picture):not(.unseen, pre)`;
  return [...document.querySelectorAll(places)]
    .filter((one) => one.clientWidth && one.scrollWidth > one.clientWidth + 1)
    .map((one) => `${one.tagName}.${one.className}: ${one.innerText.slice(0, 60)}`);
}"""


@pytest.fixture(scope="session")
def known_good_id(shop):
    with open_store(shop.folder) as store:
        return store.shelf.list()[0].id


@pytest.fixture
def german(new_page, server):
    """A page that was asked for in German once."""

    def opened(**settings):
        page = new_page(**settings)
        address = settings.get("base_url", server)
        page.context.add_cookies([{"name": "language", "value": "de", "url": address}])
        return page

    return opened


def unfold(page) -> None:
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")


def leftovers(texts: list[str]) -> list[str]:
    ours = (re.sub("|".join(WRITTEN_BY_PEOPLE), "", text) for text in texts)
    return [text for text in ours if ENGLISH.search(text)]


def filled(address: str, shop, known_good_id: str) -> str:
    return address.format(
        known_good=shop.known_good, late=shop.late, repaired=shop.repaired, banks=shop.banks,
        known_good_id=known_good_id,
    )  # fmt: skip


@pytest.mark.parametrize("address", [*PAGES, *FAILURES])
def test_a_page_is_german_through_and_through(german, shop, known_good_id, address):
    page = german(expects_failures=address in FAILURES)
    page.goto(filled(address, shop, known_good_id), wait_until="networkidle")
    unfold(page)
    assert page.get_attribute("html", "lang") == "de"
    texts = page.evaluate(TEXTS)
    assert len(texts) > 12
    assert not leftovers(texts)
    # Mileages and money are the workshop's; what was measured has the marks of the language.
    assert not [text for text in texts if POINT.search(text)]


@pytest.mark.parametrize("address", PAGES)
def test_german_words_find_room_on_a_tablet(german, shop, known_good_id, address):
    page = german(viewport={"width": 820, "height": 1180})
    page.goto(filled(address, shop, known_good_id), wait_until="networkidle")
    unfold(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= 820
    assert page.evaluate(TOO_WIDE) == []


def test_the_words_are_looked_for_where_people_read(german, shop):
    """The walk itself finds what is English."""
    page = german()
    page.goto(f"/visits/{shop.late}")
    page.evaluate(
        "document.querySelector('main').insertAdjacentHTML('beforeend', "
        '\'<details>folded with care</details><img alt="the wheel"><i aria-label="a gap"></i>\')'
    )
    found = leftovers(page.evaluate(TEXTS))
    assert found == ["folded with care", "the wheel", "a gap"]


def test_the_angle_view_reads_in_german(german, shop):
    page = german()
    page.goto(f"/visits/{shop.late}/angle-view", wait_until="networkidle")
    picture, reading = page.locator("[data-picture]"), page.locator("[data-reading]")
    page.locator("[data-do=swap]:not([disabled])").wait_for()
    picture.hover(position={"x": 500, "y": 60})
    assert re.search(r"\d,\d\d° · \d+,\d Zähne (vor|nach) der Zahnlücke", reading.inner_text())
    picture.press("m")
    picture.hover(position={"x": 620, "y": 60})
    assert re.search(r"\d,\d\d° oder \d+,\d\d Zähne ab der Marke", reading.inner_text())
    said = [reading.inner_text()]
    picture.press("t")
    picture.hover(position={"x": 500, "y": 60})
    said.append(reading.inner_text())
    assert re.search(r"^\d+,\d{6} s", said[-1])
    picture.press("?")
    said.append(page.locator("dialog").inner_text())
    assert "Umschalt" in said[-1]
    assert not leftovers(said)
    assert not [words for words in said if POINT.search(words)]


def test_a_picture_saved_from_the_angle_view_is_german(german, shop):
    page = german()
    page.goto(f"/visits/{shop.late}/angle-view", wait_until="networkidle")
    with page.expect_download() as download:
        page.locator("[data-do=saveSvg]").click()
    drawn = download.value.path().read_text(encoding="utf-8")
    words = re.findall(r">([^<>]+)<", drawn)
    assert "Kurbelwinkel nach dem Nullpunkt" in words
    assert not leftovers(words)
    assert not [text for text in words if POINT.search(text)]


def test_the_switch_changes_the_page_and_stays_on_it(page):
    page.goto("/known-goods/family?name=Tarn%20T20")
    page.get_by_role("button", name="Deutsch").click()
    page.wait_for_url("**/known-goods/family?name=Tarn%20T20")
    assert page.get_attribute("html", "lang") == "de"
    assert "Serienstreuung" in page.inner_text("main")
    page.get_by_role("button", name="English").click()
    page.wait_for_url("**/known-goods/family?name=Tarn%20T20")
    assert page.get_attribute("html", "lang") == "en"


@pytest.fixture
def recording(tmp_path):
    """What a scope saves of a van with a worn chain."""
    spec = van_at("van-6", mileage=99_100)
    path = tmp_path / "spät.csv"
    scope = replace(spec.scope, duration_s=1.5, interval_s=2e-5)
    simulate_to_file(replace(spec, scope=scope), path, seed=7)
    return path


def test_a_visit_in_german_with_the_numbers_of_the_workshop(german, own_server, recording):
    page = german(base_url=own_server)
    _as_they_count_in_switzerland(page)

    page.goto("/")
    page.locator("[data-drop] input[type=file]").set_input_files(recording)
    page.get_by_text("spät.csv ist da").wait_for()
    page.get_by_label("Fahrzeug").fill("van-7")
    page.get_by_label("Laufleistung").fill("99’100")
    page.get_by_role("button", name="Besuch beginnen").click()
    page.locator("#verdict .result .verdict").wait_for(timeout=30_000)
    assert "99’100\u202fMeilen" in page.inner_text("h1")
    summary = page.locator("#verdict .summary").inner_text()
    assert re.search(r"[+-]\d,\d+° ± \d,\d+°", summary)

    offer = page.locator("#advice .offer").first
    offer.get_by_text("Preis eintragen").click()
    offer.get_by_label("Umfang").fill("Kette, Schienen und Spanner")
    offer.get_by_label("Von").fill("1576,40")
    offer.get_by_role("button", name="Eintragen").click()
    price = page.locator("#advice .price").first.inner_text().replace("\u00a0", " ")
    assert price == "CHF 1’576.40"
    page.locator("[data-do=swap]:not([disabled])").wait_for()  # the signals have come
    unfold(page)
    assert not leftovers(page.evaluate(TEXTS))


def _as_they_count_in_switzerland(page):
    page.goto("/workshop")
    page.get_by_label("Laufleistung in").select_option("miles")
    page.get_by_label("Währung").fill("CHF")
    page.get_by_label("Zahlen").select_option("de-CH")
    page.locator("section", has_text="Name, Einheiten und Geld").get_by_role("button").click()
    page.wait_for_url("**/workshop?kept=profile")


def test_what_goes_wrong_is_said_in_german(german, own_server, shop, tmp_path):
    page = german(base_url=own_server, expects_failures=True)
    picture = tmp_path / "foto.png"
    picture.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(200))
    page.goto(f"/visits/{shop.late}")
    page.locator("#recording input[type=file]").set_input_files(picture)
    wrong = page.locator("#recording .wrong")
    wrong.wait_for()
    said = [wrong.inner_text()]

    page.goto("/engines/new")
    page.get_by_label("Name der Datei").fill("eigener")
    page.get_by_label("Zylinder").fill("viele")
    page.get_by_role("button", name="Speichern").last.click()
    said.append(page.locator(".wrong").first.inner_text())

    page.goto("/workshop")
    page.get_by_label("Fehlercodegrenze").first.fill("9,5")
    page.locator("#policy ~ form").get_by_role("button", name="Speichern").click()
    said.append(page.locator(".wrong").first.inner_text())
    assert "angeben, woher der eigene Wert stammt" in said[-1]
    assert not leftovers(said)


def test_an_empty_store_begins_in_german(german, empty_server):
    page = german(base_url=empty_server)
    for address in ("/", "/known-goods", "/visits/new"):
        page.goto(address)
        assert not leftovers(page.evaluate(TEXTS)), address
    page.goto("/")
    assert page.get_by_role("button", name="Erst ein Beispiel ansehen").is_visible()
