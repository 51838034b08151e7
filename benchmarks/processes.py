"""Fresh processes, timed in turns.

This one must stay small: the peak memory of a child begins with what its parent held.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
CLI = ("-c", "from crankwise.cli import main; main()")


@dataclass(frozen=True, slots=True)
class Timed:
    """Runs of one process: seconds of each, and the largest peak of resident memory.

    Pages of mapped files count, too.
    """

    seconds: tuple[float, ...]
    peak_bytes: int

    @property
    def median_s(self) -> float:
        """Median time."""
        return statistics.median(self.seconds)


@dataclass(frozen=True, slots=True)
class Processes:
    """Starts Python in processes of their own, with bytecode kept as an installed package has it.

    Needs a system that tells a child's peak memory (Linux, macOS).
    """

    folder: Path

    def take_turns(self, *commands: tuple[str, ...], runs: int) -> list[Timed]:
        """Run commands in turns, after one run of each that does not count."""
        found: list[list[tuple[float, int]]] = [[] for _ in commands]
        for number in range(runs + 1):
            for rows, arguments in zip(found, commands, strict=True):
                result = self._time(arguments)
                if number > 0:
                    rows.append(result)
        return [
            Timed(tuple(seconds for seconds, _ in rows), max(peak for _, peak in rows))
            for rows in found
        ]

    def work(self, task: str, *arguments: object) -> Any:
        """Do a task of :mod:`benchmarks.speed_work` and return what it found."""
        command = [sys.executable, "-m", "benchmarks.speed_work", task, *map(str, arguments)]
        done = subprocess.run(
            command, cwd=ROOT, check=True, stdout=subprocess.PIPE, env=self._environment()
        )
        return json.loads(done.stdout)

    def _time(self, arguments: tuple[str, ...]) -> tuple[float, int]:
        """Seconds, and peak of resident memory, of one fresh process."""
        begun = time.perf_counter()
        child = subprocess.Popen(
            [sys.executable, *arguments],
            cwd=ROOT,
            stdout=subprocess.DEVNULL,
            env=self._environment(),
        )
        _, status, usage = os.wait4(child.pid, 0)
        seconds = time.perf_counter() - begun
        child.returncode = os.waitstatus_to_exitcode(status)
        if child.returncode != 0:
            raise subprocess.CalledProcessError(child.returncode, child.args)
        # Linux counts in KiB, macOS in bytes.
        return seconds, usage.ru_maxrss * (1 if sys.platform == "darwin" else 1024)

    def _environment(self) -> dict[str, str]:
        kept = {key: text for key, text in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
        return kept | {"PYTHONPYCACHEPREFIX": str(self.folder / "bytecode")}


def ratio_of(ours: Timed, yardstick: Timed) -> float:
    """Median of the ratios of runs that followed each other: both met the same machine."""
    pairs = zip(ours.seconds, yardstick.seconds, strict=True)
    return statistics.median(one / other for one, other in pairs)
