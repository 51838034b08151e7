"""A folder watched: whatever a scope saves there is measured, compared, kept and told.

``with Watcher(store, folder, tell=print): ...`` watches in a thread of its own and tells of every
file as a :class:`~crankwise.model.seen.Seen`.
"""

from __future__ import annotations

from crankwise.watch.watcher import Manner, Watcher

__all__ = ["Manner", "Watcher"]
