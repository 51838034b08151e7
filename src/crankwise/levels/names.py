"""Names of the files in a folder of levels."""

from __future__ import annotations

from typing import Final

TIMES: Final = "times.npy"
"""Time of each sample, where the steps are unequal."""
CYCLE: Final = "cycle.npy"
"""The mean cycle: time, mean, least and greatest speed at each whole degree."""
SPEED: Final = "speed.npy"
"""Times and speeds over the recording."""


def level(channel: int, number: int) -> str:
    """One level of a channel; level 0 holds the samples themselves."""
    return f"channel-{channel}-level-{number}.npy"


def changes(channel: int) -> str:
    """Times at which a logic signal changes."""
    return f"channel-{channel}-changes.npy"


def held(channel: int) -> str:
    """States of a logic signal before each change, and after the last."""
    return f"channel-{channel}-held.npy"


def band(channel: int) -> str:
    """How far the cycles of a channel reach."""
    return f"channel-{channel}-band.npy"


def run(number: int, what: str) -> str:
    """Part of a run of teeth."""
    return f"run-{number}-{what}.npy"


def cam(number: int, what: str) -> str:
    """Part of a cam's edges."""
    return f"cam-{number}-{what}.npy"
