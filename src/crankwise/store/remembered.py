"""Results that take long, kept for as long as what they rest on stays the same."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

_Result = TypeVar("_Result")


class Remembered(Generic[_Result]):
    """The last few results, each by what it rests on.

    Parameters
    ----------
    most : int
        Most results kept; the one not asked for the longest goes.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._results: OrderedDict[Hashable, _Result] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, rests_on: Hashable, work_out: Callable[[], _Result]) -> _Result:
        """Return the result that rests on this, worked out if it is not known.

        Two who ask at once may both work it out; nobody waits for another.
        """
        with self._lock:
            if rests_on in self._results:
                self._results.move_to_end(rests_on)
                return self._results[rests_on]
        result = work_out()
        with self._lock:
            self._results[rests_on] = result
            while len(self._results) > self._most:
                self._results.popitem(last=False)
        return result
