"""The server under attack, in a process of its own on this computer only, and who talks to it."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import httpx2
import psutil

from crankwise.store import open_store

PHRASE: Final = "four tulips in a bucket"
NAME: Final = "shop.example"
"""Where the server goes by this name, others reach it and everybody signs in."""
PATIENCE_S: Final = 30.0
_CLI: Final = ("-c", "from crankwise.cli import main; main()")
_TOKEN: Final = re.compile(r'name="csrf-token" content="([^"]*)"')
_FAULT: Final = re.compile(r'Traceback \(most recent|File "[^"]+", line \d+|site-packages')


@dataclass(frozen=True, slots=True)
class Served:
    """A server at work.

    Attributes
    ----------
    port : int
    process : psutil.Process
    shop : Path
        Folder of its store.
    key : str
        Opens its API.
    host : str
        Name that it is asked by.
    log : Path
        What it wrote to its error output.
    lines : ExitStack
        Closes whoever talks to it when it ends.
    """

    port: int
    process: psutil.Process
    shop: Path
    key: str
    host: str
    log: Path
    lines: ExitStack

    @property
    def address(self) -> str:
        """Address of its start page, by number."""
        return f"http://127.0.0.1:{self.port}"

    def said(self) -> str:
        """Return its log."""
        return self.log.read_text(encoding="utf-8", errors="replace")


@contextmanager
def serving(shop: Path, *, signs_in: bool) -> Iterator[Served]:
    """Start a server on a store, and end it."""
    with open_store(shop) as store:
        key = store.shop.add_key(f"attack {time.time_ns()}")
    names = ("--name", NAME) if signs_in else ()
    command = (
        sys.executable,
        *_CLI,
        "--store",
        str(shop),
        "serve",
        "--port",
        "0",
        "--no-browser",
        *names,
    )
    environment = dict(os.environ)
    environment.pop("CRANKWISE_PASS_PHRASE", None)
    if signs_in:
        environment["CRANKWISE_PASS_PHRASE"] = PHRASE
    log = shop.parent / f"{shop.name}-{key[:6]}.log"
    with (
        ExitStack() as lines,
        log.open("wb") as errors,
        subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=errors, text=True, env=environment
        ) as started,
    ):
        try:
            told = started.stdout.readline() if started.stdout else ""
            found = re.search(r":(\d+)/", told)
            if found is None:
                raise RuntimeError(f"the server did not start: {log.read_text()}")
            host = NAME if signs_in else f"127.0.0.1:{found[1]}"
            served = Served(int(found[1]), psutil.Process(started.pid), shop, key, host, log, lines)
            _wait_for(served)
            yield served
        finally:
            started.send_signal(signal.SIGINT)


def _wait_for(served: Served) -> None:
    for _ in range(1_000):
        with suppress(OSError, httpx2.HTTPError):
            if httpx2.get(f"{served.address}/api/health", trust_env=False).status_code == 200:
                return
        time.sleep(0.02)
    raise RuntimeError("the server does not answer")


class Visitor:
    """A browser, as far as a server can tell: cookies, and the token that its pages hold.

    Parameters
    ----------
    served : Served
    address : str
        Where it seems to come from, as a proxy on the same computer tells it.
    """

    def __init__(self, served: Served, *, address: str = "") -> None:
        headers = {"host": served.host} | ({"x-forwarded-for": address} if address else {})
        self.client = httpx2.Client(
            base_url=served.address, headers=headers, timeout=PATIENCE_S, trust_env=False
        )
        served.lines.callback(self.client.close)
        self.token = ""

    def open(self, path: str = "/") -> httpx2.Response:
        """Load a page and read the token from it."""
        answer = self.client.get(path)
        found = _TOKEN.search(answer.text)
        if found:
            self.token = found[1]
        return answer

    def post(self, path: str, **fields: Any) -> httpx2.Response:
        """Send a form as a page of ours does."""
        files = fields.pop("files", None)
        data = {"csrf_token": self.token} | fields
        return self.client.post(path, data=data, files=files)

    def send(self, method: str, path: str, body: object) -> httpx2.Response:
        """Ask the API as a script of a page does."""
        return self.client.request(method, path, json=body, headers={"x-csrf-token": self.token})

    def sign_in(self, phrase: str = PHRASE) -> httpx2.Response:
        """Try a pass-phrase; the page after it is loaded if it was right."""
        self.open("/sign-in")
        answer = self.post("/sign-in", pass_phrase=phrase)
        if answer.status_code == 303:
            self.open("/")
        return answer


def visitor(served: Served, *, address: str = "") -> Visitor:
    """Let a visitor in: signed in where that is needed."""
    one = Visitor(served, address=address)
    if served.host == NAME:
        one.sign_in()
    else:
        one.open()
    return one


def program(served: Served, **settings: Any) -> httpx2.Client:
    """Return another program with a key."""
    return httpx2.Client(
        base_url=served.address,
        headers={"authorization": f"Bearer {served.key}", "host": served.host},
        timeout=PATIENCE_S,
        trust_env=False,
        **settings,
    )


def said_raw(served: Served, data: bytes, *, wait_s: float = 5.0) -> bytes:
    """Send bytes as they are, and return what comes until the server hangs up or is silent."""
    with socket.create_connection(("127.0.0.1", served.port), timeout=wait_s) as line:
        with suppress(OSError):
            line.sendall(data)
        heard = b""
        with suppress(OSError):
            while part := line.recv(65_536):
                heard += part
        return heard


def leaks(text: str, served: Served) -> bool:
    """Whether an answer tells of the inside: a traceback, or where the store lies."""
    return bool(_FAULT.search(text)) or str(served.shop) in text


@dataclass(slots=True)
class Tally:
    """Counts one kind of attack; the first few that got through are told."""

    tried: int = 0
    through: list[str] = field(default_factory=list)

    def note(self, what: object, *, held: bool) -> None:
        """Count one attack."""
        self.tried += 1
        if not held:
            self.through.append(str(what))
            if len(self.through) <= 5:
                print(f"  got through: {what}", file=sys.stderr)
