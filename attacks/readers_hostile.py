"""Files made to do harm, given to the commands in processes whose time and memory are watched.

``python -m attacks.readers_hostile`` tries all of them. Each must be refused in one line with exit
code 3 or 4, within the limits, and leave nothing behind.
"""

from __future__ import annotations

import json
import os
import resource
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from attacks.readers_hostile_files import CASES, MB, Case

MOST_SECONDS = 20
MOST_RESIDENT_BYTES = 700_000_000
_ADDRESSES = 12_000_000_000


@dataclass(frozen=True, slots=True)
class Result:
    """What a command did with a hostile file."""

    code: int
    said: str
    seconds: float
    peak_bytes: int
    left: tuple[str, ...]

    @property
    def complaint(self) -> str:
        """What is wrong with it; empty where all is as it should be."""
        lines = self.said.splitlines()
        wrong = {
            f"exit code {self.code}": self.code not in (3, 4),
            f"{len(lines)} lines": len(lines) != 1 or not self.said.startswith("crankwise: "),
            f"a line of {len(self.said)}": len(self.said) > 1000,
            f"{self.seconds:.0f} s": self.seconds > MOST_SECONDS,
            f"{self.peak_bytes / MB:.0f} MB": self.peak_bytes > MOST_RESIDENT_BYTES,
            f"left {self.left}": bool(self.left),
        }
        return ", ".join(words for words, is_so in wrong.items() if is_so)


def arguments_of(case: Case, path: Path, good: Path, folder: Path) -> list[str]:
    """The command line that is given the file."""
    out = ["--quiet", "-o", str(folder / "result.json")]
    same = ["compare", str(good), "--reference", str(good), "--same-vehicle", *out]
    match case.command:
        case "measure":
            return ["measure", str(path), *out]
        case "import":
            return ["reference", "import", str(path), "--quiet", "--store", str(folder / "store")]
        case "compare":
            return ["compare", str(path), "--reference", str(good), *out]
        case "wheels":
            return ["measure", str(good.with_suffix(".csv")), *out]
        case _:
            return [*same, f"--{case.command}", str(path)]


def run(case: Case, good: Path, folder: Path) -> Result:
    """Make the file, give it to its command in a process of its own, and watch."""
    path = Path(_apart(lambda: str(case.make(folder / "given")).encode()).decode())
    (folder / "work").mkdir()
    began = time.monotonic()
    child = os.fork()
    if child == 0:
        _act(arguments_of(case, path, good, folder / "work"), path, folder, case.command)
    status, usage = _wait(child, MOST_SECONDS * 2)
    seconds = time.monotonic() - began
    said = (folder / "said").read_text(encoding="utf-8", errors="replace")
    allowed = {"store"} if case.command == "import" else set()
    left = {entry.name for entry in (folder / "work").iterdir()} - allowed
    code = os.waitstatus_to_exitcode(status)
    return Result(code, said, seconds, usage.ru_maxrss * 1024, tuple(sorted(left)))


def _wait(child: int, most_seconds: float) -> tuple[int, resource.struct_rusage]:
    ends = time.monotonic() + most_seconds
    while True:
        done, status, usage = os.wait4(child, os.WNOHANG)
        if done:
            return status, usage
        if time.monotonic() > ends:
            os.kill(child, signal.SIGKILL)
        time.sleep(0.02)


def _act(arguments: list[str], path: Path, folder: Path, command: str) -> None:
    """Become the command, under limits; never returns."""
    code = 70
    try:
        with (folder / "said").open("wb") as said:
            os.dup2(said.fileno(), 1)
            os.dup2(said.fileno(), 2)
        os.chdir(folder / "work")
        os.environ["TMPDIR"] = str(folder / "work")
        tempfile.tempdir = None
        if command == "wheels":
            os.environ["CRANKWISE_WHEELS"] = str(path)
        resource.setrlimit(resource.RLIMIT_AS, (_ADDRESSES, _ADDRESSES))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        from crankwise.cli.app import app  # noqa: PLC0415  in the process that is watched

        try:
            app(arguments)
        except SystemExit as leaving:
            code = int(leaving.code or 0)
        sys.stdout.flush()
        sys.stderr.flush()
    finally:
        os._exit(code)


def try_all(names: Sequence[str] = ()) -> Iterator[tuple[str, Result]]:
    """Try every case, or those named."""
    with tempfile.TemporaryDirectory(prefix="crankwise-hostile-") as base:
        good = Path(base) / "good.json"
        good.write_bytes(_apart(lambda: _seeds("saved_measurements")["events.json"]))
        table = _apart(lambda: _seeds("event_lists")["whole.csv"])
        good.with_suffix(".csv").write_bytes(table)
        for number, case in enumerate(CASES):
            if names and case.name not in names:
                continue
            folder = Path(base) / str(number)
            (folder / "given").mkdir(parents=True)
            yield case.name, run(case, good, folder)
            for path in (folder / "given").iterdir():
                path.unlink()


def _apart(make: Callable[[], bytes]) -> bytes:
    """What a process of its own makes, so that later ones begin without its threads."""
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:
        with os.fdopen(write_end, "wb") as file:
            file.write(make())
        os._exit(0)
    os.close(write_end)
    with os.fdopen(read_end, "rb") as file:
        content = file.read()
    os.waitpid(child, 0)
    return content


def _seeds(kind: str) -> Mapping[str, bytes]:
    from attacks import readers_seeds  # noqa: PLC0415  in the process that makes them

    made: Mapping[str, bytes] = getattr(readers_seeds, kind)()
    return made


def main() -> int:
    """Print what came of every case as JSON; 0 if all were refused as they should."""
    worst = 0
    for name, result in try_all(sys.argv[1:]):
        worst |= bool(result.complaint)
        line = {
            "name": name, "complaint": result.complaint, "code": result.code,
            "said": result.said[:300], "seconds": round(result.seconds, 2),
            "peak_mb": round(result.peak_bytes / MB),
        }  # fmt: skip
        print(json.dumps(line, ensure_ascii=False), flush=True)
    return worst


if __name__ == "__main__":
    sys.exit(main())
