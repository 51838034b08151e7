"""The screens under load: prints the table that docs/performance.md holds.

    python -m benchmarks.web            20 clients for 60 s, an upload of 300 MB, weight of pages
    python -m benchmarks.web --quick    5 clients for 5 s, an upload of 30 MB
    python -m benchmarks.web --write    everything, and into docs/performance.md

The server is a process of its own on the demo's store, the clients are threads of this one. Every
client asks for one page of each kind in turn, the next as soon as the last is there, so the server
is never idle. A plain copy of the same file stands beside the upload.
"""

from __future__ import annotations

import argparse
import http.client
import itertools
import re
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urljoin, urlsplit

import numpy as np
import psutil

ROOT = Path(__file__).resolve().parents[1]
if not __package__:  # run by its path instead of as a module
    sys.path.insert(0, str(ROOT))

from benchmarks.pages import judged, table, write_between  # noqa: E402  the path comes first
from crankwise.store import open_store  # noqa: E402
from crankwise.workshop.scenario import fill_store  # noqa: E402

PAGE = ROOT / "docs" / "performance.md"
HEADER = ("screens", "limit", "measured", "result")
CLI = ("-c", "from crankwise.cli import main; main()")
MB = 1e6
BLOCK = 1 << 16
MOST_PAGES = 200

SLOWEST_MS = 300.0
MOST_EXTRA_MB = 100.0
MOST_WEIGHT_KB = 300.0

_LINK = re.compile(r'<a\b[^>]*?\shref="([^"#]+)')
_PART = re.compile(r'<(?:link\b[^>]*?\shref|script\b[^>]*?\ssrc|img\b[^>]*?\ssrc)="([^"#]+)')
_IMPORT = re.compile(r"""(?:\bfrom|\bimport)\s*\(?\s*["'](\.{1,2}/[^"']+|/[^"']+)["']""")


@dataclass(frozen=True, slots=True)
class Size:
    """Clients, for how long each asks, and how large a file is sent."""

    clients: int
    seconds: float
    upload_bytes: int


FULL = Size(clients=20, seconds=60.0, upload_bytes=300_000_000)
QUICK = Size(clients=5, seconds=5.0, upload_bytes=30_000_000)


@dataclass(frozen=True, slots=True)
class Server:
    """A server at work, and a key to it."""

    host: str
    port: int
    process: psutil.Process
    key: str


@dataclass(frozen=True, slots=True)
class Load:
    """Answers to many clients: seconds of each, and how many were no page."""

    seconds: tuple[float, ...]
    errors: int
    kinds: int


