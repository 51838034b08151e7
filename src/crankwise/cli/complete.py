"""Words the shell may complete from the store: jobs, families, known-goods.

Completing must never print or fail: without a store there is nothing to complete.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from crankwise.errors import CrankwiseError

if TYPE_CHECKING:
    from collections.abc import Callable

    from crankwise.store import Store


def jobs(ctx: typer.Context, incomplete: str) -> list[str]:
    """Complete the names of vehicles that have a job."""
    return _from_store(
        ctx, incomplete, lambda store: [file.vehicle.label for file in store.jobs.list()]
    )


def families(ctx: typer.Context, incomplete: str) -> list[str]:
    """Complete the engine families on the shelf."""
    return _from_store(
        ctx, incomplete, lambda store: [family.name for family in store.shelf.families()]
    )


def known_goods(ctx: typer.Context, incomplete: str) -> list[str]:
    """Complete the identifiers of known-goods."""
    return _from_store(
        ctx, incomplete, lambda store: [row.id for row in store.shelf.list(include_retired=True)]
    )


def _from_store(
    ctx: typer.Context, incomplete: str, words: Callable[[Store], list[str]]
) -> list[str]:
    from crankwise.store import open_store  # noqa: PLC0415  keeps --help fast

    try:
        with open_store(_where(ctx)) as store:
            found = words(store)
    except CrankwiseError:
        return []
    return sorted({word for word in found if word.casefold().startswith(incomplete.casefold())})


def _where(ctx: typer.Context) -> str | None:
    """Find --store wherever it stood; before the command no callback has run yet."""
    level: object = ctx
    while level is not None:
        params = getattr(level, "params", {})
        if params.get("store"):
            return str(params["store"])
        level = getattr(level, "parent", None)
    return None
