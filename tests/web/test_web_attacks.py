"""What got through the attacks of ``attacks/network.py`` once, and a few of those attacks, quickly.

Where no source is named a check is common practice; OWASP ASVS 4.0 numbers stand beside the rest.
"""

from __future__ import annotations

import asyncio
import json
import shutil
import socket
import threading
import time
from contextlib import contextmanager

import pytest
import uvicorn
from attacks import network_access, network_paths
from attacks.network_raw import malformed
from attacks.network_server import serving

from crankwise.drive.tables import Table
from crankwise.errors import UnreadableError, UsageError
from crankwise.store import open_store
from crankwise.web import forms
from crankwise.web.access import patience, phrase
from crankwise.web.access.hosts import host_of
from crankwise.web.access.sessions import Sessions
from crankwise.web.access.tries import Tries

COOKIE = "crankwise-8720"


# --- requests that are not as they should be ------------------------------------------------------


@pytest.mark.parametrize("cookie", ["a/b=c", '{"x"=1; language=de', ",=2", "=", "\u00e4=1"])
def test_a_cookie_of_another_program_breaks_nothing(local, cookie):
    # Cookies of one computer go to all its servers, whatever their port (RFC 6265, section 8.5).
    answer = local.get("/", headers={"cookie": cookie.encode()})
    assert answer.status_code == 200
    assert ('<html lang="de">' in answer.text) is ("language=de" in cookie)


@pytest.mark.parametrize("referer", ["http://[", "http://[::1", "//[", "x" * 5_000])
def test_a_referer_that_is_no_address_breaks_nothing(local, referer):
    answer = local.post("/sign-out", data={}, headers={"referer": referer})
    assert answer.status_code == 403
    assert "content-security-policy" in answer.headers


@pytest.mark.parametrize(
    "host", ["[::1", "[::1]x", "127.0.0.1:8720:1", "localhost:x", "localhost:999999", "[", "]"]
)
def test_a_host_with_more_than_a_name_is_refused(local, host):
    assert host_of(host) == ""
    assert local.get("/", headers={"host": host}).status_code == 421


def test_an_address_in_both_notations_is_one():
    assert host_of("[::ffff:192.0.2.7]:80") == "192.0.2.7"


@pytest.mark.parametrize(
    ("path", "size", "status"),
    [("/sign-out", 400_001, 413), ("/sign-in", 20_001, 413), ("/sign-out", 400_000, 403)],
)
def test_a_form_without_end_is_refused(local, path, size, status):
    local.get("/")
    kind = {"content-type": "application/x-www-form-urlencoded"}
    assert local.post(path, content=b"&" * size, headers=kind).status_code == status


def test_two_ends_of_one_body_are_refused(program):
    # RFC 9112, section 6.1: request smuggling.
    headers = {"content-length": "2", "transfer-encoding": "chunked"}
    answer = program.put("/api/uploads?name=a.csv", content=b"{}", headers=headers)
    assert answer.status_code == 400
    assert answer.headers["connection"] == "close"


def test_answers_of_the_api_are_never_a_page(local):
    # ASVS 14.4.2
    local.get("/")
    for path in ("/api/jobs", "/api/nothing"):
        assert local.get(path).headers["content-disposition"].startswith("attachment")
    assert "content-disposition" not in local.get("/").headers


def test_over_https_browsers_are_told_to_stay_with_it(local):
    # ASVS 14.4.5
    assert "strict-transport-security" not in local.get("/").headers
    answer = local.get("https://localhost:8720/")
    assert "max-age=" in answer.headers["strict-transport-security"]


# --- what people write ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name", ["a/b", "..", "a?b", "a#b", "a%b", "x" * 101, "\x00", "new", "a\\b"]
)
def test_an_engine_name_fits_its_address(shop, name):
    with open_store(shop) as store, pytest.raises(UsageError, match="address"):
        store.shop.keep_engine_file(name, 'family = "x"\n')


def test_a_code_is_no_longer_than_a_code():
    with pytest.raises(UsageError, match="is no code"):
        forms.codes("P0016, " + "A" * 21)


def test_characters_that_are_not_seen_are_left_out():
    assert forms.words("a\x00b\x1b[2J\u202ec\u200b\n d", what="x") == "a b [2J c d"
    assert forms.optional("\u202e\x07") is None


@pytest.mark.parametrize(
    "text",
    ["a." * 20_000 + "b = 1", "a = 1\n" * 20_000, f"notes = {json.dumps('x' * 3_000)}"],
    ids=["dots", "lines", "words"],
)
def test_an_endless_file_is_refused_at_once(text):
    # A key of 20,000 parts takes the reader of TOML their square: half a minute.
    begun = time.perf_counter()
    with pytest.raises(UnreadableError, match="x: not valid TOML"):
        Table.of_text(text, where="x")
    assert time.perf_counter() - begun < 1.0


def test_a_long_text_of_a_file_is_refused():
    table = Table.of_text('notes = """' + "x\n" * 1_001 + '"""', where="x")
    with pytest.raises(UnreadableError, match="2000 characters at most"):
        table.text("notes")


# --- sessions and guesses -------------------------------------------------------------------------


def test_another_page_can_not_push_out_the_session_of_this_computer(local):
    local.get("/")
    mine = local.cookies[COOKIE]
    local.cookies.clear()
    for _ in range(5):
        answer = local.get("/", headers={"sec-fetch-site": "cross-site", "sec-fetch-dest": "image"})
        assert "set-cookie" not in answer.headers
    led_here = local.get(
        "/", headers={"sec-fetch-site": "cross-site", "sec-fetch-dest": "document"}
    )
    assert "set-cookie" in led_here.headers
    assert local.get("/api/jobs", headers={"cookie": f"{COOKIE}={mine}"}).status_code == 200


