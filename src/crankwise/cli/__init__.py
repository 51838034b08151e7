"""The command line: a thin skin over the library."""

from __future__ import annotations

import os
import sys
from typing import NoReturn


def main() -> NoReturn:
    """Run the command line and leave with its exit code."""
    try:
        from crankwise.cli.app import app  # noqa: PLC0415  so that Ctrl-C during it stays quiet

        code = app(standalone_mode=True)
    except SystemExit as leaving:
        code = leaving.code
    except KeyboardInterrupt:
        code = 130
    sys.exit(_flushed(code))


def _flushed(code: str | int | None) -> str | int | None:
    """Flush before leaving; a reader such as ``head`` that closed the pipe is no error."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        # What is left can't be written: keep the interpreter from trying once more.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 141
    return code
