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
    asked = request.url if request.method == "GET" else urlsplit(request.headers.get("referer", ""))
    return within(asked.path + (f"?{asked.query}" if asked.query else ""))
