"""Random numbers: an independent generator for each purpose, all fixed by one seed."""

from __future__ import annotations

import zlib

import numpy as np

from crankwise.errors import UsageError


def stream(seed: int, *purpose: str) -> np.random.Generator:
    """Return the generator for one purpose, named by words such as vehicle and channel.

    A new channel or fault leaves the numbers of all others as they were.

    Raises
    ------
    UsageError
        The seed is negative.
    """
    if seed < 0:
        raise UsageError(f"seed: must be 0 or greater, not {seed}")
    return np.random.default_rng([seed, zlib.crc32("/".join(purpose).encode())])
