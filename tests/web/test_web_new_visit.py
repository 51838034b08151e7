"""The form of a new visit: what is no recording, and of which engine family a vehicle is."""

from __future__ import annotations

import pytest

pytest.importorskip("fastapi", reason="the screens are an extra: install crankwise[web]")

from crankwise.store import open_store

PICTURE = b"\x89PNG\r\n\x1a\n" + bytes(100)


@pytest.fixture
def begin(local, token_of):
    """Send the form as a browser does, and follow to the page that answers it."""

    def send_form(**fields):
        return local.post(
            "/visits", data={"date": "2026-03-01", "csrf_token": token_of(local), **fields}
        )

    return send_form


@pytest.fixture
def picture(local, token_of):
    """A picture that came in as an upload: its id."""
    sent = local.put(
        "/api/uploads", params={"name": "shot.png"}, content=PICTURE,
        headers={"X-CSRF-Token": token_of(local)},
    )  # fmt: skip
    return sent.json()["id"]


def vehicles(shop):
    with open_store(shop) as store:
        return {vehicle.label: vehicle.family for vehicle in store.jobs.vehicles()}


def test_a_picture_is_refused_before_the_form_is_filled_in(local, picture):
    page = local.get("/visits/new", params={"upload": picture})
    assert "this is a PNG picture, not a recording" in page.text
    assert "as soon as the vehicle is named" not in page.text


def test_a_picture_leaves_no_vehicle_behind(begin, picture, shop):
    answer = begin(vehicle="van-9", upload=picture)
    assert answer.status_code == 415
    assert "this is a PNG picture" in answer.text
    assert "van-9" not in vehicles(shop)


def test_a_family_that_was_left_open_can_be_named_at_the_next_visit(begin, shop):
    begin(vehicle="van-9")
    assert vehicles(shop)["van-9"] is None
    begin(vehicle="van-9", family="Tarn T20")
    assert vehicles(shop)["van-9"] == "Tarn T20"


def test_another_family_than_the_vehicles_is_refused(begin, shop):
    answer = begin(vehicle="van-1", family="Fell V6")
    assert "van-1 is a Tarn T20, not a Fell V6" in answer.text
    assert vehicles(shop)["van-1"] == "Tarn T20"


def test_codes_that_nobody_spoke_of_are_not_none(begin, shop):
    begin(vehicle="van-9", complaint="rattles")
    with open_store(shop) as store:
        file = next(f for f in store.jobs.list() if f.vehicle.label == "van-9")
    assert [kept.kind for kept in file.visits[0].facts] == ["complaint"]


def test_what_was_refused_leads_back_to_its_form(local, token_of):
    form = {"date": "2026-03-01", "vehicle": "van-9", "mileage": "about 50"}
    refused = local.post(
        "/visits",
        data={**form, "csrf_token": token_of(local)},
        headers={"referer": f"{local.base_url}/visits/new?vehicle=1"},
    )
    assert refused.status_code == 400
    assert 'href="/visits/new?vehicle=1"' in refused.text
