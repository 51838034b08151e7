"""What a folder of levels holds, as it stands in its ``levels.json``."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final, Self

from crankwise.errors import UnreadableError

FORMAT: Final = "crankwise.levels/1"
NAME: Final = "levels.json"


@dataclass(frozen=True, slots=True)
class ChannelInfo:
    """One channel.

    Attributes
    ----------
    name, unit : str
    is_sampled : bool
        Whether it has samples and levels; else the times of its changes.
    low, high : float
        Values of the lowest and the highest step.
    has_missing : bool
    """

    name: str
    unit: str
    is_sampled: bool
    low: float
    high: float
    has_missing: bool


@dataclass(frozen=True, slots=True)
class RunInfo:
    """One run of teeth, without its arrays."""

    first_deg: float
    step_deg: float
    start_deg: float
    end_deg: float
    offset_deg: float
    is_placed: bool


@dataclass(frozen=True, slots=True)
class CamInfo:
    """One cam, without its arrays."""

    role: str
    channel: str


@dataclass(frozen=True, slots=True)
class LevelsInfo:
    """The whole folder.

    Attributes
    ----------
    name, sha256 : str
        Of the recording.
    start_s, duration_s, interval_s : float
        Time base; an interval of 0 stands for an event list.
    samples : int
        In each channel; 0 for an event list.
    has_times : bool
        Whether the steps are unequal, so that the time of each sample is kept.
    crank : str
        Channel of the crank.
    cycles : int
        Cycles laid over each other, the first and the last one in part.
    channels, runs, cams : tuple
    """

    name: str
    sha256: str
    start_s: float
    duration_s: float
    interval_s: float
    samples: int
    has_times: bool
    crank: str
    cycles: int
    channels: tuple[ChannelInfo, ...]
    runs: tuple[RunInfo, ...]
    cams: tuple[CamInfo, ...]
    format: str = FORMAT

    def write(self, folder: Path) -> None:
        """Write it into a folder."""
        text = json.dumps(asdict(self), indent=1)
        (folder / NAME).write_text(text, encoding="utf-8")

    @classmethod
    def read(cls, folder: Path) -> Self:
        """Read it from a folder.

        Raises
        ------
        UnreadableError
            It is missing, damaged or of another version.
        """
        try:
            document = json.loads((folder / NAME).read_text(encoding="utf-8"))
            return cls._from(document)
        except (OSError, ValueError, TypeError, KeyError) as error:
            raise UnreadableError(
                f"{folder}: these are no levels of this version; they are made again when deleted"
            ) from error

    @classmethod
    def _from(cls, document: Mapping[str, Any]) -> Self:
        if document["format"] != FORMAT:
            raise ValueError(document["format"])
        parts = {
            "channels": tuple(ChannelInfo(**item) for item in document["channels"]),
            "runs": tuple(RunInfo(**item) for item in document["runs"]),
            "cams": tuple(CamInfo(**item) for item in document["cams"]),
        }
        return cls(**{**document, **parts})
