"""``crankwise verify``: every original against its digest, every row against its original."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from crankwise.cli.options import AsJson, Lang, Quiet, is_quiet
from crankwise.cli.storing import Where, echo_json, open_existing
from crankwise.errors import UnreadableError
from crankwise.language import say

if TYPE_CHECKING:
    from crankwise.model.kept import VerifyReport


def verify(
    ctx: typer.Context,
    *,
    again: Annotated[
        bool,
        typer.Option(
            "--again", help="Measure every original again too, and compare: takes as long as that."
        ),
    ] = False,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Check that the store is whole: every original, every row; nothing is changed."""
    from crankwise.cli.progress import Bar  # noqa: PLC0415  keeps --help fast

    silent = is_quiet(ctx, quiet=quiet)
    with (
        open_existing(ctx, store) as opened,
        Bar(say("checking the store"), shown=not silent) as bar,
    ):
        where = opened.where
        report = opened.verify(again=again, progress=bar.step)
    if as_json:
        echo_json(
            "verification",
            store=where,
            is_sound=report.is_sound,
            recordings=report.recordings,
            measurements=report.measurements,
            known_goods=report.known_goods,
            rows=report.rows,
            problems=report.problems,
            notes=report.notes,
        )
    elif not silent:
        from crankwise.cli.show_verify import show_verify  # noqa: PLC0415  keeps --help fast

        show_verify(where, report)
    _leave_if_damaged(where, report)


def _leave_if_damaged(where: str, report: VerifyReport) -> None:
    count = len(report.problems)
    if count == 1:
        raise UnreadableError(f"{where}: one thing is wrong in this store")
    if count:
        raise UnreadableError(f"{where}: {count} things are wrong in this store")
