"""What a watch made of the files of its folder."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from crankwise.model.comparison import Comparison
from crankwise.model.measurement import Measurement

Outcome = Literal["compared", "measured", "repeated", "refused"]


@dataclass(frozen=True, slots=True)
class FileState:
    """A file of a folder as it stood: what tells that it has not changed since.

    Attributes
    ----------
    path : str
        Place within the folder, parts parted by ``/``.
    size_bytes : int
    changed_ns : int
        When it was last written, as its drive tells, in nanoseconds since 1970.
    """

    path: str
    size_bytes: int
    changed_ns: int


@dataclass(frozen=True, slots=True)
class Seen:
    """What became of one file.

    Attributes
    ----------
    id : int
        Counts up with every file.
    folder : str
        The folder that is watched; ``file`` is the file within it.
    file : FileState
    seen_at : datetime
        UTC.
    outcome : {"compared", "measured", "repeated", "refused"}
        Measured and compared; measured with nothing to compare with; a recording that was taken
        before, under this or another name; or nothing that can be measured.
    text : str
        What else there is to say; of one refused why, of one repeated which it is.
    sha256 : str or None
        Digest of the file; ``None`` where it was not read to the end.
    measurement : Measurement or None
    comparison : Comparison or None
    visit_id : int or None
        The visit it was put with, where its name tells of one.
    """

    id: int
    folder: str
    file: FileState
    seen_at: datetime
    outcome: Outcome
    text: str
    sha256: str | None = None
    measurement: Measurement | None = None
    comparison: Comparison | None = None
    visit_id: int | None = None
