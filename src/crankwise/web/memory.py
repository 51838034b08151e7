"""Views kept until something in the store changes: most pages are asked for more than once.

A view holds words, so it is kept in the language it was made in.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Final, TypeVar

from crankwise.language import current
from crankwise.store import Store
from crankwise.store.stamp import Stamp

_Made = TypeVar("_Made")
_MOST: Final = 256


class Memory:
    """What was made from the store, by name, for as long as the store stays as it is."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._kept: OrderedDict[Hashable, tuple[Stamp, object]] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], _Made]) -> _Made:
        """Return what was made under a key, made anew if the store has changed since."""
        stamp, key = self._store.stamp(), (current(), key)
        with self._lock:
            if key in self._kept and self._kept[key][0] == stamp:
                self._kept.move_to_end(key)
                return self._kept[key][1]  # type: ignore[return-value]  # made under this key
        made = make()
        with self._lock:
            self._kept[key] = (stamp, made)
            self._kept.move_to_end(key)
            while len(self._kept) > _MOST:
                self._kept.popitem(last=False)
        return made
