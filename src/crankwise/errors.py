"""Every error this package raises on purpose.

::

    CrankwiseError                 exit code 1 is never used for these
    ├── UsageError                 2  the request itself makes no sense
    │   └── NotFoundError          2  what it names is not there
    ├── UnreadableError            3  the file cannot be understood
    │   └── MissingPackageError    3  an optional package reads this format
    └── NotMeasurableError         4  readable, but it cannot be measured or compared

A message is one line. It says what is wrong, where (file, row, column) and what to do.
"""

from __future__ import annotations

_LONGEST_WORD = 300
_SHOWN = 60
_LONGEST_LINE = 700
_BEGINNING, _END = 500, 150


class CrankwiseError(Exception):
    """Base of all errors that are the user's to see; ``str(error)`` is one line."""

    exit_code = 1

    def __init__(self, message: str) -> None:
        line = " ".join(_shortened(word) for word in message.split())
        if len(line) > _LONGEST_LINE:
            line = f"{line[:_BEGINNING]}…{line[-_END:]}"
        super().__init__(line)


def _shortened(word: str) -> str:
    """Cut what is far too long for a word: something out of a damaged file."""
    return word if len(word) <= _LONGEST_WORD else f"{word[:_SHOWN]}…{word[-_SHOWN:]}"


class UsageError(CrankwiseError):
    """The request makes no sense: an unknown channel, a contradictory option."""

    exit_code = 2


class NotFoundError(UsageError):
    """Something asked for by its name or number is not there; says what there is, if it can."""


class UnreadableError(CrankwiseError):
    """A file can't be read as a recording; names file, row and column where known."""

    exit_code = 3


class MissingPackageError(UnreadableError):
    """The format needs an optional package; names it and how to install it."""


class NotMeasurableError(CrankwiseError):
    """The recording was read, but crank degrees can't be taken from it; says why."""

    exit_code = 4