@dataclass(frozen=True, slots=True)
class Sent:
    """A file sent and copied: seconds of both, and how much the server grew meanwhile."""

    upload_s: float
    copy_s: float
    extra_bytes: int
    size_bytes: int


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, and write if asked; 0 if every goal is reached, else 1."""
    parser = argparse.ArgumentParser(prog="benchmarks.web", description=__doc__.split("\n")[0])
    parser.add_argument("--quick", action="store_true", help="fewer clients, a smaller file")
    parser.add_argument("--write", action="store_true", help="put the table into the page")
    chosen = parser.parse_args(arguments)
    if chosen.quick and chosen.write:
        parser.error("--write needs the full run; leave out --quick")
    with tempfile.TemporaryDirectory(prefix="crankwise-web-") as name:
        folder = Path(name)
        with open_store(folder / "shop") as store:
            fill_store(store, folder / "recordings")
        found = rows(folder, folder / "shop", QUICK if chosen.quick else FULL)
    text = table(HEADER, found)
    print(text)
    if chosen.write:
        write_between(PAGE, "web", text)
    return 0 if all(row[-1] != judged(holds=False) for row in found) else 1


def rows(folder: Path, shop: Path, size: Size) -> list[tuple[str, str, str, str]]:
    """Measure everything on a store; ``folder`` is for files in between."""
    with serving(shop) as server:
        weights = weigh(server)
        load = ask(server, one_of_each_kind(weights), size)
        sent = send(server, folder, size.upload_bytes)
    slow_ms = 1e3 * statistics.quantiles(load.seconds, n=20)[-1]
    heaviest, weight = max(weights.items(), key=lambda item: item[1])
    extra_mb = sent.extra_bytes / MB
    return [
        (
            f"{size.clients} clients at once for {size.seconds:.0f} s: 95 % of pages within",
            f"≤ {SLOWEST_MS:.0f} ms",
            f"{slow_ms:.0f} ms ({len(load.seconds):,} pages of {load.kinds} kinds)",
            judged(holds=slow_ms <= SLOWEST_MS),
        ),
        ("the same: errors", "0", str(load.errors), judged(holds=load.errors == 0)),
        (
            f"upload of {sent.size_bytes / MB:.0f} MB: memory that the server grows by",
            f"≤ {MOST_EXTRA_MB:.0f} MB",
            f"{extra_mb:.0f} MB ({sent.upload_s:.2f} s; a plain copy takes {sent.copy_s:.2f} s)",
            judged(holds=extra_mb <= MOST_EXTRA_MB),
        ),
        (
            f"heaviest of {len(weights)} pages with its styles, scripts and pictures",
            f"≤ {MOST_WEIGHT_KB:.0f} kB",
            f"{weight / 1e3:.0f} kB ({heaviest})",
            judged(holds=weight <= MOST_WEIGHT_KB * 1e3),
        ),
    ]


@contextmanager
def serving(shop: Path) -> Iterator[Server]:
    """Start a server in a process of its own, and end it."""
    with open_store(shop) as store:
        key = store.shop.add_key(f"benchmark {time.time_ns()}")
    command = (
        sys.executable, *CLI, "--store", str(shop), "serve", "--port", "0", "--no-browser",
    )  # fmt: skip
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as started:
        try:
            told = started.stdout.readline() if started.stdout else ""
            found = re.search(r"http://([\d.]+):(\d+)/", told)
            if found is None:
                raise RuntimeError("the server did not start")
            server = Server(found[1], int(found[2]), psutil.Process(started.pid), key)
            _wait_for(server)
            yield server
        finally:
            started.send_signal(signal.SIGINT)


def _wait_for(server: Server) -> None:
    for _ in range(500):
        with closing(_Client(server)) as client, suppress(OSError):
            if client.get("/api/health")[0] == 200:
                return
        time.sleep(0.02)
    raise RuntimeError("the server does not answer")


class _Client:
    """A browser of its own: one connection, one session."""

    def __init__(self, server: Server) -> None:
        self._connection = http.client.HTTPConnection(server.host, server.port, timeout=60)
        self._cookie = ""

    def get(self, path: str) -> tuple[int, str, bytes]:
        """Status, media type and body of what is at an address."""
        self._connection.request("GET", path, headers={"Cookie": self._cookie})
        answer = self._connection.getresponse()
        body = answer.read()
        given = answer.getheader("Set-Cookie")
        if given is not None:
            self._cookie = given.partition(";")[0]
        return answer.status, (answer.getheader("Content-Type") or "").partition(";")[0], body

    def close(self) -> None:
        """Hang up; the next question connects anew."""
        self._connection.close()


def weigh(server: Server) -> dict[str, int]:
    """Follow every link; bytes of each page with what it loads, by its address."""
    with closing(_Client(server)) as client:
        return _weights(client)


def _weights(client: _Client) -> dict[str, int]:
    parts: dict[str, int] = {}
    weights: dict[str, int] = {}
    seen, waiting = {"/"}, ["/"]
    while waiting and len(weights) < MOST_PAGES:
        path = waiting.pop(0)
        status, kind, body = client.get(path)
        if status != 200 or kind != "text/html":
            continue
        text = body.decode()
        loaded = _loaded(client, [urljoin(path, part) for part in _PART.findall(text)], parts)
        weights[path] = len(body) + sum(parts[part] for part in loaded)
        links = {urlsplit(urljoin(path, link)) for link in _LINK.findall(text)}
        new = sorted({link.path for link in links if not link.netloc} - seen)
        seen.update(new)
        waiting.extend(new)
    return weights


def _loaded(client: _Client, wanted: Sequence[str], parts: dict[str, int]) -> set[str]:
    """Everything that a page loads, scripts that scripts import among it; fills ``parts``."""
    loaded: set[str] = set()
    waiting = [part for part in wanted if not urlsplit(part).scheme]
    while waiting:
        path = waiting.pop()
        if path in loaded:
            continue
        loaded.add(path)
        _, kind, body = client.get(path)
        parts[path] = len(body)
        if "javascript" in kind:
            waiting.extend(urljoin(path, other) for other in _IMPORT.findall(body.decode()))
    return loaded


def one_of_each_kind(weights: dict[str, int]) -> list[str]:
    """Take the heaviest page of each kind: of one visit, of one engine, and so on.

    >>> one_of_each_kind({"/": 3, "/visits/3": 4, "/visits/4": 5, "/visits/3/edit": 1})
    ['/visits/4', '/', '/visits/3/edit']
    """
    kinds: dict[str, str] = {}
    for path in sorted(weights, key=lambda path: -weights[path]):
        kinds.setdefault(re.sub(r"^(/[^/]+/)[^/]+", r"\1*", path), path)
    return list(kinds.values())


def ask(server: Server, pages: Sequence[str], size: Size) -> Load:
    """Ask for pages as so many clients at once."""
    seconds: list[float] = []
    errors: list[str] = []
    until = time.perf_counter() + size.seconds

    def visit(first: int) -> None:
        with closing(_Client(server)) as client:
            for path in itertools.islice(itertools.cycle(pages), first, None):
                begun = time.perf_counter()
                if begun > until:
                    return
                try:
                    status, _, _ = client.get(path)
                except (OSError, http.client.HTTPException) as error:
                    errors.append(f"{path}: {error!r}")
                    client.close()
                    continue
                seconds.append(time.perf_counter() - begun)
                if status != 200:
                    errors.append(f"{path}: {status}")

    clients = [threading.Thread(target=visit, args=(number,)) for number in range(size.clients)]
    for client in clients:
        client.start()
    for client in clients:
        client.join()
    for error in errors[:5]:
        print(error, file=sys.stderr)
    return Load(tuple(seconds), len(errors), len(pages))


def send(server: Server, folder: Path, size_bytes: int) -> Sent:
    """Send a file to the server while its memory is watched, and copy it."""
    path = folder / "large.csv"
    block = np.random.default_rng(5).bytes(1_000_000)
    with path.open("wb") as file:
        for _ in range(size_bytes // len(block)):
            file.write(block)
    _upload(server, path, size_bytes // 100)  # whatever is set up once
    before = server.process.memory_info().rss
    peak, done = [before], threading.Event()

    def watch() -> None:
        while not done.wait(0.01):
            peak.append(server.process.memory_info().rss)

    watcher = threading.Thread(target=watch)
    watcher.start()
    try:
        upload_s = _upload(server, path, size_bytes)
    finally:
        done.set()
        watcher.join()
    begun = time.perf_counter()
    with path.open("rb") as source, (folder / "copy.csv").open("wb") as target:
        shutil.copyfileobj(source, target, BLOCK)
    copy_s = time.perf_counter() - begun
    return Sent(upload_s, copy_s, max(peak) - before, size_bytes)


def _upload(server: Server, path: Path, size_bytes: int) -> float:
    """Send the beginning of a file; returns the seconds it took."""
    headers = {"Authorization": f"Bearer {server.key}", "Content-Length": str(size_bytes)}
    begun = time.perf_counter()
    with (
        closing(http.client.HTTPConnection(server.host, server.port, timeout=120)) as connection,
        path.open("rb") as file,
    ):
        connection.putrequest("PUT", "/api/uploads?name=large.csv")
        for name, value in headers.items():
            connection.putheader(name, value)
        connection.endheaders()
        left = size_bytes
        while block := file.read(min(BLOCK, left)):
            connection.send(block)
            left -= len(block)
        answer = connection.getresponse()
        answer.read()
    if answer.status != 201:
        raise RuntimeError(f"the upload was answered {answer.status}")
    return time.perf_counter() - begun


if __name__ == "__main__":
    sys.exit(main())
