"""The command line: a thin skin over the library."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import NoReturn


def main() -> NoReturn:
    """Run the command line and leave with its exit code."""
    _open_streams()
    try:
        from crankwise.cli.app import app  # noqa: PLC0415  so that Ctrl-C during it stays quiet

        code = app(standalone_mode=True)
    except SystemExit as leaving:
        code = leaving.code
    except KeyboardInterrupt:
        code = 130
    except OSError as error:
        code = _unwritable(error)
    sys.exit(_flushed(code))


def _open_streams() -> None:
    """Let every text be printed: by signs in its place, or to nowhere if the output is closed."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            nowhere = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115  open to the end
            setattr(sys, name, nowhere)
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def _flushed(code: str | int | None) -> str | int | None:
    """Flush before leaving; a reader such as ``head`` that closed the pipe is no error."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _let_go_of_output()
        return 141
    except OSError as error:
        _let_go_of_output()
        return _unwritable(error)
    return code


def _let_go_of_output() -> None:
    """Keep the interpreter from trying once more to write what can't be written."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _unwritable(error: OSError) -> int:
    """Say that nothing can be printed where the output goes."""
    from crankwise.language import say  # noqa: PLC0415  needed rarely

    words = say(
        "the output can't be written ({why}): send it to another place",
        why=error.strerror or type(error).__name__,
    )
    print(f"crankwise: {words}", file=sys.stderr)
    return 1
