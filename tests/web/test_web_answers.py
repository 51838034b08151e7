"""Every request and every answer: tokens of changes, names, sizes, headers.

Where no source is named a check is common practice; OWASP ASVS 4.0 numbers stand beside the rest.
"""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient

from crankwise.web.app import create_app
from crankwise.web.settings import Settings

# --- changes --------------------------------------------------------------------------------------

FOREIGN = [
    {"origin": "http://else.example"},
    {"origin": "null"},
    {"origin": "http://localhost:9999"},
    {"origin": "http://["},
    {"sec-fetch-site": "cross-site"},
    {"sec-fetch-site": "same-site"},
]


@pytest.mark.parametrize("headers", FOREIGN, ids=str)
def test_a_change_from_another_site_is_refused_even_with_the_token(local, token_of, headers):
    token = token_of(local)
    answer = local.put(
        "/api/profile", json={"name": "x"}, headers={"x-csrf-token": token, **headers}
    )
    assert answer.status_code == 403


@pytest.mark.parametrize("headers", [{}, {"x-csrf-token": ""}, {"x-csrf-token": "x" * 43}], ids=str)
def test_a_change_without_the_token_is_refused(local, headers):
    # ASVS 4.2.2
    local.get("/")
    before = local.get("/api/profile").json()
    answer = local.put("/api/profile", json={"name": "x"}, headers=headers)
    assert answer.status_code == 403
    assert set(answer.json()) == {"error"}
    assert local.get("/api/profile").json() == before


def test_a_change_with_the_token_is_done(local, token_of):
    headers = {
        "x-csrf-token": token_of(local),
        "origin": "http://localhost:8720",
        "sec-fetch-site": "same-origin",
    }
    assert local.put("/api/profile", json={"name": "x"}, headers=headers).status_code == 200
    assert local.get("/api/profile").json()["name"] == "x"


def test_the_token_of_another_session_is_refused(local, token_of):
    token = token_of(local)
    local.cookies.clear()
    local.get("/")
    answer = local.put("/api/profile", json={"name": "x"}, headers={"x-csrf-token": token})
    assert answer.status_code == 403


@pytest.mark.parametrize(
    "fields", [{}, {"csrf_token": ""}, {"csrf_token": "x" * 43}, {"csrf_token": "\u00e4"}], ids=str
)
@pytest.mark.parametrize("as_parts", [False, True])
def test_a_form_without_the_token_is_refused(local, fields, as_parts):
    local.get("/")
    files = {"logo": ("a.png", b"x")} if as_parts else None
    assert local.post("/sign-out", data=fields, files=files).status_code == 403
    assert local.get("/api/jobs").status_code == 200


def test_a_form_with_the_token_reaches_its_route_whole(local, token_of, pass_phrase):
    form = {"csrf_token": token_of(local), "pass_phrase": pass_phrase, "goes_to": "/visits/1"}
    answer = local.post("/sign-in", data=form, follow_redirects=False)
    assert answer.headers["location"] == "/visits/1"


# --- names ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host", ["else.example", "localhost.else.example", "192.0.2.9", "", "localhost@else.example"]
)
def test_a_forged_host_is_refused(local, host):
    answer = local.get("/", headers={"host": host})
    assert answer.status_code == 421
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize("host", ["LOCALHOST:1", "127.0.0.1", "[::1]:8720", "localhost.:80"])
def test_this_computer_goes_by_its_own_names(local, host):
    assert local.get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("shop.example", 200),
        ("SHOP.example:8720", 200),
        ("192.0.2.7", 200),
        ("192.0.2.8", 421),
        ("else.example", 421),
    ],
)
def test_on_a_network_it_goes_by_its_address_and_its_names(shop, host, status):
    settings = Settings(store=str(shop), host="0.0.0.0", names=("shop.example",))  # noqa: S104
    # The address in the client's URL becomes the one that the connection comes in at.
    with TestClient(create_app(settings), base_url="http://192.0.2.7") as client:
        assert client.get("/sign-in", headers={"host": host}).status_code == status


# --- headers of every answer ----------------------------------------------------------------------


def broken() -> None:
    raise RuntimeError("a secret detail")


@pytest.fixture
def breaking(shop) -> TestClient:
    app = create_app(Settings(store=str(shop)))
    app.add_api_route("/broken", broken)
    app.add_api_route("/api/broken", broken)
    with TestClient(app, base_url="http://localhost:8720") as client:
        client.get("/")
        yield client


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/", 200),
        ("HEAD", "/", 405),
        ("GET", "/nothing", 404),
        ("POST", "/sign-out", 403),
        ("GET", "/sign-in", 303),
        ("GET", "/static/css/app.css", 200),
        ("GET", "/static/nothing.css", 404),
        ("GET", "/api/jobs", 200),
        ("GET", "/api/jobs/99", 404),
        ("GET", "/api/jobs/x", 422),
        ("PUT", "/api/jobs", 403),
        ("GET", "/broken", 500),
        ("GET", "/api/broken", 500),
    ],
)
def test_every_answer_has_the_headers(breaking, method, path, status):
    answer = breaking.request(method, path, follow_redirects=False)
    assert answer.status_code == status
    check_headers(answer)
    kept = answer.headers["cache-control"]
    assert kept == ("no-cache" if path == "/static/css/app.css" else "no-store")
    assert "secret detail" not in answer.text
    assert "Traceback" not in answer.text


def check_headers(answer):
    # OWASP Secure Headers Project
    content = answer.headers["content-security-policy"]
    assert "default-src 'self'" in content
    assert "frame-ancestors 'none'" in content
    assert "unsafe" not in content
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "same-origin"
    assert "camera=()" in answer.headers["permissions-policy"]
    assert answer.headers["cross-origin-opener-policy"] == "same-origin"
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"
    assert "server" not in answer.headers


def test_refusals_have_the_headers(local, tablet):
    for answer in (
        local.get("/", headers={"host": "else.example"}),
        local.put("/api/profile", content=b"x" * 8_000_001),
        local.get("/api/jobs"),
        tablet.get("/"),
        tablet.post("/"),
    ):
        assert answer.status_code in {303, 401, 413, 421}
        check_headers(answer)
        assert answer.headers["cache-control"] == "no-store"


def test_what_is_shipped_is_kept_for_ever_only_by_version(local):
    assert local.get("/static/css/app.css?v=1").headers["cache-control"] == (
        "public, max-age=31536000, immutable"
    )
    assert local.get("/static/nothing.css?v=1").headers["cache-control"] == "no-store"


def test_a_defect_is_told_in_words_and_logged(breaking, caplog):
    answer = breaking.get("/api/broken")
    assert answer.json()["error"].startswith("Something went wrong inside Crankwise")
    assert "a secret detail" in caplog.text


# --- size -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("says_so", [True, False])
def test_a_body_that_is_too_large_is_refused(program, says_so):
    large = b'{"name": "' + b"x" * 8_000_000 + b'"}'
    content = large if says_so else iter([large[:4_000_000], large[4_000_000:]])
    answer = program.put(
        "/api/profile", content=content, headers={"content-type": "application/json"}
    )
    assert answer.status_code == 413
    assert "larger" in answer.json()["error"]
