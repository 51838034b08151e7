"""A complete reader for a toy format: the recipe for the next one.

The toy format is text. Its first line is the signature, then come notes and the samples::

    crankwise-example 1
    interval_us 5
    channels crank intake
    0.10 4.90
    0.12 4.88

To add a format:

1. Copy this module, one module for each format, and change the three parts marked below.
2. Register the class in the project's metadata, as outside packages do too::

       [project.entry-points."crankwise.readers"]
       example = "crankwise.readers.example:ExampleReader"

3. Write a few files with the format's reference library in a test, and hold the reader to
   :func:`crankwise.testing.reader_contract.check_reader`.
4. Say in ``docs/formats.md`` what is read and what is left aside.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from crankwise.errors import UnreadableError
from crankwise.model.recording import Recording
from crankwise.readers.contract import CERTAIN, NOT_MINE, ReadOptions, Source
from crankwise.readers.labels import Label
from crankwise.readers.table import Table, to_recording

_SIGNATURE = b"crankwise-example 1\n"


class ExampleReader:
    """Reads the toy format of this module's documentation."""

    # The name is shown to people; suffixes only break ties, since content decides.
    name = "example"
    suffixes = (".example",)

    # Part 1: sniff. It gets the first bytes and must be cheap and never raise, whatever they are.
    # A signature makes it CERTAIN; without one return LIKELY or PLAUSIBLE, so that a reader that
    # knows better wins.
    def sniff(self, head: bytes, path: Path) -> int:  # noqa: ARG002 - content decides
        """Look for the signature."""
        return CERTAIN if head.startswith(_SIGNATURE) else NOT_MINE

    # Part 2: read. Heavy packages are imported in here, not at the top, so that starting stays
    # quick. Errors are one line: file, place, what is wrong, what to do.
    def read(self, source: Source, options: ReadOptions) -> Recording:
        """Read notes and samples."""
        lines = source.path.read_text(encoding="utf-8", errors="replace").splitlines()
        notes = dict(line.partition(" ")[::2] for line in lines[1:3])
        names = notes.get("channels", "").split()
        rows = [_row(source, number, line, names) for number, line in enumerate(lines[3:], start=4)]
        samples = np.array(rows, dtype=np.float32).reshape(len(rows), len(names))
        # Part 3: hand over a Table. What all formats share is done there: the time base is
        # checked, units are converted, event lists are told from samples, and the digest of the
        # original is added. A unit of None means that the file doesn't say; it is never guessed.
        return to_recording(
            Table(
                reader=self.name,
                labels=tuple(Label(name, None) for name in names),
                columns=tuple(samples.T),
                time=None,
                interval_s=_interval_s(source, notes),
                place=lambda row: f"{source.name}: row {row + 4}",
                remedy="write a line 'interval_us' with the microseconds between samples",
            ),
            source,
            options,
        )


def _row(source: Source, number: int, line: str, names: list[str]) -> list[float]:
    try:
        values = [float(word) for word in line.split()]
    except ValueError:
        values = []
    if len(values) != len(names):
        raise UnreadableError(
            f"{source.name}: row {number}: '{line[:40]}' is not {len(names)} numbers. "
            "Correct or remove the row"
        )
    return values


def _interval_s(source: Source, notes: dict[str, str]) -> float | None:
    text = notes.get("interval_us")
    if text is None:
        return None
    try:
        return float(text) / 1e6
    except ValueError:
        raise UnreadableError(
            f"{source.name}: the interval '{text}' is not a number. Correct it"
        ) from None
