"""Attacks below the pages: malformed HTTP, bodies of the wrong type or without an end."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from typing import Final

import httpx2
import numpy as np

from attacks.network_load import MB, OTHERS_WAIT_S, watch_others
from attacks.network_server import Served, Tally, leaks, program, said_raw, visitor
from attacks.outcome import Outcome

HARMLESS: Final = {
    "no such version", "the other protocol", "another site's address", "an asterisk",
}  # fmt: skip
"""Answered like any other request, for what is asked for is this server's."""


def malformed(local: Served, shared: Served, *, wait_s: float = 1.5) -> Outcome:
    """Send what is no proper HTTP: smuggled requests, broken chunks, floods of headers.

    Each answer has ``wait_s`` seconds to come; a server may also wait for more, and say nothing.
    """
    tally = Tally()
    for served in (local, shared):
        for what, data in _malformed(served):
            heard = said_raw(served, data, wait_s=wait_s)
            answers = heard.count(b"HTTP/1.1 ")
            is_refused = not heard or heard.startswith((b"HTTP/1.1 4", b"HTTP/1.1 501"))
            is_refused = (is_refused and answers <= 1) or what in HARMLESS
            held = (
                is_refused and b" 500 " not in heard and not leaks(heard.decode("latin-1"), served)
            )
            tally.note((what, heard[:80]), held=held)
        is_well = httpx2.get(f"{served.address}/api/health", trust_env=False).status_code == 200
        tally.note("it is well afterwards", held=is_well)
    return Outcome(
        "malformed HTTP",
        tally.tried,
        len(tally.through),
        "refused with one answer, or hung up on; no second request is seen",
    )


def _malformed(served: Served) -> Iterator[tuple[str, bytes]]:
    host = f"Host: {served.host}\r\n".encode()
    put = b"PUT /api/profile HTTP/1.1\r\n" + host
    hidden = b"GET /api/health HTTP/1.1\r\n" + host + b"\r\n"
    for name, lines in {
        "length and chunks": b"Content-Length: 4\r\nTransfer-Encoding: chunked\r\n",
        "chunks and length": b"Transfer-Encoding: chunked\r\nContent-Length: 400\r\n",
        "two lengths": b"Content-Length: 4\r\nContent-Length: 400\r\n",
        "lengths in one": b"Content-Length: 4, 400\r\n",
        "negative length": b"Content-Length: -1\r\n",
        "signed length": b"Content-Length: +4\r\n",
        "length in hex": b"Content-Length: 0x4\r\n",
        "endless length": b"Content-Length: " + b"9" * 400 + b"\r\n",
        "unknown coding": b"Transfer-Encoding: xchunked\r\n",
        "coding twice": b"Transfer-Encoding: chunked\r\nTransfer-Encoding: identity\r\n",
        "coding with a blank": b"Transfer-Encoding : chunked\r\n",
        "coding with a tab": b"Transfer-Encoding:\x0bchunked\r\n",
        "coding gzip": b"Transfer-Encoding: gzip, chunked\r\n",
    }.items():
        yield name, put + lines + b"\r\n0\r\n\r\n" + hidden
    for name, body in {
        "chunk size no number": b"zz\r\nabc\r\n",
        "chunk size negative": b"-1\r\nabc\r\n",
        "chunk size endless": b"f" * 400 + b"\r\n",
        "chunk size too large": b"ffffffffffffffff\r\nabc\r\n0\r\n\r\n",
        "chunk size with blanks": b"0 0 0\r\n\r\n",
        "chunk without an end": b"3\r\nabcdef\r\n0\r\n\r\n",
        "chunk notes endless": b"3;" + b"x" * 200_000 + b"\r\nabc\r\n0\r\n\r\n",
    }.items():
        yield name, put + b"Transfer-Encoding: chunked\r\n\r\n" + body + hidden
    get = b"GET / HTTP/1.1\r\n"
    yield "1 MB of headers", get + host + b"X-A: b\r\n" * 140_000 + b"\r\n"
    yield "one header of 1 MB", get + host + b"X-A: " + b"b" * MB + b"\r\n\r\n"
    yield "address of 1 MB", b"GET /" + b"a" * MB + b" HTTP/1.1\r\n" + host + b"\r\n"
    yield "cookie of 1 MB", get + host + b"Cookie: " + b"a=b; " * 200_000 + b"\r\n\r\n"
    yield "no name", get + b"\r\n"
    yield "two names", get + host + b"Host: else.example\r\n\r\n"
    yield "name folded", get + b"Host:\r\n " + served.host.encode() + b"x\r\n\r\n"
    yield "no such version", b"GET / HTTP/9.9\r\n" + host + b"\r\n"
    yield "no version", b"GET /\r\n\r\n"
    yield "the other protocol", b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"
    yield "encrypted", b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(300)
    yield "nothing but ends of lines", b"\r\n" * 5_000
    yield "NUL in the address", b"GET /\x00 HTTP/1.1\r\n" + host + b"\r\n"
    yield "NUL in a header", get + host + b"X: a\x00b\r\n\r\n"
    yield "blank in the address", b"GET /a b HTTP/1.1\r\n" + host + b"\r\n"
    yield "line feeds alone", b"GET / HTTP/1.1\nHost: else.example\n\n"
    yield "carriage return in a header", get + host + b"X: a\rSet-Cookie: b=c\r\n\r\n"
    yield "another site's address", b"GET http://else.example/ HTTP/1.1\r\n" + host + b"\r\n"
    yield "through it to another", b"CONNECT else.example:443 HTTP/1.1\r\n" + host + b"\r\n"
    yield "an asterisk", b"OPTIONS * HTTP/1.1\r\n" + host + b"\r\n"
    yield (
        "a socket of another kind",
        (
            b"GET /api/works HTTP/1.1\r\n" + host + b"Upgrade: websocket\r\nConnection: Upgrade\r\n"
            b"Origin: http://else.example\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n"
            b"Sec-WebSocket-Version: 13\r\n\r\n"
        ),
    )
    chance = np.random.default_rng(3)
    for number in range(100):
        yield f"noise {number}", chance.bytes(int(chance.integers(1, 2_000))) + b"\r\n\r\n"


