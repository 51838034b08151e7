"""Judgement against known truth: prints the tables of docs/judgement.md.

    python -m benchmarks.judgement            everything, some minutes on two cores
    python -m benchmarks.judgement --quick    a look
    python -m benchmarks.judgement --write    everything, and into docs/judgement.md

Every draw carries its own seed, so the same version prints the same figures.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

for _variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_variable, "1")
if not __package__:  # run by its path instead of as a module
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np  # noqa: E402  the thread limits come first

from benchmarks import judgement_causes  # noqa: E402
from benchmarks.judgement_pairs import (  # noqa: E402
    WHEELS,
    base_measurement,
    drawn,
    random_delays,
    random_setup,
    record,
    vehicle,
)
from benchmarks.pages import judged, table, write_between  # noqa: E402
from crankwise.errors import NotMeasurableError  # noqa: E402
from crankwise.judge.policy import load_policy  # noqa: E402
from crankwise.model.measurement import Measurement  # noqa: E402
from crankwise.pipeline import compare, measure  # noqa: E402

PAGE = Path(__file__).resolve().parents[1] / "docs" / "judgement.md"
PROCESSES = 2


@dataclass(frozen=True, slots=True)
class Size:
    """How much of everything."""

    pairs: int
    vehicles: int
    causes: int


FULL = Size(pairs=500, vehicles=2000, causes=1500)
QUICK = Size(pairs=24, vehicles=100, causes=120)


@dataclass(frozen=True, slots=True)
class PairResult:
    """One simulated pair: errors and expanded uncertainties of its two cam shifts, or a refusal."""

    errors_deg: tuple[float, ...]
    uncertainties_deg: tuple[float, ...]
    refused: str = ""


def right_engine(seed: int) -> PairResult:
    """Two recordings of like engines, recorded in unlike ways, one with its cams moved."""
    rng = np.random.default_rng(seed)
    wheel = str(rng.choice(WHEELS))
    shifts = (float(rng.uniform(-8, 8)), float(rng.uniform(-8, 8)))
    delays_s = random_delays(rng, load_policy(None).spread.delay_s)
    first = record(random_setup(rng, wheel), delays_s=delays_s, seed=2 * seed)
    second = record(
        random_setup(rng, wheel), shifts_deg=shifts, delays_s=delays_s, seed=2 * seed + 1
    )
    try:
        result = compare(measure(second.recording), [measure(first.recording)])
    except NotMeasurableError as error:
        return PairResult((), (), str(error))
    truth = dict(zip(("intake", "exhaust"), shifts, strict=True))
    errors = tuple(cam.shift_deg - truth[cam.role] for cam in result.cams)
    return PairResult(errors, tuple(cam.uncertainty_deg for cam in result.cams))


def wrong_engine(seed: int) -> PairResult:
    """Two engines with unlike cam targets, in a quarter of the cases with unlike wheels as well."""
    rng = np.random.default_rng(100_000 + seed)
    wheel = str(rng.choice(WHEELS))
    other = str(rng.choice([item for item in WHEELS if item != wheel]))
    first = record(random_setup(rng, wheel), seed=2 * seed)
    setup = random_setup(rng, other if rng.random() < 0.25 else wheel)
    second = record(setup, intake=_pattern(rng), exhaust=_pattern(rng), seed=2 * seed + 1)
    try:
        compare(measure(second.recording), [measure(first.recording)])
    except NotMeasurableError as error:
        return PairResult((), (), str(error))
    return PairResult((0.0,), (0.0,))


def _pattern(rng: np.random.Generator) -> tuple[tuple[float, float], ...]:
    """Four teeth of random widths, which the first engine's targets do not have."""
    start = float(rng.uniform(0, 180))
    widths = rng.choice([30.0, 50.0, 75.0, 120.0], 4)
    return tuple(
        (start + 180.0 * place, start + 180.0 * place + float(width))
        for place, width in enumerate(widths)
    )


