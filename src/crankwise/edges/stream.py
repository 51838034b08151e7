"""Edges of a recording whose samples come in and go."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from crankwise.edges import stretch as stretches
from crankwise.edges.channel import ChannelFinder
from crankwise.edges.detect import WORKERS
from crankwise.edges.stretch import Stretch
from crankwise.edges.survey import Samples
from crankwise.model.edges import Edges
from crankwise.model.recording import FloatArray


class EdgeStream:
    """Finds the edges of all channels while their samples come in.

    It holds one stretch of samples and its margins; the edges are those that
    :func:`crankwise.edges.find_all_edges` finds, however many samples come at a time.
    """

    def __init__(self) -> None:
        self._finders: tuple[ChannelFinder, ...] = ()
        self._window = _Window(0)

    def begin(self, channels: Sequence[str], *, interval_s: float) -> None:
        """Get ready for a recording, from its first sample on.

        Parameters
        ----------
        channels : sequence of str
            Names, in file order.
        interval_s : float
            Sampling interval as far as it is known yet, seconds.
        """
        self._finders = tuple(ChannelFinder(name, interval_s=interval_s) for name in channels)
        self._window = _Window(len(channels))

    def feed(self, values: Sequence[Samples], time_s: FloatArray | None = None) -> None:
        """Take the next samples of every channel.

        Parameters
        ----------
        values : sequence of np.ndarray [shape=(m,), dtype float32 or float64]
            One for each channel.
        time_s : np.ndarray [shape=(m,)], optional
            Their times, where the time base is uneven.
        """
        rows = [*values] if time_s is None else [*values, time_s]
        taken = 0
        while taken < len(values[0]):
            taken += self._window.fill([row[taken:] for row in rows])
            if self._window.is_full:
                self._work()
                self._window.move_on()

    def finish(self, *, start_s: float, interval_s: float) -> Mapping[str, Edges]:
        """Edges by channel, on the time base as it is known in the end."""
        while self._window.holds_more:
            self._work()
            self._window.move_on()
        with ThreadPoolExecutor(max_workers=WORKERS) as pool:
            found = pool.map(
                lambda finder: finder.edges(start_s=start_s, interval_s=interval_s), self._finders
            )
            return {edges.channel: edges for edges in found}

    def _work(self) -> None:
        """Find the edges of the stretch in the window."""
        with ThreadPoolExecutor(max_workers=WORKERS) as pool:
            # The list waits for all, and raises what went wrong.
            list(pool.map(ChannelFinder.take, self._finders, self._window.stretches()))


class _Window:
    """One stretch of every channel with its margins, and the stamps where they are uneven.

    ``begin`` is the first sample of the stretch, ``first`` that of its margin.
    """

    def __init__(self, channels: int) -> None:
        self._channels = channels
        self._rows: list[Samples] = []
        self._held = 0
        self.begin = 0
        self.first = 0

    @property
    def is_full(self) -> bool:
        """Whether the stretch and both margins are here."""
        return self.first + self._held == self.begin + stretches.STRETCH + stretches.MARGIN

    @property
    def holds_more(self) -> bool:
        """Whether there are samples that belong to no stretch so far."""
        return self.first + self._held > self.begin

    def fill(self, rows: Sequence[Samples]) -> int:
        """Copy in as many samples as there is room for, and say how many."""
        if not self._rows:
            room = stretches.STRETCH + 2 * stretches.MARGIN
            self._rows = [np.empty(room, dtype=row.dtype) for row in rows]
        end = self.begin + stretches.STRETCH + stretches.MARGIN - self.first
        count = min(len(rows[0]), end - self._held)
        for held, row in zip(self._rows, rows, strict=True):
            held[self._held : self._held + count] = row[:count]
        self._held += count
        return count

    def stretches(self) -> list[Stretch]:
        """The stretch of every channel."""
        rows = [row[: self._held] for row in self._rows]
        end = min(self.begin + stretches.STRETCH, self.first + self._held)
        stamps = rows[self._channels] if len(rows) > self._channels else None
        return [Stretch(row, self.first, self.begin, end, stamps) for row in rows[: self._channels]]

    def move_on(self) -> None:
        """Let go of what the next stretch doesn't reach back to."""
        self.begin += stretches.STRETCH
        first = max(self.begin - stretches.MARGIN, 0)
        shift = min(first - self.first, self._held)
        for row in self._rows:
            row[: self._held - shift] = row[shift : self._held].copy()
        self._held -= shift
        self.first += shift
