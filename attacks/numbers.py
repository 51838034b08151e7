"""Hostile recordings against the core: how often a wrong answer is stated as sure.

    python -m attacks.numbers                   5,400 draws, about 20 minutes on one core
    python -m attacks.numbers --tries 200       a look
    python -m attacks.numbers --kind "mains"    only kinds with this in their name
    python -m attacks.numbers --write           everything, and into docs/robustness.md

Every draw carries its own seed. What counts as a confident wrong answer stands in
``attacks/numbers_judge.py``.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from zlib import crc32

# Each process computes on one core; libraries that start threads of their own would only queue.
for _variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_variable, "1")
if not __package__:  # run by its path instead of as a module
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np  # noqa: E402  the number of threads comes first
from benchmarks.spread import spread  # noqa: E402

from attacks import (  # noqa: E402  the path comes first
    numbers_hookup,
    numbers_nothing,
    numbers_running,
    numbers_signal,
    numbers_target,
    numbers_time,
)
from attacks.numbers_judge import outcome_of  # noqa: E402
from attacks.outcome import Outcome, as_table, write_section  # noqa: E402
from crankwise.errors import UsageError  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from attacks.numbers_case import Case
    from attacks.numbers_judge import Came as Way
    from attacks.numbers_judge import Outcome as Came

GROUPS: Mapping[str, Mapping[str, Callable[[np.random.Generator], Case]]] = {
    "nothing to measure": numbers_nothing.KINDS,
    "signals": numbers_signal.KINDS,
    "time bases": numbers_time.KINDS,
    "how the engine turns": numbers_running.KINDS,
    "targets and known-goods": numbers_target.KINDS,
    "hook-up and names": numbers_hookup.KINDS,
}
KINDS = {name: kind for kinds in GROUPS.values() for name, kind in kinds.items()}
TRIES = 5400


@dataclass(frozen=True, slots=True)
class Draw:
    """One draw: its kind, its number, and the seed of the whole run."""

    kind: str
    number: int
    seed: int


def case_of(draw: Draw) -> Case:
    """Make the hostile recording of a draw."""
    rng = np.random.default_rng([draw.seed, crc32(draw.kind.encode()), draw.number])
    while True:
        try:
            return KINDS[draw.kind](rng)
        except UsageError:  # an engine that would stall, a phaser faster than the crank: draw again
            continue


def tried(draw: Draw) -> Came:
    """Make one draw and see what comes of it."""
    return outcome_of(case_of(draw))


def draws(tries: int, seed: int, kinds: Sequence[str]) -> list[Draw]:
    """So many draws in all, shared out evenly over the kinds."""
    return [Draw(kinds[place % len(kinds)], place // len(kinds), seed) for place in range(tries)]


def main(arguments: list[str] | None = None) -> int:
    """Attack, print, and write if asked; 0 if nothing got through, else 1."""
    parser = argparse.ArgumentParser(prog="attacks.numbers", description=__doc__.split("\n")[0])
    parser.add_argument("--tries", type=int, default=TRIES, help=f"draws in all (default {TRIES})")
    parser.add_argument("--seed", type=int, default=1, help="of the whole run (default 1)")
    parser.add_argument("--kind", default="", help="only kinds with this in their name")
    parser.add_argument("--workers", type=int, default=1, help="processes (default 1)")
    parser.add_argument("--write", action="store_true", help="put it into docs/robustness.md")
    chosen = parser.parse_args(arguments)
    kinds = [name for name in KINDS if chosen.kind in name]
    if not kinds:
        parser.error(f"no kind has {chosen.kind!r} in its name; there are {', '.join(KINDS)}")
    if chosen.write and (chosen.kind or chosen.tries < TRIES):
        parser.error(f"--write needs every kind and at least {TRIES} draws")
    begun = time.perf_counter()
    drawn = draws(chosen.tries, chosen.seed, kinds)
    came = spread(tried, drawn, workers=chosen.workers, what="numbers")
    by_kind = {
        kind: [item for draw, item in zip(drawn, came, strict=True) if draw.kind == kind]
        for kind in kinds
    }
    outcomes = [
        _outcome(group, [item for kind in members for item in by_kind.get(kind, [])])
        for group, members in GROUPS.items()
    ]
    for draw, item in zip(drawn, came, strict=True):
        if item.is_through:
            print(f"{draw.kind} #{draw.number} (seed {draw.seed}): {item.came}: {item.said}")
    for kind, items in by_kind.items():
        print(f"{kind}: {_counts(items)}")
    print(as_table(outcomes))
    print(_note(came), f"\n{time.perf_counter() - begun:.0f} s", file=sys.stderr)
    if chosen.write:
        write_section("numbers", outcomes, note=_note(came))
    return 0 if all(outcome.holds for outcome in outcomes) else 1


def _outcome(group: str, items: Sequence[Came]) -> Outcome:
    through = sum(item.is_through for item in items)
    return Outcome(group, len(items), through, _counts(items))


def _counts(items: Sequence[Came]) -> str:
    """How often right, with a caution, refused, and what was said most often."""
    if not items:
        return ""
    count = Counter(item.came for item in items)
    words = [f"right {count['right']}"]
    ways: tuple[tuple[Way, str], ...] = (("caution", "with a caution"), ("refused", "refused"))
    for came, word in ways:
        said = Counter(_first_words(item.said) for item in items if item.came == came)
        most = f" (most often “{said.most_common(1)[0][0]}”)" if said else ""
        words.append(f"{word} {count[came]}{most}")
    return ", ".join(words)


def _first_words(said: str) -> str:
    """A reason without its names and numbers, short enough for a table."""
    plain = " ".join(word for word in said.split() if not any(map(str.isdigit, word)))
    return plain.split(";")[0].split(":")[-1].strip()[:60]


def _note(came: Sequence[Came]) -> str:
    edges = sum(item.edges for item in came)
    covered = sum(item.covered for item in came)
    share = f"{100.0 * covered / edges:.1f} %" if edges else "none"
    return f"Of {edges:,} cam edges stated without a caution, {share} lie within ±U."


if __name__ == "__main__":
    sys.exit(main())
