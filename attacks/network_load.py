"""Attacks by weight: packed files that grow, slow clients, and many uploads at once."""

from __future__ import annotations

import gzip
import hashlib
import io
import json
import socket
import threading
import time
import zipfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, closing, suppress
from dataclasses import dataclass, field
from typing import Final

import httpx2
import numpy as np

from attacks.network_server import Served, Tally, leaks, program
from attacks.outcome import Outcome

MB: Final = 1_000_000
MOST_UPLOAD_GROWTH_MB: Final = 250.0
MOST_UNPACKED_GROWTH_MB: Final = 500.0
OTHERS_WAIT_S: Final = 2.0


def watch_others(served: Served, seconds: list[float]) -> None:
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
    peak = Peak(local)
    with peak, program(local) as client:
        client.timeout = 120.0
        for name, data in _bombs():
            sent = client.put("/api/uploads", params={"name": name}, content=data).json()["id"]
            answer = client.post("/api/imports/known-goods", json={"upload": sent})
            refused = answer.status_code == 415 or not answer.json().get("added")
            tally.note(
                (name, "import", answer.status_code), held=refused and not leaks(answer.text, local)
            )
            sent = client.put("/api/uploads", params={"name": name}, content=data).json()["id"]
            answer = client.post("/api/visits/1/recordings", json={"uploads": [sent]})
            state = answer.json()
            for _ in range(600):
                if answer.status_code != 202 or state["state"] in {"done", "failed"}:
                    break
                time.sleep(0.1)
                state = client.get(f"/api/works/{state['id']}").json()
            tally.note(
                (name, "recording", state),
                held=answer.status_code == 415 or state["state"] == "failed",
            )
    tally.note(("memory", peak.grown_mb), held=peak.grown_mb < MOST_UNPACKED_GROWTH_MB)
    return Outcome(
        "packed files that grow",
        tally.tried,
        len(tally.through),
        f"each refused in one line; memory grew by {peak.grown_mb:.0f} MB",
    )


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
        for name in (
            "../../x.json",
            "/etc/x.json",
            "C:\\x.json",
            "a/../../x.csv",
            "x\x00.json",
            "con.csv",
        ):
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
class Peak:
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
        "slow upload": b"PUT /api/uploads?name=a.csv HTTP/1.1\r\n"
        + key
        + b"Content-Length: 5000000\r\n\r\nTime",
        "slow reader": (b"GET /api/measurements/1 HTTP/1.1\r\n" + key + b"\r\n") * 40,
        "silent": b"",
    }
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
                watch_others(local, seconds)
            worst = max(worst, *seconds)
            tally.tried += count
            tally.note((name, max(seconds)), held=max(seconds) < OTHERS_WAIT_S)
    held = _is_hung_up_on(local)
    tally.note("a request never finished is kept for ever", held=held)
    return Outcome(
        f"slow clients, {count} at once",
        tally.tried,
        len(tally.through),
        f"others answered within {1e3 * worst:.0f} ms; a head that does not end within "
        "20 s is hung up on",
    )


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
    peak = Peak(local)

    def send(number: int) -> tuple[int, str, str]:
        data = np.random.default_rng(number).bytes(size + 7 * number)
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
    left = list((local.shop / "uploads").rglob("*.part"))
    tally.note(("left behind", left), held=not left)
    return Outcome(
        f"{count} uploads at once",
        tally.tried,
        len(tally.through),
        f"{kept} kept whole, digests compared; memory grew by {peak.grown_mb:.0f} MB "
        f"(most {MOST_UPLOAD_GROWTH_MB:.0f})",
    )
