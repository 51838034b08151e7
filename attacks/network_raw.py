"""Attacks below the pages: malformed HTTP, wrong and endless bodies, slow clients, many uploads."""

from __future__ import annotations

import gzip
import hashlib
import io
import json
import random
import socket
import threading
import time
import zipfile
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing, suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import httpx2

from attacks.network_server import Served, Tally, leaks, program, said_raw, visitor
from attacks.outcome import Outcome

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

MB: Final = 1_000_000
MOST_UPLOAD_GROWTH_MB: Final = 250.0
OTHERS_WAIT_S: Final = 2.0
HARMLESS: Final = {"no such version", "the other protocol", "another site's address"}
"""Answered like any other request, for what is asked for is this server's."""


def malformed(local: Served, shared: Served) -> Outcome:
    """Send what is no proper HTTP: smuggled requests, broken chunks, floods of headers."""
    tally = Tally()
    for served in (local, shared):
        for what, data in _malformed(served):
            heard = said_raw(served, data, wait_s=1.5)
            answers = heard.count(b"HTTP/1.1 ")
            is_refused = not heard or heard.startswith((b"HTTP/1.1 4", b"HTTP/1.1 501"))
            is_refused = is_refused and answers <= 1 or what in HARMLESS
            held = is_refused and b" 500 " not in heard and not leaks(heard.decode("latin-1"), served)
            tally.note((what, heard[:80]), held=held)
        is_well = httpx2.get(f"{served.address}/api/health", trust_env=False).status_code == 200
        tally.note("it is well afterwards", held=is_well)
    return Outcome("malformed HTTP", tally.tried, len(tally.through),
                   "refused with one answer, or hung up on; no second request is seen")  # fmt: skip


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
    yield "a socket of another kind", (
        b"GET /api/works HTTP/1.1\r\n" + host + b"Upgrade: websocket\r\nConnection: Upgrade\r\n"
        b"Origin: http://else.example\r\nSec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==\r\n"
        b"Sec-WebSocket-Version: 13\r\n\r\n"
    )
    chance = random.Random(3)
    for number in range(100):
        yield f"noise {number}", chance.randbytes(chance.randrange(1, 2_000)) + b"\r\n\r\n"


def wrong_types(local: Served) -> Outcome:
    """Send every kind of body to every operation under every wrong content type."""
    tally = Tally()
    types = ("text/plain", "text/html", "application/xml", "application/x-www-form-urlencoded",
             "multipart/form-data", "multipart/form-data; boundary=", "image/png", "", "x",
             "application/json; charset=utf-7", "application/json;" * 300)  # fmt: skip
    bodies = (b"", b"{", b"[]", b"null", b'"x"', b"\xff\xfe{\x00", b"<a/>", b"--\r\n", b"a=b&" * 99,
              b"[" * 50_000, b'{"text":' + b"1" * 6_000 + b"}", b'{"a":1,"a":2}', b"NaN")  # fmt: skip
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
                    answer = client.request(method, where, content=body,
                                            headers={"content-type": kind})  # fmt: skip
                    held = 400 <= answer.status_code < 500 and not leaks(answer.text, local)
                    # The profile has no field that must be there: {} would be one.
                    tally.note((method, where, kind, body[:20], answer.status_code), held=held)
    return Outcome("wrong types of bodies", tally.tried, len(tally.through),
                   "each refused in one line")  # fmt: skip


