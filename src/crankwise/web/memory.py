"""Views kept until something in the store changes: most pages are asked for more than once.

A view holds words, so it is kept in the language it was made in.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Final, TypeVar, cast

from crankwise.language import current
from crankwise.store import Store
from crankwise.store.remembered import Remembered

_Made = TypeVar("_Made")
_MOST: Final = 256


class Memory:
    """What was made from the store, by name, for as long as the store stays as it is."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._kept: Remembered[object] = Remembered(_MOST)

    def get(self, key: Hashable, make: Callable[[], _Made]) -> _Made:
        """Return what was made under a key, made anew if the store has changed since."""
        rests_on = (self._store.stamp(), current(), key)
        return cast("_Made", self._kept.get(rests_on, make))  # made under this key
