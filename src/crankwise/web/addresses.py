"""Addresses of this server: where to go back to, whatever a browser says."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlsplit

if TYPE_CHECKING:
    from fastapi import Request


def within(address: str) -> str:
    r"""Return an address of this server, whatever was asked for.

    >>> within("/visits/3?tab=2"), within("//else.where"), within("/\\else.where"), within("x")
    ('/visits/3?tab=2', '/', '/', '/')
    """
    is_within = address.startswith("/") and not address.startswith(("//", "/\\"))
    return address if is_within and address.isprintable() else "/"


def seen_at(request: Request) -> str:
    """Return the address to load again to see a page: what answers a form is seen at the form's."""
    if request.method == "GET":
        path, query = request.scope["path"], request.scope["query_string"].decode("latin-1")
    else:
        try:
            _, _, path, query, _ = urlsplit(request.headers.get("referer", ""))
        except ValueError:  # no address at all
            return "/"
    return within(path + (f"?{query}" if query else ""))
