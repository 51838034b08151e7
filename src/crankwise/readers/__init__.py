"""Readers: from a scope's file to a :class:`~crankwise.model.recording.Recording`.

>>> from crankwise.readers import read
>>> read("no-such-file.csv")
Traceback (most recent call last):
    ...
crankwise.errors.UnreadableError: no-such-file.csv: no such file. Check the name and the folder
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from crankwise.readers.contract import Reader, ReadOptions, SampleSink, Source
    from crankwise.readers.dispatch import available, read, recognise, stream

__all__ = [
    "ReadOptions", "Reader", "SampleSink", "Source", "available", "read", "recognise", "stream",
]  # fmt: skip

_HOME = {
    "ReadOptions": "contract",
    "Reader": "contract",
    "SampleSink": "contract",
    "Source": "contract",
    "available": "dispatch",
    "read": "dispatch",
    "recognise": "dispatch",
    "stream": "dispatch",
}


def __getattr__(name: str) -> Any:
    # Imported on first use: a file's digest is begun before NumPy is imported.
    if name not in _HOME:
        raise AttributeError(f"module 'crankwise.readers' has no attribute '{name}'")
    from importlib import import_module  # noqa: PLC0415

    return getattr(import_module(f"crankwise.readers.{_HOME[name]}"), name)
