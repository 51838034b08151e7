"""How the engine turns: stalls, rocks back, accelerates, misfires, moves its cams."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from attacks.numbers_case import Answer, Case, Place, all_changed, changed, samples, shifts_of
from attacks.numbers_engine import draw_engine, engine, known_good, nameless, subject
from attacks.numbers_time import warped
from crankwise.testing.simulate import EngineSpec, PhaserMoving, PhaserSpec, SpeedSpec

if TYPE_CHECKING:
    from attacks.numbers_case import Samples
    from attacks.numbers_engine import Subject


def starting(rng: np.random.Generator) -> Case:
    """Standing still, then the starter, then running up."""
    speed = SpeedSpec(
        "start-up",
        float(rng.uniform(650, 950)),
        high_rpm=float(rng.uniform(1000, 2500)),
        at_s=float(rng.uniform(0.2, 1.0)),
        fire_s=float(rng.uniform(0.3, 1.0)),
    )
    return nameless(subject(rng, speed=speed, scope={"duration_s": 4.0}).case(), rng)


def stopping(rng: np.random.Generator) -> Case:
    """Running, then dying."""
    speed = SpeedSpec("stall", float(rng.uniform(650, 950)), at_s=float(rng.uniform(0.3, 2.5)))
    return nameless(subject(rng, speed=speed, scope={"duration_s": 3.5}).case(), rng)


def rocking_back(rng: np.random.Generator) -> Case:
    """The engine slows down, stops, turns back a little and forward again, some times."""
    case = subject(rng, number=draw_engine(rng, hall=True)).case()
    begin = rng.uniform(0.4, 0.85)
    back, swings = rng.uniform(0.005, 0.05), int(rng.integers(1, 4))

    def rock(values: Samples) -> Samples:
        last = (len(values) - 1) * begin
        slowing = last + 0.12 * len(values) * (1 - (1 - np.linspace(0, 1, len(values) // 4)) ** 2)
        swing = np.linspace(0, swings, len(values) // 4)
        rocking = slowing[-1] - back * len(values) * 0.5 * (1 - np.cos(2 * np.pi * swing))
        rest = np.full(len(values) // 10, rocking[-1])
        return warped(values, np.concatenate([np.arange(last), slowing, rocking, rest]))

    return replace(case, recording=all_changed(case.recording, rock))


def backwards_then_forwards(rng: np.random.Generator) -> Case:
    """Turned backwards for a good part of the recording, as when rolled in gear."""
    case = subject(rng, number=draw_engine(rng, hall=True)).case()
    share = rng.uniform(0.1, 0.5)

    def turn(values: Samples) -> Samples:
        return np.concatenate([values[: int(share * len(values))][::-1], values])

    return replace(case, recording=all_changed(case.recording, turn))


def hard_acceleration(rng: np.random.Generator) -> Case:
    """From idle to 6000 rpm and back within half a second to a second."""
    speed = SpeedSpec(
        "revving",
        float(rng.uniform(650, 950)),
        high_rpm=float(rng.uniform(2500, 6000)),
        at_s=float(rng.uniform(0.1, 1.0)),
        rise_s=float(rng.uniform(0.3, 1.0)),
        fall_s=float(rng.uniform(0.4, 1.5)),
    )
    scope = {"duration_s": 2.6, "rate_hz": 1e5}
    return nameless(subject(rng, speed=speed, scope=scope).case(), rng)


def misfiring(rng: np.random.Generator) -> Case:
    """Cylinders of very unequal strength, combustion that varies wildly."""
    rough = EngineSpec(
        cylinders=int(rng.choice([1, 2, 3, 4, 6])),
        swing=float(rng.uniform(0.1, 0.45)),
        combustion_variation=float(rng.uniform(0.1, 0.6)),
        cylinder_spread=float(rng.uniform(0.1, 0.7)),
    )
    return nameless(subject(rng, engine_spec=rough).case(), rng)


def one_second_at_6000(rng: np.random.Generator) -> Case:
    """1 s at about 6000 rpm, sampled by what scope is at hand."""
    speed = SpeedSpec("steady", float(rng.uniform(5000, 7000)))
    scope = {"duration_s": 1.0, "rate_hz": float(rng.choice([2e4, 5e4, 1e5, 2e5]))}
    return nameless(subject(rng, speed=speed, scope=scope).case(), rng)


def minute_at_150(rng: np.random.Generator) -> Case:
    """Half a minute to a minute at 120 to 200 rpm on the starter."""
    speed = SpeedSpec("cranking", float(rng.uniform(120, 200)))
    turning = EngineSpec(cranking_ripple=float(rng.uniform(0.3, 0.9)))
    scope = {"duration_s": float(rng.uniform(30, 60)), "rate_hz": 1e4}
    return nameless(subject(rng, speed=speed, engine_spec=turning, scope=scope).case(), rng)


def cranking_hard(rng: np.random.Generator) -> Case:
    """The starter alone, with speed that swings by a factor of two to four within a turn."""
    speed = SpeedSpec("cranking", float(rng.uniform(130, 260)))
    turning = EngineSpec(
        cylinders=int(rng.choice([2, 3, 4])), cranking_ripple=float(rng.uniform(0.6, 1.0))
    )
    scope = {"duration_s": 4.0, "rate_hz": 2e4}
    return nameless(subject(rng, speed=speed, engine_spec=turning, scope=scope).case(), rng)


def no_ripple(rng: np.random.Generator) -> Case:
    """A test bench: perfectly even speed."""
    speed = SpeedSpec("constant", float(rng.uniform(300, 3000)))
    return nameless(subject(rng, speed=speed).case(), rng)


def loose_cams(rng: np.random.Generator) -> Case:
    """Cams that scatter by one to six degrees from cycle to cycle."""
    number = draw_engine(rng)
    calm = subject(rng, number=number)
    cams = tuple(
        replace(cam, scatter_deg=float(rng.uniform(1, 6)), common_share=float(rng.uniform(0, 1)))
        for cam in calm.spec.cams
    )
    return nameless(_again(calm, rng, cams=cams).case(), rng)


def _again(mine: Subject, rng: np.random.Generator, **changes: object) -> Subject:
    """Simulate the same visit with something else about it."""
    from crankwise.testing.simulate import simulate  # noqa: PLC0415

    spec = replace(mine.spec, **changes)  # type: ignore[arg-type]
    return replace(mine, spec=spec, simulation=simulate(spec, seed=int(rng.integers(1 << 31))))


def phaser_moving(rng: np.random.Generator) -> Case:
    """A phaser drifts, steps or hunts; the truth is where it was parked."""
    parked = subject(rng, scope={"duration_s": float(rng.uniform(2.0, 4.0))})
    role = str(rng.choice([cam.role for cam in parked.spec.cams]))
    sign, moves = float(rng.choice([-1, 1])), str(rng.choice(["drift", "step", "hunting"]))
    phaser = PhaserSpec(
        moves,  # type: ignore[arg-type]
        authority_deg=(-40.0, 40.0),
        rate_deg_per_s=sign * float(rng.uniform(1, 30)),
        step_deg=sign * float(rng.uniform(1, 30)),
        step_s=float(rng.uniform(0.1, 0.5)),
        amplitude_deg=sign * float(rng.uniform(0.5, 10)),
        frequency_hz=float(rng.uniform(0.2, 5)),
        at_s=float(rng.uniform(0, 0.9) * parked.spec.scope.duration_s),
    )
    return _parked(parked, _again(parked, rng, faults=(PhaserMoving(role, phaser),)))


def _parked(parked: Subject, moving: Subject) -> Case:
    """The moving recording with the places of the parked cams for truth; at rest again counts."""
    case = parked.case(recording=moving.simulation.recording)
    after = _last_places(moving)
    return replace(case, answers=(*case.answers, after))


def _last_places(moving: Subject) -> Answer:
    """Where each edge was in the last quarter of the cycles."""
    cams = {}
    for cam in moving.simulation.truth.cams:
        places = []
        for edge in cam.edges:
            late = edge.cycle_angles_deg[-max(len(edge.cycle_angles_deg) // 4, 1) :]
            off = float(np.mean(late)) - edge.angle_deg
            places.append(
                Place(
                    edge.edge,
                    {key: (deg + off) % 720.0 for key, deg in edge.angle_by_crank_edge_deg.items()},
                )
            )
        cams[cam.channel] = tuple(places)
    return Answer(moving.wheel, cams)


def timing_jumps(rng: np.random.Generator) -> Case:
    """The chain jumps a tooth on the way: all cams, or one, 6 to 20 degrees."""
    parked = subject(rng)
    roles = [cam.role for cam in parked.spec.cams]
    chosen = roles if rng.random() < 0.5 else [str(rng.choice(roles))]
    step = PhaserSpec(
        "step",
        authority_deg=(-60.0, 60.0),
        step_deg=float(rng.choice([-1, 1]) * rng.uniform(6, 20)),
        step_s=0.02,
        at_s=float(rng.uniform(0.1, 0.9) * parked.spec.scope.duration_s),
    )
    faults = tuple(PhaserMoving(role, step) for role in chosen)
    case = _parked(parked, _again(parked, rng, faults=faults))
    return replace(case, shifts=case.shifts)


def two_visits(rng: np.random.Generator) -> Case:
    """Two engines of one family in one file, one after the other."""
    first = subject(rng, scope={"rate_hz": 5e4})
    second = subject(rng, number=first.engine, scope={"rate_hz": 5e4})
    return _in_one_file(first, second)


def two_engines(rng: np.random.Generator) -> Case:
    """Two different engines in one file, one after the other."""
    first = subject(rng, number=draw_engine(rng, cams=2), scope={"rate_hz": 5e4})
    second = subject(rng, number=draw_engine(rng, cams=2), scope={"rate_hz": 5e4})
    return _in_one_file(first, second)


def _in_one_file(first: Subject, second: Subject) -> Case:
    """One after the other; to be right about either of them is right."""
    case = first.case()
    other = second.case()
    tail = {name: samples(other.recording, name) for name in other.recording.channel_names}
    joined = changed(
        case.recording,
        {
            name: lambda values, name=name: np.concatenate([values, tail[name]])  # type: ignore[misc]
            for name in case.recording.channel_names
        },
    )
    return replace(case, recording=joined, answers=(*case.answers, *other.answers))


def cams_of_a_sister(rng: np.random.Generator) -> Case:
    """Faster and faster, with the cams moved by up to 45 degrees against the known-good."""
    number = draw_engine(rng)
    known = known_good(number)
    calm = subject(rng, number=number)
    cams = tuple(replace(cam, shift_deg=float(rng.uniform(-45, 45))) for cam in engine(number).cams)
    far = _again(calm, rng, cams=cams)
    case = far.case()
    if known is None:
        return case
    return replace(case, shifts=shifts_of(far.simulation.truth, known.simulation.truth))


KINDS = {
    "starting": starting,
    "stopping": stopping,
    "rocking back at the stop": rocking_back,
    "turned backwards, then running": backwards_then_forwards,
    "very hard acceleration": hard_acceleration,
    "misfiring": misfiring,
    "1 s at 6000 rpm": one_second_at_6000,
    "30 to 60 s at 150 rpm": minute_at_150,
    "cranking, speed swinging fourfold": cranking_hard,
    "perfectly even speed": no_ripple,
    "very loose cams": loose_cams,
    "phaser moving": phaser_moving,
    "chain jumping on the way": timing_jumps,
    "two visits in one file": two_visits,
    "two engines in one file": two_engines,
    "cams far out of time": cams_of_a_sister,
}
