"""Child processes that start in milliseconds and are killed at a moment of one's choosing.

A child is a copy of this process (``fork``), with everything imported but no database, thread or
file open. So this process must do no work of its own: whatever touches a store is done in a child.
"""

from __future__ import annotations

import os
import pickle
import select
import signal
import sys
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, TypeVar

Tell = Callable[[str], None]
"""What a child calls when something is done: the line outlives the child."""

_Result = TypeVar("_Result")
_CHUNK: Final = 1 << 16


@dataclass(frozen=True, slots=True)
class Killed:
    """A child that is gone.

    Attributes
    ----------
    said : tuple of str
        What it had told when it was killed.
    was_cut : bool
        It was killed in the middle of its work; else it had come to its end.
    """

    said: tuple[str, ...]
    was_cut: bool


class ChildError(Exception):
    """A child failed by itself; the text is its traceback."""


def run_and_kill(work: Callable[[Tell], None], after_s: float | None) -> Killed:
    """Run some work in a child and kill it after a while (SIGKILL), unless it has ended.

    Parameters
    ----------
    work : callable
    after_s : float or None
        Counted from when the child says that it begins; ``None``: let it come to its end.

    Raises
    ------
    ChildError
        The work itself failed.
    """
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        _work_and_leave(work, writing)
    os.close(writing)
    try:
        said = _listen(reading, child, after_s)
    finally:
        os.close(reading)
        _, status = os.waitpid(child, 0)
    lines = tuple(said.decode().split("\n")[1:-1])  # the last one may be half
    if lines and lines[-1].startswith("!"):
        raise ChildError(lines[-1].replace("\\n", "\n"))
    return Killed(lines, was_cut=os.WIFSIGNALED(status))


def asked(question: Callable[[], _Result]) -> _Result:
    """Return what a child finds; this process stays as it is.

    Raises
    ------
    ChildError
        The question failed.
    """
    killed = run_and_kill(lambda tell: tell(pickle.dumps(question()).hex()), None)
    result: _Result = pickle.loads(bytes.fromhex(killed.said[0]))  # noqa: S301  our own child's
    return result


def timed(work: Callable[[Tell], None]) -> float:
    """Return how long some work takes from where it says that it begins, s."""
    begun = time.monotonic()
    run_and_kill(work, None)
    return time.monotonic() - begun


def teller(writing: int) -> Tell:
    """Return what writes a line to a handle at once."""

    def tell(line: str) -> None:
        data = f"{line}\n".encode()
        while data:
            data = data[os.write(writing, data) :]

    return tell


def _work_and_leave(work: Callable[[Tell], None], writing: int) -> None:
    """Do the work and leave without cleaning up what belongs to the parent."""
    tell = teller(writing)
    code = 1
    try:
        tell("begun")
        work(tell)
        code = 0
    except BaseException:  # noqa: BLE001  told to the parent, whatever it is
        tell("!" + traceback.format_exc().replace("\n", "\\n"))
    finally:
        sys.stdout.flush()
        os._exit(code)


def _listen(reading: int, child: int, after_s: float | None) -> bytes:
    """Read all that the child says; kill it so long after its first word."""
    said = b""
    until: float | None = None
    while True:
        if said and after_s is not None and until is None:
            until = time.monotonic() + after_s
        left_s = None if until is None else max(0.0, until - time.monotonic())
        ready, _, _ = select.select([reading], [], [], left_s)
        if not ready:
            os.kill(child, signal.SIGKILL)
            until = float("inf")
            after_s = None
            while chunk := os.read(reading, _CHUNK):
                said += chunk
            return said
        chunk = os.read(reading, _CHUNK)
        if not chunk:
            return said
        said += chunk


def imported(*names: str) -> dict[str, Any]:
    """Import modules once, so that no child has to."""
    from importlib import import_module  # noqa: PLC0415

    return {name: import_module(name) for name in names}
