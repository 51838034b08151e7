"""Power cuts in the middle of writing, migrating, importing and saving.

The work runs once under strace; from its calls, disks are made as a power cut at any moment may
leave them (:mod:`attacks.power`), and looked through as after a kill.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from attacks import store_kills, store_kills_files
from attacks.children import asked, teller
from attacks.outcome import Outcome
from attacks.power import Call, Disk, traced
from attacks.store_kills import Kind

SHARES: Final = {
    "writing: all that a day writes": 150,
    "migrating an older store": 60,
    "importing a bundle of 40 known-goods": 60,
    "writing results: document, bundle, report, backup": 80,
}
"""Cuts of each kind."""


def attacked(share: float, chance: np.random.Generator, only: str) -> Iterator[Outcome]:
    """Cut the power so many times of each kind whose name holds some text."""
    kinds = [kind for kind in _kinds() if only in f"power cut: {kind.name}"]
    if kinds and shutil.which("strace") is None:
        print("power cuts need strace, which is not installed: left out")
        return
    for kind in kinds:
        with tempfile.TemporaryDirectory(prefix="crankwise-power-") as folder:
            yield cut(kind, max(1, round(SHARES[kind.name] * share)), chance, Path(folder))


def cut(kind: Kind, tries: int, chance: np.random.Generator, place: Path) -> Outcome:
    """Trace one kind of work, then cut the power at so many moments of it."""
    live, before = place / "live", place / "before"
    live.mkdir()
    asked(lambda: kind.begin(live, 0))
    shutil.copytree(live, before)
    calls = traced(
        [sys.executable, "-m", "attacks.store_power", kind.name, str(live)], place / "calls"
    )
    first = next(n for n, call in enumerate(calls) if str(live).encode() in b"".join(call.texts))
    bad: list[str] = []
    told = 0
    for number in range(tries):
        after = int(chance.integers(first, len(calls) + 1))
        disk = Disk(str(live), before)
        for call in calls[:after]:
            disk.take(call)
        left = place / f"left-{number}"
        disk.cut(chance, left)
        said = told_by(calls[:after])
        told += len(said)
        lost = asked(lambda: kind.find(left, said))  # noqa: B023  done before the next one
        bad += [f"cut {number} after call {after}: {words}" for words in lost[:1]]
        shutil.rmtree(left)
    for words in bad[:5]:
        print(f"{kind.name}: {words}")
    flushes = sum(call.name in ("fsync", "fdatasync") for call in calls[first:])
    seen = f"{len(calls) - first:,} calls, {flushes:,} flushes; {told:,} reports all true"
    return Outcome(f"power cut: {kind.name}", tries, len(bad), bad[0] if bad else seen)


def told_by(calls: Sequence[Call]) -> tuple[str, ...]:
    """What the work had told by then, which it wrote to its output."""
    said = b"".join(call.texts[0] for call in calls if (call.name, call.handle) == ("write", 1))
    return tuple(said.decode().splitlines())


def _kinds() -> list[Kind]:
    both = (*store_kills.kinds(), *store_kills_files.kinds())
    return [kind for kind, _ in both if kind.name in SHARES]


def main(name: str, folder: str) -> None:
    """Do one kind of work and tell on the output what is done."""
    [kind] = [kind for kind in _kinds() if kind.name == name]
    kind.work(Path(folder), teller(1))


if __name__ == "__main__":
    main(*sys.argv[1:])
