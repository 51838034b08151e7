"""The edge to other packages: optional ones, and their errors brought into our words."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from threading import Lock
from types import ModuleType

from crankwise.errors import CrankwiseError, MissingPackageError, UnreadableError
from crankwise.readers.contract import Source

_ERRORS = 2
"""The file descriptor of error messages, which native libraries write to."""
_TAKING = Lock()


def optional(module: str, *, extra: str, source: Source) -> ModuleType:
    """Import a package that only some formats need.

    Raises
    ------
    MissingPackageError
        With the command that installs it.
    """
    try:
        return import_module(module)
    except ImportError as error:
        raise MissingPackageError(
            f"{source.name}: reading this format needs the package {module}. "
            f"Install it with: pip install 'crankwise[{extra}]'"
        ) from error


@contextmanager
def damaged_unless_read(source: Source, format_name: str) -> Iterator[None]:
    """Report whatever another package raises on a broken file as one line of ours.

    Format libraries raise errors of almost any type on damaged content, and none of them tells
    a technician what to do.
    """
    try:
        yield
    except (CrankwiseError, MemoryError):
        raise
    except Exception as error:
        detail = " ".join(str(error).split())[:120] or type(error).__name__
        raise UnreadableError(
            f"{source.name}: damaged or incomplete {format_name} file ({detail}). "
            "Copy or export it again"
        ) from error


@contextmanager
def without_native_messages() -> Iterator[None]:
    """Keep what a native library prints on a broken file from the terminal.

    Such messages, pages of them, go past Python to the process's error output; what others write
    there meanwhile is passed on if nothing is raised.
    """
    with _TAKING, tempfile.TemporaryFile() as taken:
        sys.stderr.flush()
        try:
            before = os.dup(_ERRORS)
        except OSError:  # a program without any error output
            yield
            return
        os.dup2(taken.fileno(), _ERRORS)
        try:
            yield
        finally:
            is_sound = sys.exc_info()[0] is None
            sys.stderr.flush()
            os.dup2(before, _ERRORS)
            os.close(before)
            if is_sound:
                taken.seek(0)
                sys.stderr.write(taken.read().decode(errors="replace"))
