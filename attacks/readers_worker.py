"""A process that tries mutated files under limits, and notes each before it is tried.

``python -m attacks.readers_worker KIND SEED FIRST LAST JOURNAL`` prints one JSON line for each file
that got through, and tallies of the others. The journal holds the number of the file at hand, so
that whoever started the process knows which one ended it.
"""

from __future__ import annotations

import json
import mmap
import os
import random
import resource
import struct
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from contextlib import suppress
from pathlib import Path
from typing import Any

from attacks.readers_mutate import mutated
from attacks.readers_try import KINDS, outcome

JOURNAL = struct.Struct("<qd")
MOST_SECONDS = 5.0
"""Of processor time, for one file."""
MOST_BYTES = 400_000_000
"""Growth of the memory in use; address space may grow by four times as much."""
_TALLY_EVERY = 100


def file_of(kind: str, seed: int, number: int) -> tuple[str, bytes]:
    """The file of a number, the same at any time."""
    return mutated(kind, KINDS[kind][0](), random.Random(f"{kind} {seed} {number}"))


def main(arguments: list[str]) -> int:
    """Try all files from the first number to the one before the last."""
    kind, seed, first, last, journal = arguments
    report = os.fdopen(os.dup(1), "w", buffering=1)
    with (
        tempfile.TemporaryDirectory(prefix="crankwise-try-", dir=_fast_folder()) as name,
        Path(journal).open("r+b") as file,
        mmap.mmap(file.fileno(), JOURNAL.size) as note,
    ):
        worker = Worker(kind, int(seed), Path(name), note)
        for line in worker.run(int(first), int(last)):
            report.write(json.dumps(line) + "\n")
    return 0


def _fast_folder() -> str | None:
    return "/dev/shm" if os.path.isdir("/dev/shm") else None  # noqa: S108,PTH112  memory, not disk


class Worker:
    """Tries one kind of file."""

    def __init__(self, kind: str, seed: int, folder: Path, note: Any) -> None:
        make, self._route = KINDS[kind]
        self._kind, self._seed, self._folder, self._note = kind, seed, folder, note
        self._seeds = make()
        self._said = tempfile.TemporaryFile(dir=folder)  # noqa: SIM115  open as long as the worker
        self._warm_up()
        os.dup2(self._said.fileno(), 1)
        os.dup2(self._said.fileno(), 2)
        self._peak_bytes = _peak_bytes()
        _limit_address_space()

    def _warm_up(self) -> None:
        """Import and cache what every file needs, before limits are set."""
        warnings.simplefilter("always")
        for category in (DeprecationWarning, PendingDeprecationWarning, ResourceWarning):
            warnings.simplefilter("ignore", category)
        for name, content in self._seeds.items():
            for number in range(16):
                with suppress(Exception):  # comes again when it counts
                    self._try(name, content, number)

    def run(self, first: int, last: int) -> Any:
        """Yield what got through, and tallies."""
        tally: Counter[str] = Counter()
        for number in range(first, last):
            self._note[:] = JOURNAL.pack(number, time.time())
            rng = random.Random(f"{self._kind} {self._seed} {number}")
            name, content = mutated(self._kind, self._seeds, rng)
            found = self._judged(name, content, number)
            if found is not None:
                tally["through"] += 1
                yield {"number": number, "name": name, **found}
            else:
                tally[self._came] += 1
            if sum(tally.values()) >= _TALLY_EVERY or number == last - 1 or self._is_full():
                yield {"tally": tally, "next": number + 1}
                tally = Counter()
            if self._is_full():
                return

    def _judged(self, name: str, content: bytes, number: int) -> dict[str, str] | None:
        began = time.process_time()
        try:
            self._came = self._try(name, content, number)
        except BaseException as error:  # noqa: BLE001  panics of native libraries are no Exception
            return {"why": _place_of(error), "detail": traceback.format_exc()[-3000:]}
        took_s = time.process_time() - began
        if took_s > MOST_SECONDS:
            return {"why": "slow", "detail": f"{took_s:.1f} s, {self._came}"}
        if self._is_full():
            return {"why": "memory", "detail": f"{_peak_bytes() - self._peak_bytes} B"}
        said = self._said_since()
        return {"why": "prints", "detail": said} if said else None

    def _try(self, name: str, content: bytes, number: int) -> str:
        path = self._folder / name
        path.write_bytes(content)
        return outcome(self._route, path, number)

    def _is_full(self) -> bool:
        return _peak_bytes() - self._peak_bytes > MOST_BYTES

    def _said_since(self) -> str:
        """What was printed while the last file was tried."""
        sys.stdout.flush()
        sys.stderr.flush()
        if not os.fstat(self._said.fileno()).st_size:
            return ""
        self._said.seek(0)
        text = self._said.read().decode(errors="replace")
        self._said.seek(0)
        self._said.truncate()
        return text[-2000:]


def _place_of(error: BaseException) -> str:
    """Kind of error and where it was raised, to tell equal ones."""
    own = [
        frame
        for frame in traceback.extract_tb(error.__traceback__)
        if f"{os.sep}crankwise{os.sep}" in frame.filename
    ]
    where = f"{Path(own[-1].filename).name}:{own[-1].lineno}" if own else "?"
    words = str(error).split(":")[0][:60] if isinstance(error, AssertionError) else ""
    return f"{type(error).__name__} {where} {words}".strip()


def _peak_bytes() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def _limit_address_space() -> None:
    with open("/proc/self/statm", encoding="ascii") as file:  # noqa: PTH123
        pages = int(file.read().split()[0])
    limit = pages * resource.getpagesize() + 4 * MOST_BYTES
    resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
