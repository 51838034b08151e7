"""The angle view in a real browser: by key, by finger, over time, and saved."""

from __future__ import annotations

import io
import re
import shutil
import struct
import xml.etree.ElementTree as ET

import pytest

from crankwise.store import open_store

PICTURE = "[data-picture]"
NUMBER = r"-?\d+(?:\.\d+)?"


def opened(page, visit, *, address="/visits/{}/angle-view"):
    """The page of a visit's picture, once its signals are drawn."""
    page.goto(address.format(visit))
    page.locator("[data-do=swap]:enabled").wait_for()
    page.wait_for_load_state("networkidle")
    return page


def drawn(page):
    """Wait until all that was asked for is drawn."""
    frame = "new Promise((go) => requestAnimationFrame(go))"
    page.evaluate(f"async () => {{ await {frame}; await {frame}; }}")


def seen(page):
    """The stretch that is seen, once it rests."""
    last = None
    while (now := page.inner_text("[data-seen]")) != last:
        last = now
        page.wait_for_timeout(100)
        drawn(page)
    return tuple(float(number) for number in re.findall(NUMBER, now))


def apart(deg, other):
    """Difference of two angles of the cycle, the short way round."""
    return (deg - other + 360.0) % 720.0 - 360.0


def press(page, *keys):
    page.locator(PICTURE).focus()
    for key in keys:
        page.keyboard.press(key)


def box(page):
    return page.locator(f"{PICTURE} canvas").bounding_box()


def reading(page):
    drawn(page)
    return page.inner_text("[data-reading]")


def cells(page):
    """The table of edges, row by row."""
    rows = page.locator("[data-table] tbody tr")
    return [rows.nth(k).locator("td").all_inner_texts() for k in range(rows.count())]


@pytest.fixture
def late(page, shop):
    return opened(page, shop.late)


def test_the_visit_page_shows_the_picture_too(page, shop):
    opened(page, shop.late, address="/visits/{}")
    assert seen(page) == (0.0, 720.0)
    assert page.locator(f"{PICTURE} canvas").is_visible()


def test_every_edge_stands_in_the_table_with_its_shift(late, shop):
    view = late.request.get(f"/api/visits/{shop.late}/angle-view").json()
    expected = [
        [lane["name"], edge["edge"], edge["words"], edge["teeth"],
         edge["shift"]["words"], edge["shift"]["known_good_teeth"]]
        for lane in view["lanes"] for edge in lane["edges"]
    ]  # fmt: skip
    assert len(expected) == 16
    assert cells(late) == expected
    with open_store(shop.folder) as store:
        visit = store.jobs.file(store.jobs.visit(shop.late).job_id).visits[-1]
        compared = visit.comparisons[-1].comparison
    for lane, cam in zip(view["lanes"], compared.cams, strict=True):
        shifts = [edge["shift"]["shift_deg"] for edge in lane["edges"]]
        assert shifts == pytest.approx([edge.shift_deg for edge in cam.edges])


def test_one_key_goes_to_the_gap_and_another_shows_all(late):
    press(late, "g")
    first = seen(late)
    assert 60 < first[1] - first[0] < 150
    zero = 360.0 * round(sum(first) / 720.0)
    assert first[0] < zero - 18.0 < zero < first[1]
    press(late, "g")
    second = seen(late)
    assert abs(abs(second[0] - first[0]) - 360.0) < 40.0
    press(late, "a")
    assert seen(late) == (0.0, 720.0)


def test_buttons_do_what_keys_do(late):
    press(late, "g")
    by_key = seen(late)
    late.click("[data-do=all]")
    assert seen(late) == (0.0, 720.0)
    late.click("[data-do=gap]")
    assert seen(late) == by_key
    late.click("[data-do=closer]")
    closer = seen(late)
    assert closer[1] - closer[0] == pytest.approx(0.6 * (by_key[1] - by_key[0]), abs=0.05)


def test_arrows_and_signs_move_and_zoom(late):
    press(late, "g", "+")
    before = seen(late)
    wide = before[1] - before[0]
    press(late, "ArrowRight")
    assert apart(seen(late)[0], before[0]) == pytest.approx(0.2 * wide, abs=0.05)
    press(late, "ArrowLeft")
    assert seen(late) == pytest.approx(before, abs=0.05)
    press(late, "-")
    wider = seen(late)
    assert wider[1] - wider[0] == pytest.approx(wide / 0.6, abs=0.05)


