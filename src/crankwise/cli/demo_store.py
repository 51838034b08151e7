"""The end of the demo: a store filled with the visits of six vans, and what it says of one."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Final

import typer

from crankwise.language import say

VAN: Final = "van-4"
_KEPT: Final = """\
5. What is measured is kept. Three years of the six vans lie in a store, made
   up as well:"""
_OVER: Final = """\
6. {van} is in time against the other vans. Its own visits tell more:"""
_MORE: Final = "Look around: crankwise job show van-6 --store {store}"


def tell_the_store(into: Path, *, silent: bool) -> None:
    """Fill the throw-away store, unless an earlier demo did, and show two views of it."""
    store = into / "store"
    if not store.exists():
        _fill(store, into / "vans", silent=silent)
    if silent:
        return
    _tell(say(_KEPT), "job", "list", store=store)
    _show_jobs(store)
    _tell(f"\n{say(_OVER, van=VAN)}", "job", "history", VAN, store=store)
    _show_history(store)
    typer.echo(f"\n{say(_MORE, store=store)}")


def _fill(store: Path, recordings: Path, *, silent: bool) -> None:
    """Fill it under another name, so that a demo broken off leaves no half-filled store."""
    from crankwise.cli.progress import Bar  # noqa: PLC0415  keeps --help fast
    from crankwise.store import open_store  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.scenario import fill_store  # noqa: PLC0415  keeps --help fast

    part = store.with_name(f"{store.name}.part")
    shutil.rmtree(part, ignore_errors=True)
    with (
        open_store(str(part)) as opened,
        Bar(say("Simulating three years of six vans"), shown=not silent) as bar,
    ):
        fill_store(opened, recordings, progress=bar)
    part.rename(store)


def _tell(words: str, *command: str, store: Path) -> None:
    """Say what comes, and what one would type for it."""
    typer.echo(f"{words}\n\n   crankwise {' '.join(command)} --store {store}\n")


def _show_jobs(store: Path) -> None:
    from crankwise.cli.show_job import show_jobs  # noqa: PLC0415  keeps --help fast
    from crankwise.store import job_state, open_store  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.finding import by_vehicle  # noqa: PLC0415  keeps --help fast

    with open_store(str(store)) as opened:
        files = by_vehicle(opened.jobs.list())
    show_jobs(files, [job_state(file) for file in files])


def _show_history(store: Path) -> None:
    from crankwise.cli.show_history import show_history  # noqa: PLC0415  keeps --help fast
    from crankwise.store import open_store  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.finding import find_job  # noqa: PLC0415  keeps --help fast

    with open_store(str(store)) as opened:
        vehicle = find_job(opened, VAN).vehicle
        history = opened.history(vehicle.id, engine=opened.shop.engine_of_family(vehicle.family))
    show_history(history, vehicle.label)
