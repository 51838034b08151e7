"""Damaged, unknown and wrong targets on crank and cam."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from attacks.numbers_case import Case, answer_of, changed
from attacks.numbers_engine import (
    CATALOGUE,
    as_recorded,
    draw_engine,
    engine,
    known_good,
    nameless,
    subject,
)
from crankwise.model.wheel import Wheel
from crankwise.testing.simulate import (
    DamagedTooth,
    ExtraEdges,
    MissedTeeth,
    MissingTooth,
    simulate,
)

if TYPE_CHECKING:
    from attacks.numbers_case import Samples
    from crankwise.testing.simulate import Fault


def broken_teeth(count: int, rng: np.random.Generator) -> Case:
    """So many crank teeth broken off."""
    number = draw_engine(rng)
    wheel = _wheel_of(number)
    count = min(count, wheel.teeth_per_rev - 1)
    lost = np.sort(rng.choice(wheel.teeth_per_rev, count, replace=False))
    if rng.random() < 0.3:  # side by side, as when something fell into the wheel
        lost = np.sort((lost[0] + np.arange(count)) % wheel.teeth_per_rev)
    faults: tuple[Fault, ...] = tuple(MissingTooth("crank", int(tooth) + 1) for tooth in lost)
    case = subject(rng, number=number, faults=faults).case()
    left = np.delete(wheel.angles_deg, lost)
    steps = np.diff(np.append(left, left[0] + 360.0))
    return nameless(as_recorded(case, tuple(steps), tuple(left)), rng)


def one_broken(rng: np.random.Generator) -> Case:
    """One crank tooth broken off."""
    return broken_teeth(1, rng)


def two_broken(rng: np.random.Generator) -> Case:
    """Two crank teeth broken off."""
    return broken_teeth(2, rng)


def three_broken(rng: np.random.Generator) -> Case:
    """Three crank teeth broken off."""
    return broken_teeth(3, rng)


def bent_teeth(rng: np.random.Generator) -> Case:
    """One to three crank teeth bent or worn, of four or more.

    With three teeth a bent one makes the same times as a speed that swings once a turn.
    """
    while True:
        number = draw_engine(rng)
        wheel = _wheel_of(number)
        if wheel.teeth_per_rev > 3:
            break
    room = 0.2 * min(wheel.intervals_deg)
    teeth = rng.choice(wheel.teeth_per_rev, min(int(rng.integers(1, 4)), 3), replace=False)
    faults: tuple[Fault, ...] = tuple(
        DamagedTooth(
            "crank",
            int(tooth) + 1,
            shift_deg=float(rng.uniform(-room, room)),
            wider_deg=float(rng.uniform(-0.3, 0.3) * room),
        )
        for tooth in teeth
    )
    return nameless(subject(rng, number=number, faults=faults).case(), rng)


def tooth_in_the_gap(rng: np.random.Generator) -> Case:
    """Something in the gap passes for a tooth, every turn."""
    number = draw_engine(rng, wheels=[name for name, w in CATALOGUE.items() if _has_one_gap(w)])
    wheel = _wheel_of(number)
    gap = wheel.intervals_deg[-1]
    place = float(rng.uniform(0.2, 0.8)) * gap
    if rng.random() < 0.5:  # where a tooth would be
        place = float(round(place / wheel.pitch_deg) or 1) * wheel.pitch_deg
    place = min(place, gap - 0.6 * wheel.pitch_deg)
    steps = (*wheel.intervals_deg[:-1], place, gap - place)
    width = 0.3 * min(steps)
    odd = Wheel("odd", steps, wheel.pitch_deg)
    mine = subject(rng, number=number, crank={"wheel": odd, "width_deg": width})
    case = mine.case(answers=(answer_of(mine.simulation, wheel),))
    return nameless(as_recorded(case, steps, tuple(odd.angles_deg)), rng)


def noise_in_the_gap(rng: np.random.Generator) -> Case:
    """Chatter of the sensor wherever the crank signal rests for long."""
    case = subject(rng, number=draw_engine(rng, hall=True)).case()
    rate = float(10.0 ** rng.uniform(-3.5, -1.5))

    def chatter(values: Samples) -> Samples:
        middle = (values.max() + values.min()) / 2
        high = values > middle
        change = np.flatnonzero(np.diff(high)) + 1
        if len(change) < 3:
            return values
        length = np.diff(change)
        wide = np.flatnonzero(length > 1.8 * np.median(length))
        values = values.copy()
        for rest in wide:
            inside = np.arange(change[rest] + 2, change[rest + 1] - 2)
            hit = inside[rng.random(len(inside)) < rate]
            values[hit] = 2 * middle - values[hit]
        return values

    return nameless(replace(case, recording=changed(case.recording, {"crank": chatter})), rng)


def missed_teeth(rng: np.random.Generator) -> Case:
    """The crank sensor misses teeth at random."""
    share = float(10.0 ** rng.uniform(-3, -0.5))
    return nameless(subject(rng, faults=(MissedTeeth("crank", share),)).case(), rng)


def false_pulses(rng: np.random.Generator) -> Case:
    """False pulses on the crank, as wide as teeth or narrower."""
    fault = ExtraEdges("crank", int(rng.integers(1, 60)), float(10.0 ** rng.uniform(-4.5, -3.3)))
    return nameless(subject(rng, number=draw_engine(rng, hall=True), faults=(fault,)).case(), rng)


def heavy_runout(rng: np.random.Generator) -> Case:
    """A target that runs out: amplitude by up to 90 %, spacing by up to 0.6 degrees.

    That is 0.8 mm off centre on a radius of 80 mm; more a signal can't tell from speed anyway.
    """
    number = draw_engine(rng)
    sensor = engine(number).crank.sensor
    out = {
        "runout_deg": float(rng.uniform(0.1, 0.6)),
        "sensor": replace(sensor, runout=float(rng.uniform(0.2, 0.9))),
    }
    return nameless(subject(rng, number=number, crank=out).case(), rng)


def rough_teeth(rng: np.random.Generator) -> Case:
    """Crank teeth that all sit 0.1 to 1 degree off."""
    return nameless(
        subject(rng, crank={"tooth_error_deg": float(rng.uniform(0.1, 1.0))}).case(), rng
    )


def unknown_wheel(rng: np.random.Generator) -> Case:
    """A wheel that no catalogue has: other pitches, other gaps, none, or quite irregular."""
    how = int(rng.integers(4))
    pitches = int(rng.integers(14, 73))
    pitch = 360.0 / pitches
    if how == 0:  # one gap
        missing = int(rng.integers(1, 5))
        steps = [pitch] * (pitches - missing - 1) + [pitch * (missing + 1)]
    elif how == 1:  # two gaps
        first = int(rng.integers(3, pitches - 8))
        steps = [pitch] * first + [3 * pitch] + [pitch] * (pitches - first - 5) + [2 * pitch]
    elif how == 2:  # no gap
        steps = [pitch] * pitches
    else:
        parts = rng.dirichlet(np.full(int(rng.integers(3, 20)), 6.0))
        steps = (parts * 360.0 * 0.5 + 180.0 / len(parts)).tolist()
    wheel = Wheel("odd", tuple(float(step) for step in steps), pitch, has_gap=how < 2)
    width = 0.45 * min(steps)
    number = draw_engine(rng)
    mine = subject(rng, number=number, crank={"wheel": wheel, "width_deg": width})
    case = mine.case(known_good=None, shifts=None)
    return nameless(as_recorded(case, tuple(steps), tuple(wheel.angles_deg)), rng)


def cam_tooth_missing(rng: np.random.Generator) -> Case:
    """A cam tooth broken off: nothing to compare with a sound target."""
    return _cam_damaged(rng, MissingTooth)


def cam_tooth_bent(rng: np.random.Generator) -> Case:
    """A cam tooth bent by 4 to 15 degrees."""
    shift = float(rng.choice([-1, 1]) * rng.uniform(4, 15))
    return _cam_damaged(
        rng, lambda role, tooth: DamagedTooth(role, tooth, shift_deg=shift), keep=True
    )


def _cam_damaged(rng: np.random.Generator, fault: object, *, keep: bool = False) -> Case:
    while True:
        number = draw_engine(rng)
        cams = [cam for cam in engine(number).cams if len(cam.teeth) > 1]
        if cams:
            break
    cam = cams[rng.integers(len(cams))]
    tooth = int(rng.integers(len(cam.teeth))) + 1
    mine = subject(rng, number=number, faults=(fault(cam.role, tooth),))  # type: ignore[operator]
    case = mine.case()
    # Bent: a shift of the whole cam may still be told from its other edges, with a caution.
    return nameless(case if keep else replace(case, shifts=None), rng)


def cam_misses_teeth(rng: np.random.Generator) -> Case:
    """A cam sensor that misses teeth at random."""
    mine = subject(rng)
    role = str(rng.choice([cam.role for cam in mine.spec.cams]))
    fault = MissedTeeth(role, float(rng.uniform(0.02, 0.7)))
    return nameless(subject(rng, number=mine.engine, faults=(fault,)).case(), rng)


def cam_with_extra_edges(rng: np.random.Generator) -> Case:
    """One more tooth on a cam target: another engine's, or something stuck to it."""
    number = draw_engine(rng)
    mine = subject(rng, number=number)
    cams = list(mine.spec.cams)
    place = int(rng.integers(len(cams)))
    teeth = cams[place].teeth
    after = [*[start for start, _ in teeth[1:]], teeth[0][0] + 720.0]
    widest = int(np.argmax([begin - end for (_, end), begin in zip(teeth, after, strict=True)]))
    end, begin = teeth[widest][1], after[widest]
    room = begin - end
    extra = (end + 0.4 * room, end + 0.6 * room)
    cams[place] = replace(cams[place], teeth=(*teeth[: widest + 1], extra, *teeth[widest + 1 :]))
    spec = replace(mine.spec, cams=tuple(cams))
    simulation = simulate(spec, seed=int(rng.integers(1 << 31)))
    return nameless(replace(mine, spec=spec, simulation=simulation).case(shifts=None), rng)


