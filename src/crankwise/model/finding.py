"""What a good colleague would point out, and what was done to the data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Level = Literal["note", "caution", "fault"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One remark on a recording or a result.

    Attributes
    ----------
    code : str
        Stable kebab-case identifier, for example ``phaser-moving``.
    level : {"note", "caution", "fault"}
        ``note`` informs, ``caution`` limits what the result may be used for, ``fault`` names
        something broken.
    text : str
        One or two plain sentences: what was seen, what it means, what to do.
    """

    code: str
    level: Level
    text: str


@dataclass(frozen=True, slots=True)
class Step:
    """One processing step with its settings, so that a result carries its history."""

    name: str
    settings: Mapping[str, str | float | int | bool | None] = field(default_factory=dict)
