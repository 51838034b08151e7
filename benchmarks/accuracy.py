"""Accuracy against known truth: prints the tables of docs/accuracy.md.

    python -m benchmarks.accuracy            everything, some minutes on two cores
    python -m benchmarks.accuracy --quick    a look, within 40 s
    python -m benchmarks.accuracy --write    everything, and into docs/accuracy.md

Every draw carries its own seed, so the same version prints the same figures.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from dataclasses import dataclass
from pathlib import Path

# Each process computes on one core; libraries that start threads of their own would only queue.
for _variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_variable, "1")
if not __package__:  # run by its path instead of as a module
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from benchmarks import angles, decoding, edge_timing, real  # noqa: E402  the path comes first
from benchmarks.pages import judged, table, write_between  # noqa: E402
from benchmarks.spread import spread  # noqa: E402

PAGE = Path(__file__).resolve().parents[1] / "docs" / "accuracy.md"


@dataclass(frozen=True, slots=True)
class Size:
    """How much of everything; ``held_back`` are draws that are not looked into when it is tuned."""

    recordings: int
    draws: int
    held_back: int
    edges: int


FULL = Size(recordings=60, draws=1000, held_back=500, edges=4000)
QUICK = Size(recordings=6, draws=60, held_back=20, edges=1000)
FIRST_HELD_BACK = 1000


@dataclass(frozen=True, slots=True)
class Results:
    """All that was measured."""

    by_condition: dict[str, angles.Errors]
    timings: list[edge_timing.Timing]
    draws: list[decoding.Decoded]
    held_back: list[decoding.Decoded]
    real: list[real.Compared]


@dataclass(frozen=True, slots=True)
class Goal:
    """A goal of the project beside what was measured; ``long_run`` is the figure beside it."""

    what: str
    limit: str
    measured: str
    long_run: str
    holds: bool


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, and write if asked; 0 if every goal is reached, else 1."""
    parser = argparse.ArgumentParser(prog="benchmarks.accuracy", description=__doc__.split("\n")[0])
    parser.add_argument("--quick", action="store_true", help="a look with fewer draws")
    parser.add_argument("--write", action="store_true", help="put the tables into docs/accuracy.md")
    parser.add_argument("--workers", type=int, default=2, help="processes (default 2)")
    chosen = parser.parse_args(arguments)
    if chosen.quick and chosen.write:
        parser.error("--write needs the full run; leave out --quick")
    begun = time.perf_counter()
    results = run(QUICK if chosen.quick else FULL, workers=chosen.workers)
    goals = judge(results)
    text = report(results, goals)
    print(text)
    print(f"\n{time.perf_counter() - begun:.0f} s", file=sys.stderr)
    if chosen.write:
        write_between(PAGE, "accuracy", text)
    return 0 if all(goal.holds for goal in goals) else 1


def run(size: Size, *, workers: int) -> Results:
    """Measure everything at the given size."""
    by_condition = angles.errors_by_condition(size.recordings, workers=workers)
    timings = edge_timing.timings(size.edges)
    numbers = [
        *range(size.draws),
        *range(FIRST_HELD_BACK, FIRST_HELD_BACK + size.held_back),
    ]
    draws = spread(decoding.decoded, numbers, workers=workers, what="decode")
    return Results(by_condition, timings, draws[: size.draws], draws[size.draws :], real.compared())


def judge(results: Results) -> list[Goal]:
    """Hold the figures against the goals."""
    return [
        *_angle_goals(results.by_condition),
        _coverage_goal(results.by_condition),
        _timing_goal(results.timings),
        *_decode_goals(results.draws, f"wheel decode, {len(results.draws)} draws"),
        *_decode_goals(results.held_back, f"wheel decode, {len(results.held_back)} held back"),
        *_real_goal(results.real),
    ]