def test_dragging_moves_by_as_much(late):
    press(late, "g")
    before = seen(late)
    area = box(late)
    plot = area["width"] - 166.0 - 14.0
    late.mouse.move(area["x"] + 500, area["y"] + 150)
    late.mouse.down()
    late.mouse.move(area["x"] + 600, area["y"] + 150, steps=4)
    late.mouse.up()
    expected = -100.0 * (before[1] - before[0]) / plot
    assert apart(seen(late)[0], before[0]) == pytest.approx(expected, abs=0.2)


def test_the_wheel_zooms_about_the_pointer_once_the_picture_is_chosen(late):
    area = box(late)
    late.mouse.move(area["x"] + 400, area["y"] + 200)
    late.mouse.wheel(0, -300)
    assert seen(late) == (0.0, 720.0)  # the page may scroll
    area = box(late)
    late.mouse.click(area["x"] + 400, area["y"] + 200)
    at = reading(late).split("°")[0]
    late.mouse.wheel(0, -300)
    begin, end = seen(late)
    assert end - begin < 500.0
    late.mouse.move(area["x"] + 401, area["y"] + 200)
    late.mouse.move(area["x"] + 400, area["y"] + 200)
    assert float(reading(late).split("°")[0]) == pytest.approx(float(at), abs=1.0)


def test_the_strip_below_shows_what_is_seen_and_moves_it(late):
    press(late, "g")
    wide = seen(late)[1] - seen(late)[0]
    area = box(late)
    x, end = area["x"] + 166 + (area["width"] - 180) / 2, area["y"] + area["height"]
    # The strip lies above the legend, about a tenth of the picture from its end.
    for share in range(60, 140, 4):
        late.mouse.click(x, end - share)
        middle = sum(seen(late)) / 2
        if abs(middle - 360.0) < 2.0:
            break
    assert middle == pytest.approx(360.0, abs=2.0)
    assert seen(late)[1] - seen(late)[0] == pytest.approx(wide, abs=0.1)


def test_the_cursor_reads_degrees_teeth_time_and_speed(late, shop):
    area = box(late)
    late.mouse.move(area["x"] + 166 + (area["width"] - 180) * 96 / 720, area["y"] + 200)
    found = reading(late)
    # The 17th tooth after the gap of a 60-2 wheel lies 96 degrees after the first one.
    match = re.fullmatch(
        r"(\d+\.\d\d)° · (\d+\.\d) teeth after the gap · (\d+\.\d\d) ms after 0° · (\d+) rpm", found
    )
    assert match, found
    deg, teeth, time, speed = map(float, match.groups())
    assert deg == pytest.approx(96.0, abs=0.5)
    assert teeth == pytest.approx(1.0 + deg / 6.0, abs=0.051)
    assert 600 < speed < 900
    assert time == pytest.approx(deg / (6.0 * 760.0) * 1000.0, rel=0.1)


def test_the_cursor_moves_by_keys_and_is_spoken(late):
    press(late, "g", "n")
    found = reading(late)
    assert any(f"{cam}, {way}: {shift}" in found for cam, way, _, _, shift, _ in cells(late)), found
    late.locator("[data-live]:not(:empty)").wait_for(state="attached")
    assert late.inner_text("[data-live]") == found
    before = float(found.split("°")[0])
    press(late, "Shift+ArrowRight", "Shift+ArrowRight")
    begin, end = seen(late)
    moved = apart(float(reading(late).split("°")[0]), before)
    assert moved == pytest.approx(2 * (end - begin) / 250, abs=0.02)
    press(late, "m", "Shift+ArrowLeft")
    assert f"{-(end - begin) / 250:.2f}° or " in reading(late)