def oversize(local: Served, shared: Served) -> Outcome:
    """Send more than is taken: said so, not said, in chunks, and forms without an end."""
    tally = Tally()
    said = ((local, "/api/profile", "PUT", 9 * MB), (local, "/api/uploads?name=x.csv", "PUT", 10**13),
            (shared, "/sign-in", "POST", MB), (shared, "/language", "POST", MB))  # fmt: skip
    for served, path, method, size in said:
        head = (f"{method} {path} HTTP/1.1\r\nHost: {served.host}\r\nContent-Length: {size}\r\n"
                f"Authorization: Bearer {served.key}\r\n\r\n").encode()  # fmt: skip
        heard = said_raw(served, head, wait_s=3.0)
        tally.note((path, "said", heard[:60]), held=heard.startswith((b"HTTP/1.1 413", b"HTTP/1.1 403")))
    with program(local) as client:
        for path in ("/api/profile", "/api/jobs", "/api/policy", "/api/engines/own"):
            method = "POST" if path == "/api/jobs" else "PUT"
            answer = client.request(method, path, content=iter([b'{"a":"'] + [b"x" * MB] * 9),
                                    headers={"content-type": "application/json"})  # fmt: skip
            tally.note((path, "in chunks", answer.status_code), held=answer.status_code == 413)
    for served in (local, shared):
        one = visitor(served)
        one.open("/sign-in" if served is shared else "/")
        for body in (b"&" * 7 * MB, b"a=&" * 2 * MB, b"a" * 7 * MB, b"%" * 7 * MB, b"a=" + b"+" * 7 * MB):
            begun = time.perf_counter()
            others: list[float] = []
            watch = threading.Thread(target=_watch, args=(served, others))
            watch.start()
            with suppress(httpx2.TransportError):  # hung up before all was sent
                answer = one.client.post("/sign-out", content=body,
                    headers={"content-type": "application/x-www-form-urlencoded"})  # fmt: skip
                tally.note((body[:4], answer.status_code), held=answer.status_code in {400, 403, 413})
            watch.join()
            took = time.perf_counter() - begun
            tally.note((body[:4], "others wait", max(others), took), held=max(others) < OTHERS_WAIT_S)
    return Outcome("bodies too large, forms without end", tally.tried, len(tally.through),
                   f"413; meanwhile others are answered within {OTHERS_WAIT_S:g} s")  # fmt: skip


def _watch(served: Served, seconds: list[float]) -> None:
    """Ask whether the server is well a few times; notes how long each answer takes."""
    for _ in range(5):
        begun = time.perf_counter()
        with suppress(httpx2.HTTPError):
            httpx2.get(f"{served.address}/api/health", trust_env=False, timeout=60)
        seconds.append(time.perf_counter() - begun)
        time.sleep(0.05)


def bombs(local: Served) -> Outcome:
    """Send small files that would become large, as recordings and as known-goods."""
    tally = Tally()
    peak = _Peak(local)
    with peak, program(local) as client:
        client.timeout = 120.0
        for name, data in _bombs():
            sent = client.put("/api/uploads", params={"name": name}, content=data).json()["id"]
            answer = client.post("/api/imports/known-goods", json={"upload": sent})
            refused = answer.status_code == 415 or not answer.json().get("added")
            tally.note((name, "import", answer.status_code), held=refused and not leaks(answer.text, local))
            sent = client.put("/api/uploads", params={"name": name}, content=data).json()["id"]
            answer = client.post("/api/visits/1/recordings", json={"uploads": [sent]})
            state = answer.json()
            for _ in range(600):
                if answer.status_code != 202 or state["state"] in {"done", "failed"}:
                    break
                time.sleep(0.1)
                state = client.get(f"/api/works/{state['id']}").json()
            tally.note((name, "recording", state), held=answer.status_code == 415 or state["state"] == "failed")
    tally.note(("memory", peak.grown_mb), held=peak.grown_mb < 500)
    return Outcome("packed files that grow", tally.tried, len(tally.through),
                   f"each refused in one line; memory grew by {peak.grown_mb:.0f} MB")  # fmt: skip


def _bombs() -> Iterator[tuple[str, bytes]]:
    zeros = b"Time,a\n" + b"0" * (100 * MB)
    many = io.BytesIO()
    with zipfile.ZipFile(many, "w", zipfile.ZIP_DEFLATED) as bundle:
        for number in range(10):
            bundle.writestr(f"{number:016x}.json", zeros)
    yield "known-goods.zip", many.getvalue()
    yield "van.csv.gz", gzip.compress(zeros)
    names = io.BytesIO()
    with zipfile.ZipFile(names, "w") as bundle:
        for name in ("../../x.json", "/etc/x.json", "C:\\x.json", "a/../../x.csv", "x\x00.json", "con.csv"):
            bundle.writestr(name, b"{}")
    yield "names.zip", names.getvalue()
    inner = many.getvalue()
    for _ in range(3):
        outer = io.BytesIO()
        with zipfile.ZipFile(outer, "w", zipfile.ZIP_DEFLATED) as bundle:
            bundle.writestr("inner.zip", inner)
        inner = outer.getvalue()
    yield "nested.zip", inner


@dataclass(slots=True)
class _Peak:
    """Watches how far the server's memory grows."""

    served: Served
    grown_mb: float = 0.0
    _done: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    def __enter__(self) -> None:
        before = self.served.process.memory_info().rss

        def watch() -> None:
            while not self._done.wait(0.02):
                grown = (self.served.process.memory_info().rss - before) / MB
                self.grown_mb = max(self.grown_mb, grown)

        self._thread = threading.Thread(target=watch)
        self._thread.start()

    def __exit__(self, *_: object) -> None:
        self._done.set()
        if self._thread is not None:
            self._thread.join()


