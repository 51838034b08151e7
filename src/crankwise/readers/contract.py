"""What a reader is: the whole of the interface between a file format and the rest.

A reader is a class without constructor arguments, registered under the entry point group
``crankwise.readers``. ``example.py`` is a working one whose comments are the recipe, and
:mod:`crankwise.testing.reader_contract` checks any reader against the promises made here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

import numpy.typing as npt

from crankwise.model.recording import FloatArray, Recording

if TYPE_CHECKING:
    from crankwise.readers.table import Table

NOT_MINE = 0
"""Sniff score: certainly another format."""

PLAUSIBLE = 10
"""Sniff score: may be tried when nothing better is found (any text, for instance)."""

LIKELY = 50
"""Sniff score: the content looks like this format, without a signature that proves it."""

CERTAIN = 100
"""Sniff score: the content carries the format's own signature."""

HEAD_BYTES = 1 << 16
"""How much of the beginning of a file ``sniff`` is given."""


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """What the caller knows about the file, and where progress goes.

    Attributes
    ----------
    interval_s : float or None
        Sampling interval in seconds, for files that don't say; wins over a time column.
    progress : callable
        Called with the fraction read so far, 0 to 1, never decreasing.
    chunk_bytes : int or None
        About how much of a file is worked up at a time where it is read in parts; ``None`` leaves
        it to the reader. Results don't depend on it.
    """

    interval_s: float | None
    progress: Callable[[float], None]
    chunk_bytes: int | None = None


@dataclass(frozen=True, slots=True)
class Source:
    """The bytes to read and the identity of the file they came from.

    Attributes
    ----------
    path : Path
        Where the bytes are; a temporary copy if the original is compressed.
    name : str
        File name of the original, for messages and for :attr:`Recording.name`.
    sha256 : callable
        Waits for the digest of the original, which is computed meanwhile; call it last.
    """

    path: Path
    name: str
    sha256: Callable[[], str]


class SampleSink(Protocol):
    """Takes the samples of a recording while they are read."""

    def begin(self, channels: Sequence[str], *, interval_s: float) -> None:
        """Get ready for a recording, from its first sample on; may be called again to start anew.

        Parameters
        ----------
        channels : sequence of str
            Names, in file order.
        interval_s : float
            Sampling interval as the first samples show it, seconds.
        """

    def feed(self, values: Sequence[npt.NDArray[Any]], time_s: FloatArray | None) -> None:
        """Take the next samples of every channel; the arrays may be used again afterwards.

        Parameters
        ----------
        values : sequence of np.ndarray [shape=(m,), dtype float32 or float64]
            One for each channel, in its unit.
        time_s : np.ndarray [shape=(m,)] or None
            Their times, only where the time base is uneven.
        """


class Reader(Protocol):
    """One file format; ``name`` and ``suffixes`` are plain class attributes of a reader."""

    @property
    def name(self) -> str:
        """Short name of the format, unique, as shown to people."""

    @property
    def suffixes(self) -> tuple[str, ...]:
        """Usual file name endings, lower case with the dot. Only a hint: content decides."""

    def sniff(self, head: bytes, path: Path) -> int:
        """Tell how sure it is that this reader can read the file.

        Parameters
        ----------
        head : bytes
            The first :data:`HEAD_BYTES` bytes of the file, fewer if it is shorter.
        path : Path
            Its path, for a look at the name or the end of the file. Never raises, also not on
            an empty head or a file that can't be opened.

        Returns
        -------
        int
            0 (not mine) to 100 (carries the format's signature).
        """

    def read(self, source: Source, options: ReadOptions) -> Recording:
        """Read the whole file.

        Raises
        ------
        UnreadableError
            With one line that names the file, the place in it, and the remedy.
        """


@runtime_checkable
class PartwiseReader(Reader, Protocol):
    """A reader that can also read in parts, for recordings larger than memory."""

    def parts(self, source: Source, options: ReadOptions) -> Iterator[Table]:
        """Read tables that continue each other, each of about ``options.chunk_bytes``.

        Labels count from the first table, findings and settings from the last. Joined, they are
        the table that :meth:`Reader.read` makes a recording of.
        """
