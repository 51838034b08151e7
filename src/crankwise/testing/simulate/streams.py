"""Random numbers: an independent generator for each purpose, all fixed by one seed."""

from __future__ import annotations

import zlib

import numpy as np

from crankwise.errors import UsageError


def stream(seed: int, purpose: str) -> np.random.Generator:
    """Generator for one purpose; a new channel or fault leaves all others as they were.

    Raises
    ------
    UsageError
        The seed is negative.
    """
    if seed < 0:
        raise UsageError(f"seed: must be 0 or greater, not {seed}")
    return np.random.default_rng([seed, zlib.crc32(purpose.encode())])