def test_over_time_and_back_stays_at_the_same_place(late):
    press(late, "g", "n", "n")
    deg = float(reading(late).split("°")[0])
    press(late, "t")
    begin, end = seen(late)
    assert 0.0 < end - begin < 0.06
    late.wait_for_load_state("networkidle")
    late.wait_for_timeout(200)
    found = reading(late)
    match = re.match(rf"(\d\.\d+) s · (\d+\.\d\d)° · {NUMBER} teeth .* · \d+ rpm", found)
    assert match, found
    assert float(match[2]) == pytest.approx(deg, abs=8.0)
    assert begin < float(match[1]) < end
    press(late, "t")
    assert reading(late).startswith(match[2])
    press(late, "a", "t", "a")
    assert seen(late) == pytest.approx((0.0, 1.5), abs=1e-4)


def test_saved_pictures_are_whole_files_of_what_is_seen(late):
    press(late, "g")
    seen(late)
    with late.expect_download() as waiting:
        press(late, "s")
    data = waiting.value.path().read_bytes()
    assert waiting.value.suggested_filename.endswith(".svg")
    root = ET.parse(io.BytesIO(data)).getroot()  # noqa: S314  our own file
    words = [text.text for text in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "van-5, 2026-02-03" in words
    assert any("known-good" in word for word in words)
    # What is out of sight is not in it: of sixteen labels only those near the gap.
    shifts = [word for word in words if re.fullmatch(r"[+-]?\d+\.\d+° ± \d+\.\d+°", word)]
    assert 1 <= len(shifts) <= 8
    with late.expect_download() as waiting:
        late.click("[data-do=savePng]")
    data = waiting.value.path().read_bytes()
    width, height = struct.unpack(">II", data[16:24])
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    assert width == pytest.approx(2 * (box(late)["width"] + 32), abs=2)
    assert height > 800


def test_keys_are_listed_in_a_dialog(late):
    press(late, "?")
    assert late.locator("[data-keys]").is_visible()
    assert late.locator("[data-keys] dt").count() == 10
    late.keyboard.press("Escape")
    assert not late.locator("[data-keys]").is_visible()


def test_quick_zooming_asks_for_one_window_at_a_time(late):
    at_once, most, asked = 0, 0, 0

    def began(request):
        nonlocal at_once, most, asked
        if "/levels/angle" in request.url:
            at_once, asked = at_once + 1, asked + 1
            most = max(most, at_once)

    def ended(request):
        nonlocal at_once
        if "/levels/angle" in request.url:
            at_once -= 1

    late.on("request", began)
    late.on("requestfinished", ended)
    late.on("requestfailed", ended)
    area = box(late)
    late.mouse.click(area["x"] + 500, area["y"] + 200)
    for _ in range(25):
        late.mouse.wheel(0, -60)
        late.wait_for_timeout(15)
    seen(late)
    late.wait_for_load_state("networkidle")
    assert most <= 1
    assert asked <= 8


def test_less_motion_jumps_at_once(new_page, shop):
    page = opened(new_page(reduced_motion="reduce"), shop.late)
    for key in "ga":  # the signals close by are here from now on
        press(page, key)
        seen(page)
        page.wait_for_load_state("networkidle")
    before, first, last = page.evaluate("""async () => {
        const frame = () => new Promise((go) => requestAnimationFrame(go));
        const canvas = document.querySelector("[data-picture] canvas");
        const before = canvas.toDataURL();
        document.querySelector("[data-do=gap]").click();
        await frame();
        await frame();
        const first = canvas.toDataURL();
        await new Promise((go) => setTimeout(go, 600));
        return [before, first, canvas.toDataURL()];
    }""")
    assert before != first == last


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_colours_are_those_of_the_page(new_page, shop, scheme):
    page = opened(new_page(color_scheme=scheme), shop.late)
    intake = {"light": (11, 127, 124), "dark": (79, 192, 188)}
    assert intake[scheme] in colours(page)
    page.click("[data-theme-switch]")
    page.wait_for_timeout(150)
    other = "dark" if scheme == "light" else "light"
    assert intake[other] in colours(page)
    assert intake[scheme] not in colours(page)


@pytest.mark.parametrize("theme", ["of the system", "chosen"])
def test_on_paper_it_is_dark_on_white(new_page, shop, theme):
    page = opened(new_page(color_scheme="dark" if theme == "of the system" else "light"), shop.late)
    if theme == "chosen":
        page.click("[data-theme-switch]")
    drawn(page)
    assert (79, 192, 188) in colours(page)
    page.emulate_media(media="print")
    drawn(page)
    found = colours(page)
    assert (11, 127, 124) in found
    assert (79, 192, 188) not in found
    ink = page.evaluate("getComputedStyle(document.body).color")
    assert ink == "rgb(29, 36, 51)"


def colours(page):
    """Every opaque colour on the canvas."""
    found = page.evaluate("""() => {
        const canvas = document.querySelector("[data-picture] canvas");
        const copy = new OffscreenCanvas(canvas.width, canvas.height);
        const context = copy.getContext("2d", { willReadFrequently: true });
        context.drawImage(canvas, 0, 0);
        const { data } = context.getImageData(0, 0, canvas.width, canvas.height);
        const found = new Set();
        for (let k = 0; k < data.length; k += 4) {
            if (data[k + 3] === 255) found.add(`${data[k]},${data[k + 1]},${data[k + 2]}`);
        }
        return [...found];
    }""")
    return {tuple(int(part) for part in colour.split(",")) for colour in found}


def test_fingers_read_move_and_pinch(new_page, shop):
    page = opened(new_page(viewport={"width": 820, "height": 1180}, has_touch=True), shop.late)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    area = box(page)
    page.touchscreen.tap(area["x"] + 400, area["y"] + 200)
    assert "teeth" in reading(page)
    assert seen(page) == (0.0, 720.0)
    page.locator("[data-do=gap]").tap()
    before = seen(page)
    finger = page.context.new_cdp_session(page)
    x, y = area["x"] + 400, area["y"] + 200
    touch(finger, "touchStart", [(x - 50, y), (x + 50, y)])
    for wide in range(60, 101, 10):
        touch(finger, "touchMove", [(x - wide, y), (x + wide, y)])
    touch(finger, "touchEnd", [])
    pinched = seen(page)
    assert pinched[1] - pinched[0] == pytest.approx((before[1] - before[0]) / 2, rel=0.03)
    touch(finger, "touchStart", [(x, y)])
    for step in range(20, 101, 20):
        touch(finger, "touchMove", [(x + step, y)])
    touch(finger, "touchEnd", [])
    dragged = seen(page)
    assert apart(dragged[0], pinched[0]) < -1.0
    assert dragged[1] - dragged[0] == pytest.approx(pinched[1] - pinched[0], abs=0.05)


def touch(finger, kind, points):
    placed = [{"x": x, "y": y, "id": number} for number, (x, y) in enumerate(points)]
    finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": placed})


def test_another_recording_of_the_visit_can_be_chosen(page, shop):
    opened(page, shop.repaired)
    options = page.locator("[data-choice] option").all_inner_texts()
    assert [option.split(":")[0] for option in options] == ["diagnosis", "after the repair"]
    repaired = cells(page)
    page.select_option("[data-choice]", index=0)
    page.locator("[data-table] td", has_text=repaired[0][2]).wait_for(state="detached")
    before = cells(page)
    assert len(before) == len(repaired)
    assert all(row[2:] != other[2:] for row, other in zip(before, repaired, strict=True))


def test_without_a_known_good_edges_stand_alone(page, shop):
    opened(page, shop.banks)
    rows = cells(page)
    assert len({row[0] for row in rows}) == 4
    assert all(row[4] == row[5] == "" for row in rows)


def test_without_its_original_the_picture_shows_the_edges_and_says_why(
    new_page, shop, serve, tmp_path
):
    folder = tmp_path / "shop"
    shutil.copytree(shop.folder, folder)
    with open_store(folder) as store:
        file = store.jobs.file(store.jobs.visit(shop.late).job_id)
        digest = file.visits[-1].recordings[0].recording.sha256
        store.recordings.delete(digest, why="asked for by the owner")
    with serve(folder) as address:
        page = new_page(base_url=address)
        page.goto(f"/visits/{shop.late}/angle-view")
        page.locator("[data-state]", has_text="was deleted").wait_for()
        assert len(cells(page)) == 16
        assert page.locator("[data-do=swap]").is_disabled()
        press(page, "g")
        begin, end = seen(page)
        assert end - begin < 150.0
