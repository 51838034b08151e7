"""Attacks on who may do what: names, other sites, sessions, keys, and the pass-phrase."""

from __future__ import annotations

import statistics
import time
from typing import TYPE_CHECKING, Final

import httpx2
from fastapi.routing import APIRoute

from attacks.network_server import (
    PHRASE,
    Served,
    Tally,
    Visitor,
    program,
    said_raw,
    visitor,
)
from attacks.outcome import Outcome
from crankwise.store import open_store
from crankwise.web.access import phrase
from crankwise.web.app import create_app
from crankwise.web.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Iterator

FORGED: Final = (
    "else.example",
    "else.example:8720",
    "127.0.0.1.else.example",
    "localhost.else.example",
    "localhost@else.example",
    "else.example@localhost",
    "0.0.0.0",  # noqa: S104  asked for, not bound
    "127.1",
    "2130706433",
    "0x7f.0.0.1",
    "017700000001",
    "[::ffff:7f00:1]x",
    "localhost,else.example",
    "localhost else.example",
    "shop.example.else.example",
    "xn--shp-2na.example",
    "[",
    "]",
    "",
    "[::1",
    "\u2160ocalhost",
    "192.0.2.9",
    "else.example#localhost",
    "else.example/localhost",
)
ELSEWHERE: Final = (
    "//else.example",
    "///else.example",
    "/\\else.example",
    "\\\\else.example",
    "\\/else.example",
    "https://else.example",
    "https:else.example",
    "http:/else.example",
    "javascript:alert(1)",
    "data:text/html,x",
    "/\t/else.example",
    "/\n/else.example",
    "\t//else.example",
    " //else.example",
    "/%09/else.example",
    "/%5celse.example",
    "/%2f%2felse.example",
    "//else.example/%2f..",
    "/\u200b/else.example",
    "//else%2eexample",
    "/..//else.example",
    "x",
    "",
    "?next=//else.example",
    "/a\r\nSet-Cookie: x=y",
    "/\x00//else.example",
    "@else.example",
)
FILLED: Final = {
    "job_id": "2",
    "visit_id": "2",
    "upload_id": "0" * 32,
    "sha256": "0" * 64,
    "name": "tarn-t20",
    "known_good_id": "0" * 16,
    "identifier": "0" * 16,
    "work_id": "x",
    "number": "1",
    "measurement_id": "1",
    "comparison_id": "1",
    "form": "pdf",
}


def routes() -> Iterator[tuple[str, str]]:
    """Yield every method and path of the server, ids filled in."""
    app = create_app(Settings())
    app.openapi()
    pending = list(app.router.routes)
    while pending:
        route = pending.pop(0)
        inner = getattr(route, "original_router", None)
        if inner is not None:
            pending.extend(inner.routes)
        if isinstance(route, APIRoute):
            for method in sorted(route.methods or ()):
                yield method, route.path


def filled(path: str) -> str:
    """Put ids into a path."""
    for name, value in FILLED.items():
        path = path.replace(f"{{{name}}}", value)
    return path


def forged_names(local: Served, shared: Served) -> Outcome:
    """Ask under names that are not the server's (DNS rebinding), and forward others."""
    tally = Tally()
    for served in (local, shared):
        for host in FORGED:
            for path in ("/", "/sign-in", "/api/health", "/api/jobs", "/static/css/app.css"):
                asked = f"GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"
                heard = said_raw(served, asked.encode()).lower()
                refused = heard.startswith((b"http/1.1 421", b"http/1.1 400"))
                tally.note((host, path, heard[:60]), held=refused and b"set-cookie" not in heard)
        for name in ("x-forwarded-host", "forwarded", "x-host", "x-original-url", "x-rewrite-url"):
            for path in ("/sign-in", "/", "/nothing", "/api/openapi.json"):
                with Visitor(served).client as client:
                    answer = client.get(path, headers={name: "host=else.example"})
                told = answer.text + str(dict(answer.headers))
                tally.note((name, path), held="else.example" not in told)
    return Outcome(
        "forged hosts and forwarded names",
        tally.tried,
        len(tally.through),
        "refused as misdirected; no link is made from the name asked by",
    )


