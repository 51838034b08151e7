"""Levels of a kept recording: built when it is measured, and again from its original when lost."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise import pipeline, readers
from crankwise.levels.cache import key_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from crankwise.levels import Levels, LevelsCache
    from crankwise.model.kept import KeptMeasurement
    from crankwise.store import Store


def key_of_kept(kept: KeptMeasurement) -> str:
    """Name of the levels that belong to a measurement."""
    return key_of(kept.recording_sha256, kept.settings, method=kept.method)


def make_levels(
    store: Store,
    cache: LevelsCache,
    kept: KeptMeasurement,
    *,
    progress: Callable[[str, float], None] | None = None,
) -> Levels:
    """Build the levels of a recording from its original, as it was measured.

    Raises
    ------
    UsageError
        The original isn't kept here, or levels can't be written.
    UnreadableError, NotMeasurableError
        As for reading and measuring.
    """
    tell = progress or (lambda _step, _share: None)
    settings = kept.settings
    with store.recordings.original(kept.recording_sha256) as path:
        recording = readers.read(
            path,
            interval_s=settings.interval_s,
            progress=lambda share: tell("reading the file", 0.4 * share),
        )
        traced = pipeline.measure_traced(
            recording,
            crank=settings.crank,
            cams=settings.cams,
            progress=lambda step, share: tell(step, 0.4 + 0.3 * share),
        )
        return cache.build(
            key_of_kept(kept),
            recording,
            traced.trace,
            progress=lambda step, share: tell(step, 0.7 + 0.3 * share),
        )