def verdict_shares(count: int) -> dict[str, float]:
    """False alarms and detections, over vehicles drawn at the level of shifts."""
    base, policy = base_measurement(), load_policy(None)
    build = {
        "cam_sd_deg": policy.spread.cam_deg,
        "separation_sd_deg": policy.spread.separation_deg,
    }
    rng = np.random.default_rng(7)

    def healthy(name: str) -> Measurement:
        return drawn(base, vehicle(rng, **build), rng, name)

    def beyond(subject: Measurement, goods: list[Measurement], *, same: bool) -> bool:
        return compare(subject, goods, same_vehicle=same).verdict.level != "in-time"

    def one_cam(shift_deg: float, own: dict[str, float]) -> Measurement:
        moved = dict(own)
        role = str(rng.choice(["intake", "exhaust"]))
        moved[role] += shift_deg * float(rng.choice([-1, 1]))
        return drawn(base, moved, rng, "subject")

    visit = policy.spread.visit_deg / np.sqrt(2.0)

    def revisit(own: dict[str, float]) -> dict[str, float]:
        return {role: value + visit * rng.standard_normal() for role, value in own.items()}

    def same(shift_deg: float) -> bool:
        own = vehicle(rng, **build)
        known = drawn(base, revisit(own), rng, "earlier")
        return beyond(one_cam(shift_deg, revisit(own)), [known], same=True)

    def other(shift_deg: float) -> bool:
        return beyond(one_cam(shift_deg, vehicle(rng, **build)), [healthy("other")], same=False)

    def family(shift_deg: float) -> bool:
        goods = [healthy(f"known-good {number}") for number in range(20)]
        return beyond(one_cam(shift_deg, vehicle(rng, **build)), goods, same=False)

    population_sd = policy.spread.cam_deg / np.sqrt(2.0)
    few = max(count // 5, 20)
    experiments: dict[str, tuple[Callable[[float], bool], float, int]] = {
        "false alarms, same vehicle": (same, 0.0, count),
        "false alarms, one other vehicle": (other, 0.0, count),
        "false alarms, twenty known-goods": (family, 0.0, few),
        "1° of one cam found, same vehicle": (same, 1.0, count // 2),
        "6° of one cam found, one other vehicle": (other, 6.0, count // 2),
        "3 standard deviations of one cam found, twenty known-goods": (
            family,
            3.0 * population_sd,
            few,
        ),
    }
    return {
        name: float(np.mean([draw(size) for _ in range(number)]))
        for name, (draw, size, number) in experiments.items()
    }


def _report(size: Size) -> str:
    with ProcessPoolExecutor(PROCESSES) as pool:
        right = list(pool.map(right_engine, range(size.pairs), chunksize=8))
        wrong = list(pool.map(wrong_engine, range(size.pairs), chunksize=8))
    errors = np.abs(np.concatenate([item.errors_deg for item in right]))
    stated = np.concatenate([item.uncertainties_deg for item in right])
    cover = float(np.mean(errors <= stated))
    shares = verdict_shares(size.vehicles)
    refused_right = float(np.mean([bool(item.refused) for item in right]))
    refused_wrong = float(np.mean([bool(item.refused) for item in wrong]))
    worst = float(np.percentile(errors, 95))
    rows = [
        ["shift error, 95th percentile", "≤ 0.15°", f"{worst:.3f}°", judged(holds=worst <= 0.15)],
        [
            "stated 95 % covers the truth",
            "93–97 %",
            f"{cover:.1%}",
            judged(holds=0.93 <= cover <= 0.97),
        ],
    ]
    goals: dict[str, tuple[str, Callable[[float], bool]]] = {
        "false alarms, same vehicle": ("≤ 1 %", lambda share: share <= 0.01),
        "false alarms, one other vehicle": ("≤ 1 %", lambda share: share <= 0.01),
        "false alarms, twenty known-goods": ("≤ 1 %", lambda share: share <= 0.01),
        "1° of one cam found, same vehicle": ("≥ 99 %", lambda share: share >= 0.99),
        "6° of one cam found, one other vehicle": ("≥ 95 %", lambda share: share >= 0.95),
        "3 standard deviations of one cam found, twenty known-goods": (
            "≥ 80 %",
            lambda share: share >= 0.80,
        ),
    }
    rows += [
        [name, goals[name][0], f"{share:.1%}", judged(holds=goals[name][1](share))]
        for name, share in shares.items()
    ]
    rows += [
        [
            "wrong engines refused",
            "≥ 99.5 %",
            f"{refused_wrong:.1%}",
            judged(holds=refused_wrong >= 0.995),
        ],
        [
            "right engines refused",
            "≤ 0.5 %",
            f"{refused_right:.1%}",
            judged(holds=refused_right <= 0.005),
        ],
    ]
    head = (
        f"{size.pairs} simulated pairs of recordings ({len(errors)} shifts); verdicts over "
        f"{size.vehicles} vehicles drawn at the level of shifts.\n\n"
    )
    return head + table(["figure", "goal", "measured", ""], rows)


def main() -> None:
    """Run and print; ``--write`` puts the tables into the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    size = QUICK if options.quick else FULL
    shifts = _report(size)
    causes = judgement_causes.report(judgement_causes.run(size.causes, seed=1))
    print(shifts, causes, sep="\n\n")
    if options.write:
        write_between(PAGE, "shifts", shifts)
        write_between(PAGE, "causes", causes)


if __name__ == "__main__":
    main()