def test_one_address_pushes_out_its_own_sessions_only():
    sessions = Sessions()
    mine = sessions.begin(address="192.0.2.1")
    theirs = [sessions.begin(address="192.0.2.2") for _ in range(300)]
    assert sessions.find(mine.id) is not None
    assert sum(sessions.find(one.id) is not None for one in theirs) == 200


def test_the_session_seen_last_stays():
    sessions = Sessions()
    mine = sessions.begin(address="192.0.2.1")
    for _ in range(300):
        assert sessions.find(mine.id) is not None
        sessions.begin(address="192.0.2.1")
    assert sessions.find(mine.id) is not None


def test_a_new_pass_phrase_ends_every_session(tablet, token_of, shop, pass_phrase):
    form = {"csrf_token": token_of(tablet, "/sign-in"), "pass_phrase": pass_phrase}
    tablet.post("/sign-in", data=form)
    assert tablet.get("/").status_code == 200
    with open_store(shop) as store:
        phrase.keep(store, "another one of twelve")
    assert tablet.get("/").status_code == 303
    assert tablet.get("/api/jobs").status_code == 401


def test_guessers_shut_out_neither_this_computer_nor_a_browser_that_signed_in():
    tries = Tries(clock=lambda: 1000.0)
    assert tries.begin("192.0.2.1") == 0
    known = tries.succeeded("192.0.2.1")
    for number in range(60):
        tries.begin(f"198.51.100.{number}")
    assert tries.begin("203.0.113.1") > 0
    assert tries.begin("203.0.113.1", known) == 0
    assert tries.begin("203.0.113.1", known[:-1]) > 0
    for here in ("127.0.0.1", "::1", "::ffff:127.0.0.1"):
        assert tries.begin(here) == 0
    # Whoever stole the cookie guesses no faster than others.
    assert [tries.begin("192.0.2.9", known) > 0 for _ in range(6)] == [False] * 4 + [True] * 2


@pytest.mark.parametrize(("words", "why"), [("eleven char", "12"), ("x" * 129, "128")])
def test_a_pass_phrase_has_twelve_to_128_characters(shop, words, why):
    # ASVS 2.1.1, 2.1.2
    with open_store(shop) as store:
        with pytest.raises(UsageError, match=why):
            phrase.keep(store, words)
        phrase.keep(store, "twelve chars")
        phrase.keep(store, "x" * 128)


# --- slow clients ---------------------------------------------------------------------------------


async def plain(scope, receive, send):
    """Read a body, then answer with something large."""
    while (await receive()).get("more_body"):
        pass
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": bytes(20_000_000)})


@contextmanager
def patiently_served():
    bound = socket.create_server(("127.0.0.1", 0))
    config = uvicorn.Config(
        plain, http=patience.Patient, ws="none", log_level="error", lifespan="off"
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=lambda: asyncio.run(server.serve(sockets=[bound])))
    thread.start()
    try:
        while not server.started:
            time.sleep(0.01)
        yield bound.getsockname()
    finally:
        server.should_exit = server.force_exit = True
        thread.join()


@pytest.mark.parametrize(
    ("sent", "is_read"),
    [
        (b"", True),
        (b"GET / HTTP/1.1\r\nX: ", True),
        (b"PUT / HTTP/1.1\r\nHost: x\r\nContent-Length: 9\r\n\r\na", True),
        (b"GET / HTTP/1.1\r\nHost: x\r\n\r\n", False),
    ],
    ids=["silent", "head", "body", "answer"],
)
def test_a_client_that_stops_in_the_middle_is_hung_up_on(monkeypatch, sent, is_read):
    monkeypatch.setattr(patience, "HEAD_S", 0.3)
    monkeypatch.setattr(patience, "SILENCE_S", 0.3)
    with patiently_served() as place, socket.socket() as line:
        line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4_096)
        line.connect(place)
        line.sendall(sent)
        if not is_read:
            time.sleep(1.5)
        line.settimeout(3.0)
        came = 0
        try:
            while part := line.recv(65_536):
                came += len(part)
        except ConnectionError:
            pass
        assert came < 20_000_000


def test_a_body_that_ends_in_noise_is_refused_and_fills_no_log(caplog):
    head = b"PUT / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\n"
    with patiently_served() as place, socket.create_connection(place, timeout=3.0) as line:
        line.sendall(head)
        time.sleep(0.2)
        line.sendall(b"zz\r\n")
        assert line.recv(100).startswith(b"HTTP/1.1 400")
        time.sleep(0.2)
    assert "Traceback" not in caplog.text


# --- some of the attacks --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def attacked(filled, tmp_path_factory):
    """Two servers in processes of their own: for this computer alone, and for others."""
    folder = tmp_path_factory.mktemp("attacked")
    shops = [shutil.copytree(filled, folder / name) for name in ("local", "shared")]
    with serving(shops[0], signs_in=False) as local, serving(shops[1], signs_in=True) as shared:
        yield local, shared


@pytest.mark.parametrize(
    "attack",
    [
        network_access.keys,
        network_access.other_sites,
        network_paths.methods,
        network_paths.headers_of_answers,
        lambda *servers: malformed(*servers, wait_s=0.3),
        lambda _, shared: network_access.sessions(shared),
        lambda _, shared: network_access.guessing(shared, tries=8),
        network_paths.logs,
    ],
)
def test_an_attack_does_not_get_through(attacked, attack):
    outcome = attack(*attacked)
    assert outcome.tried > 0
    assert outcome.through == 0, outcome
