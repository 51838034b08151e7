"""Probes on the wrong wire, names that lie, channels twice or not at all."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from attacks.numbers_case import Case, changed, of_samples, renamed, samples
from attacks.numbers_engine import draw_engine, nameless, subject
from crankwise.testing.simulate import ExtraSpec, simulate

if TYPE_CHECKING:
    from attacks.numbers_case import Samples


def _two_cams(rng: np.random.Generator) -> Case:
    return subject(rng, number=draw_engine(rng, cams=2)).case()


def swapped_midway(rng: np.random.Generator) -> Case:
    """Two channels change places on the way."""
    case = _two_cams(rng)
    first, second = rng.choice(case.recording.channel_names, 2, replace=False)
    a, b = samples(case.recording, str(first)), samples(case.recording, str(second))
    late = np.arange(len(a)) > rng.uniform(0.1, 0.9) * len(a)
    changes = {
        str(first): lambda _: np.where(late, b, a),
        str(second): lambda _: np.where(late, a, b),
    }
    after = renamed(case, {str(first): str(second), str(second): str(first)})
    recording = changed(case.recording, changes)
    return replace(case, recording=recording, answers=(*case.answers, *after.answers))


def crank_and_cam_exchanged(rng: np.random.Generator) -> Case:
    """The crank is named like a cam and a cam like the crank."""
    case = subject(rng).case()
    cam = str(rng.choice(case.recording.channel_names[1:]))
    return renamed(case, {"crank": cam, cam: "crank"})


def crank_said_to_be_a_cam(rng: np.random.Generator) -> Case:
    """The user names a cam as the crank and the crank as a cam."""
    case = subject(rng).case()
    cam = str(rng.choice(case.recording.channel_names[1:]))
    return replace(case, crank=cam, cams={"intake": "crank"}, answers=(), shifts=None)


def cams_exchanged(rng: np.random.Generator) -> Case:
    """Intake and exhaust are named the wrong way round."""
    return renamed(_two_cams(rng), {"intake": "exhaust", "exhaust": "intake"})


def one_cam_twice(rng: np.random.Generator) -> Case:
    """Both cam channels carry the same cam."""
    case = _two_cams(rng)
    good, lost = [str(name) for name in rng.permutation(["intake", "exhaust"])]
    values = samples(case.recording, good)
    recording = changed(case.recording, {lost: lambda _: values + rng.normal(0, 0.01, len(values))})
    answers = tuple(
        replace(answer, cams={**answer.cams, lost: answer.cams[good]}) for answer in case.answers
    )
    return nameless(replace(case, recording=recording, answers=answers, shifts=None), rng)


def crank_twice(rng: np.random.Generator) -> Case:
    """A cam channel carries the crank's signal."""
    case = subject(rng).case()
    cam = str(rng.choice(case.recording.channel_names[1:]))
    values = samples(case.recording, "crank")
    recording = changed(case.recording, {cam: lambda _: values + rng.normal(0, 0.01, len(values))})
    answers = tuple(
        replace(answer, cams={k: v for k, v in answer.cams.items() if k != cam})
        for answer in case.answers
    )
    return nameless(replace(case, recording=recording, answers=answers), rng)


def cam_constant(rng: np.random.Generator) -> Case:
    """One cam is a flat line with a little noise."""
    case = _two_cams(rng)
    cam = str(rng.choice(["intake", "exhaust"]))

    def flat(values: Samples) -> Samples:
        return rng.uniform(-5, 5) + rng.normal(0.0, float(rng.choice([0.0, 0.02])), len(values))

    return nameless(replace(case, recording=changed(case.recording, {cam: flat})), rng)


def no_cam(rng: np.random.Generator) -> Case:
    """The crank alone."""
    mine = subject(rng)
    recording = mine.simulation.recording
    channels = {"crank": samples(recording, "crank")}
    return mine.case(recording=of_samples(channels, recording.interval_s or 1.0))


def no_crank(rng: np.random.Generator) -> Case:
    """The cams alone."""
    mine = subject(rng, number=draw_engine(rng, cams=2))
    recording = mine.simulation.recording
    channels = {name: samples(recording, name) for name in mine.cams}
    case = mine.case(answers=(), shifts=None)
    return nameless(replace(case, recording=of_samples(channels, recording.interval_s or 1.0)), rng)


def all_channels_alike(rng: np.random.Generator) -> Case:
    """Every channel is the same signal."""
    mine = subject(rng)
    recording = mine.simulation.recording
    values = samples(recording, str(rng.choice(recording.channel_names)))
    same = of_samples(dict.fromkeys(recording.channel_names, values), recording.interval_s or 1.0)
    return mine.case(recording=same, answers=(), shifts=None)


def other_channels(rng: np.random.Generator) -> Case:
    """Injector and ignition beside crank and cams, without names."""
    mine = subject(rng)
    extras = (
        ExtraSpec("injector", "D", 12.0, pulse_s=float(rng.uniform(1e-3, 6e-3))),
        ExtraSpec("ignition", "E", 12.0, pulse_s=float(rng.uniform(5e-4, 4e-3))),
    )
    chosen = extras[int(rng.integers(2)) :]
    spec = replace(mine.spec, extras=chosen)
    simulation = simulate(spec, seed=int(rng.integers(1 << 31)))
    case = replace(mine, spec=spec, simulation=simulation).case()
    names = {"crank": "A", "intake": "B", "exhaust": "C"} if rng.random() < 0.6 else {}
    return renamed(case, names)


def names_that_lie(rng: np.random.Generator) -> Case:
    """Names in any order: every one may be wrong."""
    case = subject(rng).case()
    names = case.recording.channel_names
    wrong = rng.permutation(["crank", "cam in", "cam ex", "injector", "knock", "NE", "x"])
    return renamed(case, dict(zip(names, (str(name) for name in wrong), strict=False)))


def divided_crank(rng: np.random.Generator) -> Case:
    """A cam signal made by dividing the crank's edges, never in step with the cycle."""
    mine = subject(rng, number=draw_engine(rng, hall=True))
    recording = mine.simulation.recording
    values = samples(recording, "crank")
    middle = (values.max() + values.min()) / 2
    edges = np.flatnonzero((values[1:] > middle) & (values[:-1] <= middle)) + 1
    per_cycle = 2 * mine.wheel.teeth_per_rev
    divisors = [by for by in range(3, 130) if per_cycle % by]
    by = int(rng.choice(divisors))
    count = np.searchsorted(edges, np.arange(len(values)))
    channels = {"crank": values, "intake": 5.0 * (count % by < by / 2)}
    interval_s = recording.interval_s or 1.0
    return mine.case(recording=of_samples(channels, interval_s), answers=(), shifts=None)


KINDS = {
    "channels swapped on the way": swapped_midway,
    "crank and cam exchanged": crank_and_cam_exchanged,
    "crank said to be a cam": crank_said_to_be_a_cam,
    "cams named the wrong way round": cams_exchanged,
    "one cam twice": one_cam_twice,
    "crank twice": crank_twice,
    "one cam constant": cam_constant,
    "no cam": no_cam,
    "no crank": no_crank,
    "all channels alike": all_channels_alike,
    "injector and ignition beside": other_channels,
    "names that lie": names_that_lie,
    "crank divided for a cam": divided_crank,
}
