"""Files that a watch has seen, a line each."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Final

from rich.text import Text

from crankwise.cli.console import can_print, console_for_people
from crankwise.cli.guard import printable
from crankwise.language import told
from crankwise.picture.verdicts import SIGNS
from crankwise.watch.lines import line_of

if TYPE_CHECKING:
    from crankwise.model.seen import Seen
    from crankwise.watch.lines import CamLine, Line

_WIDTH: Final = 13
"""Of the widest verdict, with its sign."""


class SeenLines:
    """Prints each file on one line: time, verdict, name, speed, cams, and what else there is."""

    def __init__(self) -> None:
        self._console = console_for_people()
        self._signs = can_print(self._console, "".join(sign.sign for sign in SIGNS.values()))

    def __call__(self, seen: Seen) -> None:
        """Print one."""
        line = line_of(seen)
        at = seen.seen_at.astimezone().strftime("%H:%M:%S")
        row = Text.assemble(
            at, "  ", self._verdict(seen, line), "  ", printable(_words(seen, line))
        )
        # However long: a line that is cut or wrapped can't be searched.
        self._console.print(row, soft_wrap=True)
        sys.stdout.flush()

    def _verdict(self, seen: Seen, line: Line) -> Text:
        if line.level is None:
            return Text(told(seen.outcome).ljust(_WIDTH), "dim")
        sign = SIGNS[line.level]
        shape = sign.sign if self._signs else sign.plain
        return Text(f"{shape} {told(line.level)}".ljust(_WIDTH), sign.style)


def _words(seen: Seen, line: Line) -> str:
    # A refusal begins with the file's name by itself.
    named = [] if seen.outcome == "refused" else [line.name]
    cams = [f"{told(cam.role)}: {_cam(cam)}" for cam in line.cams]
    return "  ".join(filter(None, [*named, line.speed, *cams, line.remarks]))


def _cam(cam: CamLine) -> str:
    return f"{told(cam.place)} ({cam.degrees})"