def wrong_types(local: Served) -> Outcome:
    """Send every kind of body to every operation under every wrong content type."""
    tally = Tally()
    types = (
        "text/plain",
        "text/html",
        "application/xml",
        "application/x-www-form-urlencoded",
        "multipart/form-data",
        "multipart/form-data; boundary=",
        "image/png",
        "",
        "x",
        "application/json; charset=utf-7",
        "application/json;" * 300,
    )
    bodies = (
        b"",
        b"{",
        b"[]",
        b"null",
        b'"x"',
        b"\xff\xfe{\x00",
        b"<a/>",
        b"--\r\n",
        b"a=b&" * 99,
        b"[" * 50_000,
        b'{"text":' + b"1" * 6_000 + b"}",
        b'{"a":1,"a":2}',
        b"NaN",
    )
    with program(local) as client:
        described = client.get("/api/openapi.json").json()
        asked = [
            (method, path.replace("{name}", "own"))
            for path, methods in described["paths"].items()
            for method in methods
            if method in {"post", "put"} and path != "/api/uploads"
        ]
        for method, path in asked:
            where = "/".join("1" if part.startswith("{") else part for part in path.split("/"))
            for kind in types:
                for body in bodies:
                    answer = client.request(
                        method, where, content=body, headers={"content-type": kind}
                    )
                    held = 400 <= answer.status_code < 500 and not leaks(answer.text, local)
                    # The profile has no field that must be there: {} would be one.
                    tally.note((method, where, kind, body[:20], answer.status_code), held=held)
    return Outcome(
        "wrong types of bodies", tally.tried, len(tally.through), "each refused in one line"
    )


def oversize(local: Served, shared: Served) -> Outcome:
    """Send more than is taken: said so, not said, in chunks, and forms without an end."""
    tally = Tally()
    said = (
        (local, "/api/profile", "PUT", 9 * MB),
        (local, "/api/uploads?name=x.csv", "PUT", 10**13),
        (shared, "/sign-in", "POST", MB),
        (shared, "/language", "POST", MB),
    )
    for served, path, method, size in said:
        head = (
            f"{method} {path} HTTP/1.1\r\nHost: {served.host}\r\nContent-Length: {size}\r\n"
            f"Authorization: Bearer {served.key}\r\n\r\n"
        ).encode()
        heard = said_raw(served, head, wait_s=3.0)
        tally.note(
            (path, "said", heard[:60]), held=heard.startswith((b"HTTP/1.1 413", b"HTTP/1.1 403"))
        )
    with program(local) as client:
        for path in ("/api/profile", "/api/jobs", "/api/policy", "/api/engines/own"):
            method = "POST" if path == "/api/jobs" else "PUT"
            answer = client.request(
                method,
                path,
                content=iter([b'{"a":"'] + [b"x" * MB] * 9),
                headers={"content-type": "application/json"},
            )
            tally.note((path, "in chunks", answer.status_code), held=answer.status_code == 413)
    for served in (local, shared):
        one = visitor(served)
        one.open("/sign-in" if served is shared else "/")
        for body in (
            b"&" * 7 * MB,
            b"a=&" * 2 * MB,
            b"a" * 7 * MB,
            b"%" * 7 * MB,
            b"a=" + b"+" * 7 * MB,
        ):
            begun = time.perf_counter()
            others: list[float] = []
            watch = threading.Thread(target=watch_others, args=(served, others))
            watch.start()
            with suppress(httpx2.TransportError):  # hung up before all was sent
                answer = one.client.post(
                    "/sign-out",
                    content=body,
                    headers={"content-type": "application/x-www-form-urlencoded"},
                )
                tally.note(
                    (body[:4], answer.status_code), held=answer.status_code in {400, 403, 413}
                )
            watch.join()
            took = time.perf_counter() - begun
            tally.note(
                (body[:4], "others wait", max(others), took), held=max(others) < OTHERS_WAIT_S
            )
    return Outcome(
        "bodies too large, forms without end",
        tally.tried,
        len(tally.through),
        f"413; meanwhile others are answered within {OTHERS_WAIT_S:g} s",
    )