def other_sites(local: Served, shared: Served) -> Outcome:
    """Ask for every change as a page of another site can, in a session of ours."""
    tally = Tally()
    changes = [(method, filled(path)) for method, path in routes() if method != "GET"]
    for served in (local, shared):
        mine, another = visitor(served), visitor(served)
        foreign: tuple[tuple[str, dict[str, str]], ...] = (
            ("no token", {}),
            ("empty token", {"x-csrf-token": ""}),
            ("token of another session", {"x-csrf-token": another.token}),
            ("foreign origin", {"x-csrf-token": mine.token, "origin": "http://else.example"}),
            ("no origin", {"x-csrf-token": mine.token, "origin": "null"}),
            ("another port", {"x-csrf-token": mine.token, "origin": "http://127.0.0.1:1"}),
            ("cross-site", {"x-csrf-token": mine.token, "sec-fetch-site": "cross-site"}),
            ("same site", {"x-csrf-token": mine.token, "sec-fetch-site": "same-site"}),
            ("plain text", {"content-type": "text/plain"}),
            ("form", {"content-type": "application/x-www-form-urlencoded"}),
            ("parts", {"content-type": "multipart/form-data; boundary=x"}),
            ("other method", {"x-http-method-override": "GET", "x-method-override": "GET"}),
        )
        for method, path in changes:
            for what, headers in foreign:
                answer = mine.client.request(method, path, content=b'{"text":"x"}', headers=headers)
                held = answer.status_code in {400, 401, 403} and "location" not in answer.headers
                tally.note((what, method, path, answer.status_code), held=held)
        tally.note("the session outlives it", held=mine.client.get("/api/jobs").status_code == 200)
    return Outcome(
        "changes asked for by other sites",
        tally.tried,
        len(tally.through),
        f"{len(changes)} addresses that change something, 12 ways each",
    )


def sessions(shared: Served) -> Outcome:
    """Plant, steal, keep and invent sessions."""
    tally = Tally()
    cookie = f"crankwise-{shared.port}"

    def is_in(identifier: str) -> bool:
        with Visitor(shared).client as client:
            answer = client.get("/api/jobs", headers={"cookie": f"{cookie}={identifier}"})
            return answer.status_code == 200

    one = Visitor(shared)
    one.open("/sign-in")
    before = one.client.cookies[cookie]
    answer = one.sign_in()
    given = [
        text for text in answer.headers.get_list("set-cookie") if text.startswith(f"{cookie}=")
    ]
    after = one.client.cookies[cookie]
    tally.note("a new id at sign-in", held=after != before and not is_in(before) and is_in(after))
    flags = given[0].lower()
    tally.note(("flags", flags), held="httponly" in flags and "samesite=lax" in flags)
    planted = Visitor(shared)
    planted.client.cookies.set(cookie, "planted", domain="127.0.0.1")
    planted.sign_in()
    tally.note("an id planted before", held=not is_in("planted"))
    one.post("/sign-out")
    tally.note("stolen, used after signing out", held=not is_in(after))
    old = one.token
    one.sign_in()
    answer = one.client.put("/api/profile", json={"name": "x"}, headers={"x-csrf-token": old})
    tally.note("token of the session before", held=answer.status_code == 403)
    stolen = one.client.cookies[cookie]
    with open_store(shared.shop) as store:
        phrase.keep(store, "another one for now")
        tally.note("after a new pass-phrase", held=not is_in(stolen))
        phrase.keep(store, PHRASE)
    tally.note("after the old one came back", held=not is_in(stolen))
    for invented in ("", "x", "0" * 43, "'", "../", "%00", "a" * 10_000, stolen[:-1], stolen + "x"):
        tally.note(f"invented {invented[:20]!r}", held=not is_in(invented))
    return Outcome(
        "sessions planted, stolen, kept, invented",
        tally.tried,
        len(tally.through),
        "a new id at sign-in; ended by sign-out and by a new pass-phrase",
    )


def keys(local: Served, shared: Served) -> Outcome:
    """Bring wrong keys, withdrawn ones, and right ones in the wrong place."""
    tally = Tally()
    for served in (local, shared):
        with open_store(served.shop) as store:
            withdrawn = store.shop.add_key("withdrawn")
            store.shop.withdraw_key("withdrawn")
        key = served.key
        wrong = (
            "",
            "x",
            key[:-1],
            key + "x",
            key.swapcase(),
            key[::-1],
            withdrawn,
            f"{key},{key}",
            "null",
            "undefined",
            "*",
            "' or 1=1 --",
            "\u00e9" * 43,
        )
        headers: list[dict[bytes, bytes]] = [
            {b"authorization": f"{kind} {value}".strip().encode()}
            for value in wrong
            for kind in ("Bearer", "bearer", "BEARER")
        ]
        headers += [
            {b"authorization": value.encode()}
            for value in (key, f"Basic {key}", f"Token {key}", f"Bearer: {key}", f"Bearer={key}")
        ]
        headers += [{b"x-api-key": key.encode()}, {b"cookie": f"key={key}".encode()}]
        headers += [{b"cookie": f"crankwise-{served.port}={key}".encode()}]
        with httpx2.Client(base_url=served.address, trust_env=False) as client:
            client.headers["host"] = served.host
            for header in headers:
                answer = client.get("/api/jobs", headers=header)
                tally.note(header, held=answer.status_code == 401)
            for name in ("key", "token", "access_token", "api_key", "authorization"):
                answer = client.get(f"/api/jobs?{name}={key}")
                tally.note(f"in the address as {name}", held=answer.status_code == 401)
        with program(served) as client:
            if served is shared:
                for path in ("/", "/workshop", "/visits/1", "/visits/1/report.pdf"):
                    opened = client.get(path).status_code
                    tally.note(f"a page by key: {path}", held=opened == 303)
            tally.note("the right key", held=client.get("/api/jobs").status_code == 200)
    return Outcome(
        "keys wrong, withdrawn, misplaced",
        tally.tried,
        len(tally.through),
        "401; no key is taken from an address, a cookie or for a page",
    )


