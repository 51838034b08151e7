"""What a store keeps of recordings: originals, measurements by method, and what was deleted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from crankwise.model.measurement import Measurement


@dataclass(frozen=True, slots=True)
class Deletion:
    """Record of something that was deleted on purpose.

    ``kind`` says what it was (``original`` or ``details``), ``subject`` which one: the digest of
    the recording, or the number of the vehicle.
    """

    kind: Literal["original", "details"]
    subject: str
    why: str
    deleted_at: datetime


@dataclass(frozen=True, slots=True)
class KeptRecording:
    """A recording that the store knows.

    Attributes
    ----------
    sha256 : str
        Hex digest of the original's bytes; names the recording.
    name : str
        File name under which it first came.
    size_bytes : int or None
        Size of the original; ``None`` where it is not kept here.
    added_at : datetime
        When the recording first came, UTC.
    deleted : Deletion or None
        The last deletion of its original, where it has not come back since.
    """

    sha256: str
    name: str
    size_bytes: int | None
    added_at: datetime
    deleted: Deletion | None = None

    @property
    def is_kept(self) -> bool:
        """Whether the original is here."""
        return self.size_bytes is not None


@dataclass(frozen=True, slots=True)
class MeasureSettings:
    """What was stated when a recording was measured, so that it can be measured again alike.

    ``crank`` is the channel, ``cams`` the channel of each role, ``interval_s`` the sampling
    interval; ``None`` where nothing was stated.
    """

    crank: str | None = None
    cams: Mapping[str, str] | None = None
    interval_s: float | None = None


@dataclass(frozen=True, slots=True)
class KeptMeasurement:
    """One result of measuring a recording; a newer method adds another and replaces none.

    ``method`` is the version of the measuring method, ``program`` that of this program.
    """

    id: int
    recording_sha256: str
    method: str
    program: str
    measured_at: datetime
    settings: MeasureSettings
    measurement: Measurement


@dataclass(frozen=True, slots=True)
class EdgeChange:
    """One cam edge in two measurements of one recording, crank degrees.

    ``uncertainty_deg`` is the expanded uncertainty of the newer one.
    """

    role: str
    edge: str
    before_deg: float
    after_deg: float
    change_deg: float
    uncertainty_deg: float


@dataclass(frozen=True, slots=True)
class Remeasured:
    """A recording measured again.

    ``edges`` holds every edge that both found; ``words`` what changed, one sentence each, empty
    if nothing did; ``failed`` why there is no newer result.
    """

    recording: KeptRecording
    before: KeptMeasurement | None
    after: KeptMeasurement | None
    edges: tuple[EdgeChange, ...] = ()
    words: tuple[str, ...] = ()
    failed: str | None = None


@dataclass(frozen=True, slots=True)
class Problem:
    """Something that verifying a store found.

    Attributes
    ----------
    what : str
        Of what kind, in one word; a ``note`` is no damage.
    text : str
        What is wrong, where, and what to do.
    """

    what: Literal["database", "row", "original", "measurement", "known-good", "note"]
    text: str


@dataclass(frozen=True, slots=True)
class VerifyReport:
    """What was checked, by number, and what was found.

    Attributes
    ----------
    recordings, measurements, known_goods : int
        Originals, measurements and known-goods that were checked.
    rows : int
        Other rows: facts, comparisons, what the workshop keeps about itself, what watches saw.
    problems : tuple of Problem
        What is wrong.
    notes : tuple of Problem
        Files that belong to nothing, and what could not be compared.
    """

    recordings: int
    measurements: int
    known_goods: int
    rows: int
    problems: tuple[Problem, ...]
    notes: tuple[Problem, ...] = ()

    @property
    def is_sound(self) -> bool:
        """Whether nothing is wrong."""
        return not self.problems


@dataclass(frozen=True, slots=True)
class Backup:
    """A copy of a store.

    Attributes
    ----------
    path : Path
        Its folder, which is a store itself.
    originals : int
        Originals in it.
    missing : tuple of str
        Originals that are missing or damaged in the store, and so in its copy.
    """

    path: Path
    originals: int
    missing: tuple[str, ...] = ()
