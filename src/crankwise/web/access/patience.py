"""How long the server waits for a client: whoever is silent in the middle is hung up on."""

from __future__ import annotations

import asyncio
from typing import Final

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S: Final = 20.0
"""For a whole request line with its headers."""
SILENCE_S: Final = 60.0
"""Without a byte of a body, or without taking a byte of an answer.

Common practice, no source: a tablet at the edge of the wireless network pauses for seconds.
"""


class Patient(H11Protocol):
    """One connection; nobody keeps it for nothing.

    Between requests the server's own time for idle connections counts.
    """

    _wait: asyncio.TimerHandle | None = None
    _reads_slowly: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Give the first request its time."""
        super().connection_made(transport)
        self._again(HEAD_S)

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no more."""
        self._stop()
        self.resume_writing()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take what came, and wait for the rest if there is one."""
        super().data_received(data)
        state = self.conn.their_state
        if state is h11.SEND_BODY:
            self._again(SILENCE_S)
        elif state is not h11.IDLE:
            self._stop()
        elif self._wait is None:  # a head that has begun gets no more time for each byte
            self._again(HEAD_S)

    def send_400_response(self, msg: str) -> None:
        """Refuse what is no HTTP; whoever works on a request that ended so answers nobody."""
        is_open = self.cycle is not None and not self.cycle.response_complete
        if is_open and self.cycle.response_started:
            self.transport.abort()
        else:
            super().send_400_response(msg)
        if is_open:
            self.cycle.disconnected = True
            self.cycle.message_event.set()

    def pause_writing(self) -> None:
        """Give a client that does not take its answer some time."""
        super().pause_writing()
        self._reads_slowly = self.loop.call_later(SILENCE_S, self.transport.abort)

    def resume_writing(self) -> None:
        """Go on: something was taken."""
        if self._reads_slowly is not None:
            self._reads_slowly.cancel()
            self._reads_slowly = None
        super().resume_writing()

    def _again(self, seconds: float) -> None:
        self._stop()
        self._wait = self.loop.call_later(seconds, self._hang_up)

    def _stop(self) -> None:
        if self._wait is not None:
            self._wait.cancel()
            self._wait = None

    def _hang_up(self) -> None:
        is_busy = self.cycle is not None and not self.cycle.response_complete
        if is_busy and self.flow.read_paused:
            self._again(SILENCE_S)  # it is the server that does not read on
        else:
            self.transport.abort()