def guessing(shared: Served, *, tries: int) -> Outcome:
    """Guess the pass-phrase from one address and from many, while others want to sign in."""
    tally = Tally()
    known = Visitor(shared, address="203.0.113.9")
    known.sign_in()
    near, far = _timed(shared)
    ratio = statistics.median(near) / statistics.median(far)
    tally.note(f"time tells how near a guess is: {ratio:.2f}", held=0.6 < ratio < 1.7)
    one = Visitor(shared, address="198.51.100.1")
    judged = [one.sign_in(f"a guess of {number}").status_code for number in range(tries)]
    tally.tried += tries
    tally.note(f"{judged.count(401)} guesses from one address", held=judged.count(401) <= 5)
    judged = []
    for number in range(tries):
        many = Visitor(shared, address=f"203.0.{number % 250}.{1 + number // 250}")
        judged.append(many.sign_in(f"a guess of {number}").status_code)
        many.client.close()
    tally.tried += tries
    tally.note(f"{judged.count(401)} guesses from many", held=judged.count(401) <= 45)
    for whose, visited in (
        ("this computer", Visitor(shared)),
        ("a browser that signed in before", known),
    ):
        answer = visited.sign_in()
        tally.note(f"{whose} shut out: {answer.status_code}", held=answer.status_code == 303)
    seen = (
        f"5 guesses from one address, {judged.count(401)} of {tries} from many addresses; "
        f"a near and a far guess take equally long ({ratio:.2f}); nobody here is shut out"
    )
    return Outcome("pass-phrase guessed", tally.tried, len(tally.through), seen)


def _timed(shared: Served) -> tuple[list[float], list[float]]:
    """Seconds of tries with a guess that is nearly right, and with one that is not, in turns."""
    seconds: tuple[list[float], list[float]] = ([], [])
    for number in range(14):
        one = Visitor(shared, address=f"192.0.2.{number}")
        one.open("/sign-in")
        guess = "quite another one of it" if number % 2 else PHRASE[:-1] + "x"
        begun = time.perf_counter()
        one.post("/sign-in", pass_phrase=guess)
        seconds[number % 2].append(time.perf_counter() - begun)
        one.client.close()
    return seconds


def led_away(shared: Served) -> Outcome:
    """Try to be led to another site after signing in, choosing a language, or a form."""
    tally = Tally()
    one = Visitor(shared)
    signed_in = visitor(shared)
    for wanted in ELSEWHERE:
        found = [
            one.client.get("/sign-in", params={"next": wanted}).text.partition('name="goes_to"')[2],
            signed_in.client.get("/sign-in", params={"next": wanted}).headers.get("location", "/"),
            signed_in.post("/language", language="en", back=wanted).headers.get("location", "/"),
        ]
        fresh = Visitor(shared)
        fresh.open("/sign-in")
        answer = fresh.post("/sign-in", pass_phrase=PHRASE, goes_to=wanted)
        found.append(answer.headers.get("location", "/"))
        fresh.client.close()
        value = found[0].partition('value="')[2].partition('"')[0]
        for address in (value, *found[1:]):
            tally.note((wanted, address), held=_stays(address))
        tally.note((wanted, "headers"), held="x=y" not in str(answer.headers))
    return Outcome(
        "led to another site",
        tally.tried,
        len(tally.through),
        "every address to go to is one of this server",
    )


def _stays(address: str) -> bool:
    r"""Whether a browser that is here stays here (WHATWG URL: tabs drop out, \ is /)."""
    plain = "".join(char for char in address if char not in "\t\r\n").replace("\\", "/").strip()
    return plain.startswith("/") and not plain.startswith("//")
