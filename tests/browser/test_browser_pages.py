"""Every page loads without a complaint of the browser."""


def test_the_start_page_lists_every_vehicle(page):
    page.goto("/")
    text = page.inner_text("main")
    assert all(name in text for name in ("van-1", "van-5", "van-6", "fell-v6"))
