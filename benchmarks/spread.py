"""The same function over many jobs, on two processes."""

from __future__ import annotations

import multiprocessing
import sys
from concurrent.futures import ProcessPoolExecutor
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

Job = TypeVar("Job")
Result = TypeVar("Result")


def spread(
    function: Callable[[Job], Result], jobs: Sequence[Job], *, workers: int, what: str
) -> list[Result]:
    """Results in the order of the jobs; says on the terminal how far it is.

    The jobs carry their own seeds, so the results don't depend on the number of workers.
    """
    if workers == 1:
        return _collected(map(function, jobs), len(jobs), what)
    # Started afresh: a forked copy of a process that has threads may hang.
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=context) as pool:
        return _collected(pool.map(function, jobs, chunksize=4), len(jobs), what)


def _collected(results: Iterable[Result], total: int, what: str) -> list[Result]:
    shown = sys.stderr.isatty()
    collected = []
    for done, result in enumerate(results, 1):
        collected.append(result)
        if shown and (done % 20 == 0 or done == total):
            print(f"\r{what}: {done} of {total}", end="", file=sys.stderr, flush=True)
    if shown:
        print(file=sys.stderr)
    return collected
