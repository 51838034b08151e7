"""The server: bound first, so that the address told is the one that answers."""

from __future__ import annotations

import logging
import socket
import threading
import webbrowser

import uvicorn

from crankwise.errors import UsageError
from crankwise.web.app import create_app
from crankwise.web.settings import Settings


def run(settings: Settings, *, opens_browser: bool, silent: bool) -> None:
    """Serve until interrupted.

    Raises
    ------
    UsageError
        The address can't be listened on.
    """
    bound = _bound(settings)
    address = f"http://{_shown_host(settings.host)}:{bound.getsockname()[1]}/"
    config = uvicorn.Config(
        create_app(settings), log_level=logging.WARNING, access_log=False, server_header=False,
        timeout_graceful_shutdown=2,
    )  # fmt: skip
    if not silent:
        print(f"Crankwise is at {address} (Ctrl-C ends it)", flush=True)
    if opens_browser:
        # Once it answers: the browser would show an error before.
        threading.Timer(0.7, webbrowser.open, [address]).start()
    uvicorn.Server(config).run(sockets=[bound])


def _bound(settings: Settings) -> socket.socket:
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    bound = socket.socket(family, socket.SOCK_STREAM)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((settings.host, settings.port))
    except OSError as error:
        bound.close()
        raise UsageError(
            f"{settings.host}:{settings.port} can't be listened on ({error.strerror}): is Crankwise "
            "running already? Take another --port, or 0 for any free one"
        ) from error
    return bound


def _shown_host(host: str) -> str:
    return f"[{host}]" if ":" in host else host