WORST_LIMITS_DEG = {
    "idle, 60-2, Hall, 100 kS/s, 2 s": 0.10,
    "20 kS/s": 0.15,
    "variable reluctance": 0.20,
    "cranking at 200 rpm ± 20 %, 5 s": 0.30,
}
RMS_LIMIT_DEG = 0.05


def _angle_goals(by_condition: dict[str, angles.Errors]) -> list[Goal]:
    first = next(iter(WORST_LIMITS_DEG))
    asked = [
        (name, words, figure, limit)
        for name, worst_deg in WORST_LIMITS_DEG.items()
        for words, figure, limit in (
            ("worst edge", angles.worst, worst_deg),
            *((("RMS", angles.rms, RMS_LIMIT_DEG),) if name == first else ()),
        )
    ]
    goals = []
    for name, words, figure, limit in asked:
        errors = by_condition[name]
        if not errors.edges:
            goals.append(Goal(f"{name}: {words}", f"≤ {limit:.2f}°", "none", "", holds=False))
            continue
        value = figure(errors.recorded_deg)
        goals.append(
            Goal(
                f"{name}: {words}",
                f"≤ {limit:.2f}°",
                f"{value:.3f}°",
                f"{figure(errors.long_run_deg):.3f}°",
                holds=value <= limit and not errors.unmeasured,
            )
        )
    return goals


def _coverage_goal(by_condition: dict[str, angles.Errors]) -> Goal:
    covered = angles.overall_coverage(by_condition)
    edges = sum(errors.edges for errors in by_condition.values())
    share = float(covered.mean())
    return Goal(
        f"stated 95 % covers the long-run place ({edges} edges)",
        "93 to 97 %",
        "",
        f"{100 * share:.1f} ± {100 * angles.share_error(covered):.1f} %",
        holds=0.93 <= share <= 0.97,
    )


def _timing_goal(timings: list[edge_timing.Timing]) -> Goal:
    ratio = max(row.ratio for row in timings)
    return Goal(
        "edge timing: scatter over the Cramér-Rao bound, worst case",
        f"≤ {edge_timing.LIMIT}",
        f"{ratio:.2f}",
        "",
        holds=ratio <= edge_timing.LIMIT,
    )


def _decode_goals(draws: list[decoding.Decoded], words: str) -> list[Goal]:
    right = sum(item.outcome == "right" for item in draws) / len(draws)
    misleading = sum(item.misleads for item in draws)
    return [
        Goal(
            f"{words}: right",
            "≥ 99 %",
            f"{100 * right:.1f} %",
            "",
            holds=right >= 0.99,
        ),
        Goal(
            f"{words}: wrong and confident",
            "0",
            str(misleading),
            "",
            holds=misleading == 0,
        ),
    ]


def _real_goal(rows: list[real.Compared]) -> list[Goal]:
    if not rows:
        return []
    agreeing = sum(row.agrees for row in rows)
    return [
        Goal(
            "real recordings that decode as their notes say",
            "all",
            f"{agreeing} of {len(rows)}",
            "",
            holds=agreeing == len(rows),
        )
    ]


def report(results: Results, goals: list[Goal]) -> str:
    """All tables as Markdown."""
    recordings = max(len(errors.covered) for errors in results.by_condition.values())
    goal_table = table(
        ["goal", "limit", "what the recording holds", "long run", "result"],
        [
            [goal.what, goal.limit, goal.measured, goal.long_run, judged(holds=goal.holds)]
            for goal in goals
        ],
    )
    parts = (
        "### Goals",
        goal_table,
        f"### Cam edges: error in crank degrees, {recordings} recordings of each condition",
        angles.errors_table(results.by_condition),
        "### Edge times: in samples",
        edge_timing.timing_table(results.timings),
        "### Wheel decode",
        decoding.decode_table(results.draws),
        decoding.failures_table(results.draws),
        "Held back:",
        decoding.decode_table(results.held_back),
        decoding.failures_table(results.held_back),
        "### Real recordings",
        real.real_table(results.real),
    )
    return "\n\n".join(parts)


if __name__ == "__main__":
    sys.exit(main())
