"""Every benchmark of speed in one table.

python -m benchmarks              everything; some minutes on two cores, 1.3 GB on the disk
python -m benchmarks csv small    only these; the names are those of benchmarks.speed.WORK
python -m benchmarks --quick      a tenth of the size; start-up rules there
python -m benchmarks --write      everything, and into docs/performance.md
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from benchmarks.pages import table, write_between
from benchmarks.rows import as_table, seconds
from benchmarks.speed import FULL, QUICK, WORK, Bench, start_table

PAGE = Path(__file__).resolve().parents[1] / "docs" / "performance.md"


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, and write if asked; 0 if every goal is reached, else 1."""
    parser = argparse.ArgumentParser(prog="benchmarks", description=(__doc__ or "").split("\n")[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(WORK)}")
    parser.add_argument("--quick", action="store_true", help="a tenth of the size")
    parser.add_argument("--write", action="store_true", help="put the table into the page")
    chosen = parser.parse_args(arguments)
    unknown = set(chosen.names) - set(WORK)
    if unknown:
        parser.error(f"there is no {min(unknown)!r}; there are {', '.join(WORK)}")
    if chosen.write and (chosen.quick or chosen.names):
        parser.error("--write needs the full run; leave out --quick and names")
    rows = []
    with tempfile.TemporaryDirectory(prefix="crankwise-speed-") as folder:
        bench = Bench(Path(folder), QUICK if chosen.quick else FULL)
        for name in chosen.names or WORK:
            print(f"timing {name}", file=sys.stderr)
            rows += WORK[name](bench)
        text = as_table(rows)
        if "small" in (chosen.names or WORK):
            steps = [[name, seconds(time_s)] for name, time_s in start_table(bench)]
            text += "\n\n" + table(["step of a small file", "median"], steps)
    print(text)
    if chosen.write:
        write_between(PAGE, "performance", text)
    return 0 if all(row.holds is not False for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
