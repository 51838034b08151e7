"""The one place where failures become one line of words and an exit code."""

from __future__ import annotations

import errno
import functools
import os
import sys
from typing import TYPE_CHECKING, Final, NoReturn, ParamSpec

import typer

from crankwise.errors import CrankwiseError, UsageError
from crankwise.language import say, told

if TYPE_CHECKING:
    from collections.abc import Callable

_Given = ParamSpec("_Given")

BROKEN_PIPE = 141  # 128 + SIGPIPE
INTERRUPTED = 130  # 128 + SIGINT, as shells expect
_OF_OUTPUT: Final = {errno.EBADF, errno.EIO, errno.ENOSPC}
"""Failures of writing what is printed; those of files come with a name."""


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
        except OSError as error:
            if error.filename is None and error.errno in _OF_OUTPUT:
                raise  # told where every output ends
            if error.filename is None and error.errno == errno.ENOENT:
                words = say("The folder you are in is not there any more: change to another.")
                _leave(words, UsageError.exit_code)
            _leave_unexpected(error)
        except Exception as error:  # noqa: BLE001  none may end in a traceback
            _leave_unexpected(error)

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


def _leave_unexpected(error: Exception) -> NoReturn:
    if os.environ.get("CRANKWISE_DEBUG") == "1":
        raise error
    words = say(
        "Something went wrong inside Crankwise ({error}). Please report it with the command you "
        "gave; CRANKWISE_DEBUG=1 shows where it happened.",
        error=f"{type(error).__name__}: {error}",
    )
    _leave(words, 1)
