"""The one place where failures become one line of words and an exit code."""

from __future__ import annotations

import functools
import os
import sys
from typing import TYPE_CHECKING, NoReturn, ParamSpec

import typer

from crankwise.errors import CrankwiseError
from crankwise.language import say, told

if TYPE_CHECKING:
    from collections.abc import Callable

_Given = ParamSpec("_Given")

BROKEN_PIPE = 141  # 128 + SIGPIPE
INTERRUPTED = 130  # 128 + SIGINT, as shells expect


def guarded(command: Callable[_Given, None]) -> Callable[_Given, None]:
    """Wrap a command so that it never ends in a traceback.

    Known errors end with their own exit code. Anything else is our mistake: it says how to
    report it and ends with 1; with ``CRANKWISE_DEBUG=1`` the traceback is shown.
    """

    @functools.wraps(command)
    def run(*args: _Given.args, **kwargs: _Given.kwargs) -> None:
        try:
            command(*args, **kwargs)
        except CrankwiseError as error:
            _leave(told(str(error)), error.exit_code)
        except BrokenPipeError:
            raise typer.Exit(BROKEN_PIPE) from None
        except KeyboardInterrupt:
            raise typer.Exit(INTERRUPTED) from None
        except MemoryError:
            words = say("There is not enough memory for this recording: use a shorter one.")
            _leave(words, 1)
        except Exception as error:
            if os.environ.get("CRANKWISE_DEBUG") == "1":
                raise
            _leave(_unexpected(error), 1)

    return run


def printable(text: str) -> str:
    """Replace control characters, so that a name from a file can't steer the terminal."""
    return "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in text)


def _leave(message: str, code: int) -> NoReturn:
    line = printable(" ".join(message.split()))
    encoding = sys.stderr.encoding or "utf-8"
    shown = line.encode(encoding, "replace").decode(encoding)
    print(f"crankwise: {shown}", file=sys.stderr)
    raise typer.Exit(code)


def _unexpected(error: Exception) -> str:
    return say(
        "Something went wrong inside Crankwise ({error}). Please report it with the command you "
        "gave; CRANKWISE_DEBUG=1 shows where it happened.",
        error=f"{type(error).__name__}: {error}",
    )
