"""What every command that keeps things shares: where the store is, and results as JSON."""

from __future__ import annotations

import dataclasses
import json
import sys
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crankwise.cli.options import Shared
from crankwise.errors import NotFoundError, UsageError

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

    from crankwise.store import Store

Where = Annotated[
    str | None,
    typer.Option(
        "--store",
        metavar="WHERE",
        help="Folder or database URL of the store; else CRANKWISE_STORE, else your data folder.",
    ),
]


def open_for(ctx: typer.Context, where: str | None) -> Store:
    """Open the store named after the command, else the one named before it, else the usual one."""
    from crankwise.store import open_store  # noqa: PLC0415  keeps --help fast

    return open_store(place_of_store(ctx, where))


def open_existing(ctx: typer.Context, where: str | None) -> Store:
    """Open a store as :func:`open_for`, but make none where there is none.

    Raises
    ------
    NotFoundError
        There is no store.
    """
    from crankwise.store import has_store, open_store  # noqa: PLC0415  keeps --help fast

    place = place_of_store(ctx, where)
    if not has_store(place):
        raise NotFoundError(
            f"there is no store in {place}: name its folder with --store"
            if place
            else "there is no store yet: name its folder with --store"
        )
    return open_store(place)


def place_of_store(ctx: typer.Context, where: str | None) -> str | None:
    """Return the store named after the command, else the one named before it, else none."""
    before = ctx.obj.store if isinstance(ctx.obj, Shared) else None
    return where or before


def remember_store(ctx: typer.Context, where: str | None) -> None:
    """Take a store named between ``job`` and its command for one named before it."""
    if where is not None and isinstance(ctx.obj, Shared):
        ctx.obj = dataclasses.replace(ctx.obj, store=where)


def echo_json(kind: str, **values: object) -> None:
    """Print one JSON document, UTF-8 whatever the terminal."""
    document = {"format": f"crankwise.{kind}/1"} | {k: _plain(v) for k, v in values.items()}
    text = json.dumps(document, ensure_ascii=False, allow_nan=False, indent=2)
    typer.echo(f"{text}\n".encode(), nl=False)


def echo_json_line(kind: str, **values: object) -> None:
    """Print one JSON document on one line at once, for whoever reads line by line."""
    document = {"format": f"crankwise.{kind}/1"} | {k: _plain(v) for k, v in values.items()}
    text = json.dumps(document, ensure_ascii=False, allow_nan=False)
    typer.echo(f"{text}\n".encode(), nl=False)
    sys.stdout.flush()


def echo_json_of(kind: str, report: DataclassInstance) -> None:
    """Print the fields of one report as a JSON document."""
    echo_json(kind, **{f.name: getattr(report, f.name) for f in dataclasses.fields(report)})


def _plain(value: object) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            field.name: _plain(getattr(value, field.name)) for field in dataclasses.fields(value)
        }
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [_plain(item) for item in value]
    if isinstance(value, (datetime, date)):
        return value.isoformat()
    if isinstance(value, (Decimal, Path)):
        return str(value)
    return value


def one_line(text: str, *, what: str) -> str:
    """Refuse words that say nothing; keep the rest on one line.

    Raises
    ------
    UsageError
        There are no words.
    """
    words = " ".join(text.split())
    if not words:
        raise UsageError(f"{what} is empty: write what there is to say")
    return words