def slow_clients(local: Served, *, count: int) -> Outcome:
    """Let many clients send or read a little at a time; others must not notice."""
    tally = Tally()
    key = f"Host: {local.host}\r\nAuthorization: Bearer {local.key}\r\n".encode()
    kinds: dict[str, bytes] = {
        "slow headers": b"GET /api/jobs HTTP/1.1\r\n" + key,
        "slow form": b"POST /sign-out HTTP/1.1\r\n" + key + b"Content-Type: "
        b"application/x-www-form-urlencoded\r\nContent-Length: 5000\r\n\r\na=",
        "slow document": b"PUT /api/profile HTTP/1.1\r\n" + key + b"Content-Length: 5000\r\n\r\n{",
        "slow upload": b"PUT /api/uploads?name=a.csv HTTP/1.1\r\n" + key
        + b"Content-Length: 5000000\r\n\r\nTime",
        "slow reader": (b"GET /api/measurements/1 HTTP/1.1\r\n" + key + b"\r\n") * 40,
        "silent": b"",
    }  # fmt: skip
    worst = 0.0
    for name, beginning in kinds.items():
        with ExitStack() as lines:
            opened = []
            for _ in range(count):
                line = lines.enter_context(closing(_line(local, small=name == "slow reader")))
                line.sendall(beginning)
                opened.append(line)
            seconds: list[float] = []
            for _ in range(3):
                for line in opened:
                    with suppress(OSError):
                        line.send(b"a" if name != "slow reader" and beginning else b"")
                _watch(local, seconds)
            worst = max(worst, *seconds)
            tally.tried += count
            tally.note((name, max(seconds)), held=max(seconds) < OTHERS_WAIT_S)
    held = _is_hung_up_on(local)
    tally.note("a request never finished is kept for ever", held=held)
    return Outcome(f"slow clients, {count} at once", tally.tried, len(tally.through),
                   f"others answered within {1e3 * worst:.0f} ms; a head that does not end within "
                   "20 s is hung up on")  # fmt: skip


def _line(served: Served, *, small: bool = False) -> socket.socket:
    line = socket.socket()
    if small:
        line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2_048)
    line.connect(("127.0.0.1", served.port))
    return line


def _is_hung_up_on(served: Served) -> bool:
    """Whether a client that sends a byte of its headers now and then is hung up on."""
    with closing(_line(served)) as line:
        line.sendall(b"GET / HTTP/1.1\r\nX: ")
        line.settimeout(1.0)
        until = time.monotonic() + 30.0
        while time.monotonic() < until:
            try:
                line.send(b"a")
                if line.recv(100) == b"":
                    return True
            except TimeoutError:
                continue
            except OSError:
                return True
    return False


def uploads_at_once(local: Served, *, count: int, size: int = 1_500_000) -> Outcome:
    """Send many files at the same moment; each must be kept whole or refused."""
    tally = Tally()
    barrier = threading.Barrier(count)
    peak = _Peak(local)

    def send(number: int) -> tuple[int, str, str]:
        data = random.Random(number).randbytes(size + 7 * number)
        with program(local) as client:
            client.timeout = 120.0
            barrier.wait()
            answer = client.put("/api/uploads", params={"name": f"{number}.csv"}, content=data)
        digest = hashlib.sha256(data).hexdigest()
        return answer.status_code, json.loads(answer.content).get("id", ""), digest

    with peak, ThreadPoolExecutor(count) as pool:
        found = list(pool.map(send, range(count)))
    kept = 0
    for number, (status, identifier, digest) in enumerate(found):
        path = local.shop / "uploads" / identifier / f"{number}.csv"
        is_whole = status == 201 and hashlib.sha256(path.read_bytes()).hexdigest() == digest
        kept += is_whole
        tally.note((number, status), held=is_whole or status in {429, 503})
    with program(local) as client:
        for _, identifier, _ in found:
            if identifier:
                client.delete(f"/api/uploads/{identifier}")
    tally.note(("memory", peak.grown_mb), held=peak.grown_mb < MOST_UPLOAD_GROWTH_MB)
    left = [path for path in (local.shop / "uploads").rglob("*.part")]
    tally.note(("left behind", left), held=not left)
    return Outcome(f"{count} uploads at once", tally.tried, len(tally.through),
                   f"{kept} kept whole, digests compared; memory grew by {peak.grown_mb:.0f} MB "
                   f"(most {MOST_UPLOAD_GROWTH_MB:.0f})")  # fmt: skip


