"""``crankwise watch``: whatever the scope saves into a folder is measured and told at once."""

from __future__ import annotations

import dataclasses
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from crankwise.cli import complete
from crankwise.cli.options import AsJson, Lang, Quiet, is_quiet
from crankwise.cli.storing import Where, echo_json_line, open_for
from crankwise.errors import UsageError
from crankwise.language import say, told

if TYPE_CHECKING:
    from collections.abc import Callable

    from crankwise.model.seen import Seen
    from crankwise.watch import Watcher

WatchFamily = Annotated[
    str | None,
    typer.Option(
        "--family",
        metavar="NAME",
        help="Compare with the known-goods of this engine family; else with those that fit.",
        autocompletion=complete.families,
    ),
]
Poll = Annotated[
    bool,
    typer.Option("--poll", help="Look for changes: for a network share, which tells of none."),
]
Settle = Annotated[
    float | None,
    typer.Option(
        "--settle",
        metavar="SECONDS",
        min=0.0,
        max=3600.0,
        help="How long a file must stand still where the system can't tell that it is complete; "
        "else 0.5, with --poll 4.",
    ),
]


def watch(
    ctx: typer.Context,
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Folder that the scope's program saves into.")
    ],
    *,
    family: WatchFamily = None,
    poll: Poll = False,
    settle: Settle = None,
    once: Annotated[bool, typer.Option("--once", help="Take what is there, then leave.")] = False,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  checked when parsed
) -> None:
    """Measure, compare and keep what a scope saves into a folder.

    Ctrl-C ends it. What was taken is remembered in the store, and what comes while it is off is
    taken when it starts again.
    """
    from crankwise.watch import Manner, Watcher  # noqa: PLC0415  keeps --help fast
    from crankwise.workshop.shelving import of_family  # noqa: PLC0415  keeps --help fast

    check_folder(folder)
    silent = is_quiet(ctx, quiet=quiet)
    tell = _json_line if as_json else _no_line if silent else _line_writer()
    with open_for(ctx, store) as opened:
        if family is not None:
            of_family(opened, family)  # one that is not there would make every file fail
        manner = Manner(family=family, polls=poll, settle_s=settle)
        watcher = Watcher(opened, folder, tell=tell, warn=_warn, manner=manner)
        if not (silent or as_json):
            _greet(watcher, opened.where, once=once)
        # Ctrl-C is how a watch ends, so it is no failure.
        with suppress(KeyboardInterrupt):
            _run(watcher, once=once)
        watcher.close()


def check_folder(folder: Path) -> None:
    """Refuse what can't be watched before anything begins.

    Raises
    ------
    UsageError
        There is no such folder.
    MissingPackageError
        The package that watches is not installed.
    """
    from crankwise.watch.changes import notices  # noqa: PLC0415  keeps --help fast

    if not folder.is_dir():
        raise UsageError(f"{folder} is no folder: name the folder that recordings are saved into")
    notices()


def _run(watcher: Watcher, *, once: bool) -> None:
    if once:
        watcher.take_all()
        return
    watcher.start()
    watcher.wait()


def _greet(watcher: Watcher, where: str, *, once: bool) -> None:
    words = say(
        "watching {folder}: results are kept in {where}", folder=watcher.folder, where=where
    )
    ends = "" if once else f" ({say('Ctrl-C ends it')})"
    print(f"{words}{ends}", file=sys.stderr, flush=True)


def _warn(words: str) -> None:
    from crankwise.cli.guard import printable  # noqa: PLC0415  rarely needed

    print(f"crankwise: {printable(told(words))}", file=sys.stderr, flush=True)


def _no_line(_seen: Seen) -> None:
    """Nothing is printed."""


def _json_line(seen: Seen) -> None:
    values = {field.name: getattr(seen, field.name) for field in dataclasses.fields(seen)}
    echo_json_line("seen", **values)


def _line_writer() -> Callable[[Seen], None]:
    from crankwise.cli.show_seen import SeenLines  # noqa: PLC0415  keeps --help fast

    return SeenLines()
