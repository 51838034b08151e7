"""Files of every format made wrong and handed in: none may end in anything but a plain line.

python -m attacks.readers --write          a million files, and into docs/robustness.md
python -m attacks.readers --tries 3000     fewer
python -m attacks.readers --only HDF5      one format; --keep FOLDER keeps what got through
"""

from __future__ import annotations

import argparse
import json
import os
import select
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
if not __package__:  # run by its path instead of as a module
    sys.path.insert(0, str(ROOT))

from attacks.outcome import Outcome, as_table, write_section  # noqa: E402  the path comes first
from attacks.readers_try import KINDS  # noqa: E402
from attacks.readers_worker import JOURNAL, file_of  # noqa: E402

ALL = 1_000_000
_SHARE = {
    "text tables": 50, "event lists": 30, "Parquet and Arrow": 30, "HDF5": 2, "MATLAB": 60,
    "WAV": 90, "MDF": 30, "change dumps": 80, "numpy": 90, "packed": 60, "measurements": 138,
    "known-goods": 90, "engine files": 80, "policies": 70, "wheel files": 100,
}  # fmt: skip
"""Thousandths of all files, more of them where they are read fast; HDF5 takes a process each."""
_HANGS_S = 60.0


@dataclass(slots=True)
class Tried:
    """What became of the files of one kind."""

    kind: str
    tally: Counter[str] = field(default_factory=Counter)
    through: list[dict[str, Any]] = field(default_factory=list)
    seconds: float = 0.0

    @property
    def count(self) -> int:
        """How many were tried."""
        return sum(self.tally.values())

    def outcome(self) -> Outcome:
        """As a row of the table."""
        came = [
            f"{self.tally[name] / self.count:.0%} {words}"
            for name, words in _CAME.items()
            if self.tally[name]
        ]
        return Outcome(self.kind, self.count, len(self.through), ", ".join(came))


_CAME = {
    "read": "read",
    "measured": "measured",
    "compared": "compared",
    "parts refused": "all parts refused",
    "exit 2": "asked back (exit 2)",
    "exit 3": "refused as unreadable (exit 3)",
    "exit 4": "refused as not measurable (exit 4)",
}


