"""The store under kills, power cuts and a hostile system: writes a table of docs/robustness.md.

    python -m attacks.store                 1,050 kills, 300 power cuts, everything else once
    python -m attacks.store --tries 100     so many kills, and the rest in proportion
    python -m attacks.store --only locked   only attacks whose name holds that
    python -m attacks.store --write         everything, and into docs/robustness.md

Kills are by SIGKILL, at moments drawn evenly from the time that the work takes; what was reported
as done before must be there, whole, afterwards.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np

from attacks import store_hostile, store_kills, store_kills_files, store_power
from attacks.children import asked, imported, run_and_kill, timed
from attacks.outcome import Outcome, as_table, write_section
from attacks.store_kills import Kind

KILLS: Final = 1_050
_TIMED: Final = 3
_MODULES: Final = (
    "crankwise.store.migrations", "alembic.command", "alembic.autogenerate", "crankwise.batch",
    "crankwise.batch.run", "crankwise.batch.sources", "crankwise.readers.measuring", "uvicorn",
    "crankwise.web.app", "crankwise.watch.watcher", "crankwise.levels", "pydantic", "polars",
)  # fmt: skip


def main(arguments: list[str] | None = None) -> int:
    """Attack, print, and write if asked; 0 if nothing was lost, else 1."""
    parser = argparse.ArgumentParser(prog="attacks.store", description=__doc__.split("\n")[0])
    parser.add_argument("--tries", type=int, default=KILLS, help="kills in all")
    parser.add_argument("--only", default="", help="a part of the names of attacks")
    parser.add_argument("--seed", type=int, default=8)
    parser.add_argument("--write", action="store_true", help="put it into docs/robustness.md")
    chosen = parser.parse_args(arguments)
    if chosen.write and (chosen.tries < KILLS or chosen.only):
        parser.error("--write needs every attack, and the full number of tries")
    begun = time.monotonic()
    imported(*_MODULES)
    outcomes = []
    for outcome in attacked(chosen.tries, chosen.seed, chosen.only):
        outcomes.append(outcome)
        took_s = time.monotonic() - begun
        print(f"{took_s:5.0f} s  {outcome.attack}: {outcome.through}", file=sys.stderr)
    if not outcomes:
        parser.error(f"no attack is called {chosen.only!r}")
    print(as_table(outcomes))
    if chosen.write:
        minutes = (time.monotonic() - begun) / 60
        write_section("store", outcomes, note=f"{NOTE} This took {minutes:.0f} minutes.")
    return 0 if all(outcome.holds for outcome in outcomes) else 1


NOTE: Final = (
    "What got through is a record that had been reported as done and was gone, a torn one, a store "
    "that `crankwise verify` finds unsound, or work that could not go on. A power cut keeps what "
    "was flushed; of what was not, each file keeps a beginning, each page of the log or none, and "
    "each new name or none, drawn anew: the model of SQLite's documentation (\"How SQLite Is "
    'Tested", section 3.3). Reordering inside one flushed write, a disk that lies about flushing, '
    "and damage by heat or age are not modelled; the last is what `crankwise verify` is for."
)


def attacked(tries: int, seed: int, only: str) -> Iterator[Outcome]:
    """Every attack of its share."""
    chance = np.random.default_rng(seed)
    for kind, share in (*store_kills.kinds(), *store_kills_files.kinds()):
        if only in f"kill: {kind.name}":
            with tempfile.TemporaryDirectory(prefix="crankwise-kills-") as folder:
                yield killed(kind, max(1, round(share * tries / KILLS)), chance, Path(folder))
    yield from store_power.attacked(tries / KILLS, chance, only)
    yield from store_hostile.attacked(only)


def killed(kind: Kind, tries: int, chance: np.random.Generator, place: Path) -> Outcome:
    """Kill one kind of work so many times."""
    takes_s = _duration(kind, place / "timed")
    bad: list[str] = []
    cut = told = 0
    for number in range(tries):
        folder = place / str(number // kind.together)
        if number % kind.together == 0:
            folder.mkdir()
            asked(lambda: kind.begin(folder, number))  # noqa: B023  done before the next one
        after_s = chance.uniform(0.0, takes_s)
        gone = run_and_kill(lambda tell: kind.work(folder, tell), after_s)  # noqa: B023
        cut += gone.was_cut
        told += len(gone.said)
        lost = asked(lambda: kind.find(folder, gone.said))  # noqa: B023
        bad += [f"kill {number}: {words}" for words in lost[:1]]
    for words in bad[:5]:
        print(f"{kind.name}: {words}")
    seen = (
        f"{cut:,} in the middle of {takes_s:.1f} s; {told:,} reports all true"
        if not bad
        else bad[0]
    )
    return Outcome(f"kill: {kind.name}", tries, len(bad), seen)


def _duration(kind: Kind, folder: Path) -> float:
    """How long the work takes, s: the median of a few."""
    folder.mkdir()
    asked(lambda: kind.begin(folder, 0))
    took = []
    for number in range(_TIMED):
        took.append(timed(lambda tell: kind.work(folder, tell)))
        if number + 1 < _TIMED:
            asked(lambda: kind.find(folder, ()))
    return float(np.median(took))


if __name__ == "__main__":
    raise SystemExit(main())