def cam_with_false_pulses(rng: np.random.Generator) -> Case:
    """False pulses on a cam, at random."""
    mine = subject(rng)
    role = str(rng.choice([cam.role for cam in mine.spec.cams]))
    fault = ExtraEdges(role, int(rng.integers(1, 60)), float(10.0 ** rng.uniform(-4, -2.5)))
    return nameless(subject(rng, number=mine.engine, faults=(fault,)).case(), rng)


def wrong_known_good(rng: np.random.Generator) -> Case:
    """The known-good of another engine, whose cam targets look otherwise."""
    mine = subject(rng)
    while True:
        other = draw_engine(rng)
        known = known_good(other)
        if known is not None and not _could_pass(mine.engine, other):
            return mine.case(known_good=known.measurement, shifts=None)


def one_cam_of_another_engine(rng: np.random.Generator) -> Case:
    """The right engine with one cam target of another."""
    number = draw_engine(rng)
    mine = subject(rng, number=number)
    while True:
        other = draw_engine(rng)
        cams = list(mine.spec.cams)
        place = int(rng.integers(len(cams)))
        foreign = engine(other).cams[rng.integers(len(engine(other).cams))].teeth
        if not any(_alike(foreign, cam.teeth) for cam in engine(number).cams):
            break
    cams[place] = replace(cams[place], teeth=foreign)
    spec = replace(mine.spec, cams=tuple(cams))
    simulation = simulate(spec, seed=int(rng.integers(1 << 31)))
    return nameless(replace(mine, spec=spec, simulation=simulation).case(shifts=None), rng)