def main(arguments: list[str] | None = None) -> int:
    """Try, print, and write if asked; 0 if nothing got through, else 1."""
    parser = argparse.ArgumentParser(
        prog="attacks.readers", description=__doc__.split("\n", maxsplit=1)[0]
    )
    parser.add_argument("--tries", type=int, default=ALL, help="files in all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=list(KINDS), action="append")
    parser.add_argument("--keep", type=Path, help="folder for files that got through")
    parser.add_argument("--write", action="store_true", help="put it into docs/robustness.md")
    chosen = parser.parse_args(arguments)
    tried = []
    for kind in chosen.only or KINDS:
        one = run(kind, chosen.tries * _SHARE[kind] // 1000, seed=chosen.seed)
        tried.append(one)
        print(f"{kind}: {one.count} in {one.seconds:.0f} s", file=sys.stderr)
        for why, count in Counter(found["why"] for found in one.through).most_common():
            print(f"    {count} × {why}", file=sys.stderr)
        if chosen.keep:
            _keep(one, chosen.keep, seed=chosen.seed)
    outcomes = [one.outcome() for one in tried]
    if not chosen.only:
        outcomes.append(_hostile())
    print(as_table(outcomes))
    if chosen.write:
        total = sum(one.count for one in tried)
        pace = total / max(sum(one.seconds for one in tried), 1e-9)
        note = (
            f"{total:,} files made wrong, seed {chosen.seed}, {pace:.0f} a second on one core. "
            "A file gets through if anything but a result or one plain line with exit code 3 or 4 "
            "comes of it: another exception, something printed, a crash, more than 5 s or 400 MB."
        )
        write_section("readers", outcomes, note=note)
    return 0 if all(outcome.holds for outcome in outcomes) else 1


def _hostile() -> Outcome:
    """Try the hostile files, in a process without threads of ours."""
    done = subprocess.run(
        (sys.executable, "-m", "attacks.readers_hostile"),
        cwd=ROOT, stdout=subprocess.PIPE, check=False,
        env={**os.environ, "PYTHONPATH": f"{ROOT / 'src'}{os.pathsep}{ROOT}"},
    )  # fmt: skip
    results = [json.loads(line) for line in done.stdout.splitlines()]
    for result in results:
        if result["complaint"]:
            print(f"    {result['name']}: {result['complaint']}", file=sys.stderr)
    seconds, peak = (max(result[key] for result in results) for key in ("seconds", "peak_mb"))
    through = sum(bool(result["complaint"]) for result in results)
    seen = f"refused in one line (exit 3 or 4) after {seconds:.0f} s and {peak} MB at most"
    return Outcome("hostile files by hand", len(results), through, seen)


def run(kind: str, count: int, *, seed: int) -> Tried:
    """Try so many files of a kind, with a new process whenever one is ended by a file."""
    tried, began, first = Tried(kind), time.monotonic(), 0
    with tempfile.NamedTemporaryFile() as journal:
        while first < count:
            journal.seek(0)
            journal.write(JOURNAL.pack(-1, time.time()))
            journal.flush()
            first = _work(tried, seed, first, count, Path(journal.name))
    tried.seconds = time.monotonic() - began
    return tried


def _work(tried: Tried, seed: int, first: int, last: int, journal: Path) -> int:
    """Have a process try files until the last, or until one ends it; return the next number."""
    command = (sys.executable, "-m", "attacks.readers_worker", tried.kind, str(seed), str(first))
    process = subprocess.Popen(
        (*command, str(last), str(journal)), cwd=ROOT, stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": f"{ROOT / 'src'}{os.pathsep}{ROOT}"},
    )  # fmt: skip
    reached, hangs = first, False
    for line in _lines(process, journal):
        if line is None:
            hangs = True
            process.kill()
            break
        said = json.loads(line)
        if "tally" in said:
            tried.tally.update(said["tally"])
            reached = said["next"]
        else:
            tried.through.append(said)
    code = process.wait()
    if not hangs and code == 0:
        return reached
    number, _ = JOURNAL.unpack(journal.read_bytes())
    if number < 0:
        raise SystemExit(f"{tried.kind}: the worker did not begin (exit code {code})")
    why = "hangs" if hangs else f"ends the process ({code})"
    tried.tally["untold"] += number - reached
    tried.tally["through"] += 1
    tried.through.append({"number": number, "name": "", "why": why, "detail": ""})
    return int(number) + 1


def _lines(process: subprocess.Popen[bytes], journal: Path) -> Iterator[str | None]:
    """Lines as they come; ``None`` if a file takes too long."""
    assert process.stdout is not None  # noqa: S101  narrows the type
    rest = b""
    while True:
        if select.select([process.stdout], [], [], 1.0)[0]:
            block = os.read(process.stdout.fileno(), 1 << 16)
            if not block:
                return
            *whole, rest = (rest + block).split(b"\n")
            yield from (line.decode() for line in whole)
        number, since = JOURNAL.unpack(journal.read_bytes())
        if number >= 0 and time.time() - since > _HANGS_S:
            yield None


def _keep(tried: Tried, folder: Path, *, seed: int) -> None:
    """Write the first files of each reason, to be looked at."""
    seen: Counter[str] = Counter()
    for found in tried.through:
        seen[found["why"]] += 1
        if seen[found["why"]] > 3:
            continue
        target = folder / tried.kind.replace(" ", "-")
        target.mkdir(parents=True, exist_ok=True)
        name, content = file_of(tried.kind, seed, found["number"])
        (target / f"{found['number']}-{name}").write_bytes(content)
        words = f"{found['why']}\nnumber {found['number']}\n\n{found['detail']}"
        (target / f"{found['number']}.txt").write_text(words, encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
