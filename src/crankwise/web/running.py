"""The server: bound first, so that the address told is the one that answers."""

from __future__ import annotations

import ipaddress
import logging
import socket
import threading
import webbrowser
from dataclasses import replace

import uvicorn

from crankwise.errors import UsageError
from crankwise.language import say
from crankwise.store import open_store
from crankwise.web.access import phrase
from crankwise.web.access.hosts import own_address
from crankwise.web.access.patience import Patient
from crankwise.web.app import create_app
from crankwise.web.settings import Settings


def run(
    settings: Settings, *, opens_browser: bool, silent: bool, pass_phrase: str | None = None
) -> None:
    """Serve until interrupted.

    Parameters
    ----------
    settings : Settings
    opens_browser, silent : bool
    pass_phrase : str, optional
        Kept as the one that counts from now on.

    Raises
    ------
    UsageError
        The address can't be listened on, or others would reach it without a pass-phrase.
    """
    with open_store(settings.store) as store:
        if pass_phrase is not None:
            phrase.keep(store, pass_phrase)
        phrase.require(store, settings)
    bound = _bound(settings)
    settings = replace(settings, port=bound.getsockname()[1])
    config = uvicorn.Config(
        create_app(settings), log_level=logging.WARNING, access_log=False, server_header=False,
        timeout_graceful_shutdown=2, http=Patient, ws="none",
    )  # fmt: skip
    if not silent:
        address = _address(settings, of_all=own_address())
        print(say("Crankwise is at {address} (Ctrl-C ends it)", address=address), flush=True)
    if opens_browser:
        # Once it answers: the browser would show an error before.
        address = _address(settings, of_all="127.0.0.1")
        threading.Timer(0.7, webbrowser.open, [address]).start()
    uvicorn.Server(config).run(sockets=[bound])


def _bound(settings: Settings) -> socket.socket:
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    # Named as TCP, for asyncio sends at once only on such: else the rest of each answer waits for
    # the browser to confirm its beginning, 40 ms on Linux.
    bound = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((settings.host, settings.port))
    except OSError as error:
        bound.close()
        raise UsageError(
            f"{settings.host}:{settings.port} can't be listened on ({error.strerror}): is "
            "Crankwise running already? Take another --port, or 0 for any free one"
        ) from error
    return bound


def _address(settings: Settings, *, of_all: str) -> str:
    """Address of the start page; a server on all addresses is shown under one of them."""
    host = of_all if _is_of_all(settings.host) else settings.host
    return f"http://{f'[{host}]' if ':' in host else host}:{settings.port}/"


def _is_of_all(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_unspecified
    except ValueError:
        return False
