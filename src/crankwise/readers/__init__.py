"""Readers: from a scope's file to a :class:`~crankwise.model.recording.Recording`.

>>> from crankwise.readers import read
>>> read("no-such-file.csv")
Traceback (most recent call last):
    ...
crankwise.errors.UnreadableError: no-such-file.csv: no such file. Check the name and the folder
"""

from crankwise.readers.contract import Reader, ReadOptions, SampleSink, Source
from crankwise.readers.dispatch import available, read, recognise, stream

__all__ = [
    "ReadOptions", "Reader", "SampleSink", "Source", "available", "read", "recognise", "stream",
]  # fmt: skip
