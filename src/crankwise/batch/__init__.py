"""Thousands of recordings, measured beside each other, as one table.

What is done to one recording is that of ``crankwise measure`` and ``crankwise compare``; here it is
only handed out, gathered, and kept whatever breaks. The same recordings give the same table, byte
for byte, on one process or on a cluster.
"""

from __future__ import annotations

from crankwise.batch.plan import Plan
from crankwise.batch.run import Progress, Summary, run_batch
from crankwise.batch.sources import find_sources

__all__ = ["Plan", "Progress", "Summary", "find_sources", "run_batch"]
