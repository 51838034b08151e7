"""Recordings, known-goods and jobs kept on SQLite or PostgreSQL, with every original.

``with open_store("shelf") as store: store.recordings.add("van.csv")``
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from crankwise.store.history import AsOf, History, HistorySeries
    from crankwise.store.opening import has_store, open_store
    from crankwise.store.state import job_state
    from crankwise.store.store import Store

__all__ = ["AsOf", "History", "HistorySeries", "Store", "has_store", "job_state", "open_store"]

_HOME = {
    "AsOf": "history",
    "History": "history",
    "HistorySeries": "history",
    "Store": "store",
    "has_store": "opening",
    "job_state": "state",
    "open_store": "opening",
}


def __getattr__(name: str) -> Any:
    # Imported on first use: the command line has to start fast.
    if name not in _HOME:
        raise AttributeError(f"module 'crankwise.store' has no attribute '{name}'")
    from importlib import import_module  # noqa: PLC0415

    return getattr(import_module(f"crankwise.store.{_HOME[name]}"), name)