def _could_pass(first: int, second: int) -> bool:
    """Whether one engine could be taken for the other in good faith."""
    one, two = engine(first), engine(second)
    if one.crank.wheel != two.crank.wheel:
        return False
    return any(_alike(a.teeth, b.teeth) for a in one.cams for b in two.cams)


def passes_backwards(number: int) -> bool:
    """Whether an engine, played backwards, could be taken for itself with its cams moved."""
    steps = np.asarray(_wheel_of(number).intervals_deg)
    mirrored = steps[::-1]
    is_mirror = any(
        np.allclose(np.roll(mirrored, turn), steps, atol=1e-6) for turn in range(len(steps))
    )
    cams = [cam.teeth for cam in engine(number).cams]
    return is_mirror and any(
        _alike(tuple((-end, -begin) for begin, end in reversed(teeth)), other)
        for teeth in cams
        for other in cams
    )


def _alike(one: tuple[tuple[float, float], ...], two: tuple[tuple[float, float], ...]) -> bool:
    """Whether the widths of teeth and spaces agree within 12 degrees, from some tooth on."""
    if len(one) != len(two):
        return False
    first, second = (np.ravel(teeth) for teeth in (one, two))
    first, second = (np.diff(np.append(edges, edges[0] + 720.0)) for edges in (first, second))
    return any(
        bool(np.all(np.abs(np.roll(first, turn) - second) < 12.0)) for turn in range(len(first))
    )


def _wheel_of(number: int) -> Wheel:
    wheel = engine(number).crank.wheel
    return CATALOGUE[wheel] if isinstance(wheel, str) else wheel


def _has_one_gap(wheel: Wheel) -> bool:
    steps = np.asarray(wheel.intervals_deg)
    return bool(wheel.has_gap and (steps > 1.5 * steps.min()).sum() == 1 and not wheel.width_deg)


KINDS = {
    "one crank tooth broken": one_broken,
    "two crank teeth broken": two_broken,
    "three crank teeth broken": three_broken,
    "crank teeth bent": bent_teeth,
    "a tooth in the gap": tooth_in_the_gap,
    "chatter in the gap": noise_in_the_gap,
    "crank teeth missed at random": missed_teeth,
    "false pulses on the crank": false_pulses,
    "heavy runout": heavy_runout,
    "rough crank teeth": rough_teeth,
    "wheel of no catalogue": unknown_wheel,
    "cam tooth missing": cam_tooth_missing,
    "cam tooth bent": cam_tooth_bent,
    "cam teeth missed at random": cam_misses_teeth,
    "one cam tooth too many": cam_with_extra_edges,
    "false pulses on a cam": cam_with_false_pulses,
    "known-good of another engine": wrong_known_good,
    "one cam of another engine": one_cam_of_another_engine,
}
