"""The edge to other packages: optional ones, and their errors brought into our words."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from types import ModuleType

from crankwise.errors import CrankwiseError, MissingPackageError, UnreadableError
from crankwise.readers.contract import Source


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
