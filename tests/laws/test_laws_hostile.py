"""What must hold whatever stands in the file: an answer or one refusal, and no other error."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from crankwise.errors import CrankwiseError, NotMeasurableError
from crankwise.model.recording import EventChannel, Recording, SampledChannel
from crankwise.pipeline import compare, measure
from crankwise.testing.simulate import ScopeSpec, SpeedSpec, preset, simulate

SPEC = replace(
    preset("t20-fresh-chain"),
    speed=SpeedSpec("idle", 800.0, wander_rpm=8.0),
    scope=ScopeSpec(duration_s=1.2, interval_s=2e-5, range_v=10.0, bits=12, noise_v=0.02),
)
NAMES = ("crank", "intake", "exhaust")
law = settings(max_examples=25, deadline=None, derandomize=True)
few = settings(max_examples=10, deadline=None, derandomize=True)

numbers = st.floats(width=64, allow_nan=True, allow_infinity=True)
levels = st.sampled_from([0.0, 5.0, -5.0, np.nan, np.inf, -np.inf, 1e300, 5e-324])
share = st.floats(0.0, 1.0)


@cache
def base():
    return simulate(SPEC, seed=1).recording


@cache
def base_result():
    return measure(base())


def of(values, interval_s=2e-5):
    channels = tuple(SampledChannel(name, "V", item) for name, item in values.items())
    count = len(next(iter(values.values())))
    return Recording("any.csv", "0" * 64, channels, 0.0, max(count - 1, 0) * interval_s, interval_s)


def values_of(recording):
    return {item.name: np.asarray(item.values, dtype=np.float64) for item in recording.channels}


def answer(recording, **how):
    """A measurement whose numbers are sound, or None for a refusal in one line."""
    try:
        result = measure(recording, **how)
    except NotMeasurableError as error:
        assert "\n" not in str(error)  # noqa: PT017  (either way out is right)
        return None
    for cam in result.cams:
        for edge in cam.edges:
            assert 0.0 <= edge.angle_deg < 720.0
            assert np.isfinite([edge.uncertainty_deg, edge.scatter_deg, edge.dof]).all()
            assert edge.uncertainty_deg >= 0.0
            assert edge.count >= 1
    assert 0.0 <= result.crank.choice.confidence <= 1.0
    assert np.isfinite([result.crank.speed_rpm.mean, *result.crank.tooth_error_deg]).all()
    return result


@law
@given(st.integers(0, 400).flatmap(lambda n: st.lists(
    arrays.arrays(np.float64, n, elements=numbers), min_size=1, max_size=3
)))  # fmt: skip
def test_any_numbers_are_measured_or_refused(columns):
    answer(of(dict(zip(NAMES, columns, strict=False))))


@law
@given(
    st.lists(st.tuples(levels, st.integers(1, 40)), min_size=1, max_size=12),
    st.lists(st.tuples(levels, st.integers(1, 400)), min_size=1, max_size=12),
    st.integers(1, 60),
)
def test_any_repeating_levels_are_measured_or_refused(crank, cam, times):
    def wave(parts):
        return np.tile(np.concatenate([np.full(length, level) for level, length in parts]), times)

    first, second = wave(crank), wave(cam)
    count = min(len(first), len(second))
    answer(of({"crank": first[:count], "intake": second[:count]}))


@law
@given(
    st.lists(st.floats(1e-7, 0.05), min_size=0, max_size=300),
    st.lists(st.floats(1e-7, 0.5), min_size=0, max_size=60),
    st.booleans(),
)
def test_any_state_changes_are_measured_or_refused(crank, cam, level):
    channels = []
    for name, waits in (("crank", crank), ("intake", cam)):
        times = np.cumsum(np.asarray(waits, dtype=np.float64))
        states = (np.arange(len(times)) % 2 == 0) != level
        channels.append(EventChannel(name, times, states, initial_state=level))
    duration_s = float(max([0.0, *(item.times_s[-1] for item in channels if len(item.times_s))]))
    answer(Recording("any.csv", "0" * 64, tuple(channels), 0.0, duration_s, None))


@law
@given(
    st.lists(st.tuples(st.sampled_from(NAMES), share, share, share), min_size=1, max_size=5),
    st.sampled_from([None, *NAMES]),
)
def test_channels_pasted_over_one_another_are_measured_or_refused(pastes, crank):
    values = {name: item.copy() for name, item in values_of(base()).items()}
    count = len(values["crank"])
    for name, begin, length, source in pastes:
        size = int(0.4 * length * count)
        first, second = int(begin * (count - size)), int(source * (count - size))
        other = NAMES[(NAMES.index(name) + 1) % 3] if source > 0.5 else name
        values[name][first : first + size] = values[other][second : second + size]
    result = answer(of(values), **({} if crank is None else {"crank": crank}))
    if result is None:
        return
    try:
        compared = compare(result, [base_result()], same_vehicle=True)
    except CrankwiseError:
        return
    for cam in compared.cams:
        assert np.isfinite([cam.shift_deg, cam.uncertainty_deg]).all()


@few
@given(st.sampled_from([0.0, 5.0, -1e300, np.nan, np.inf]), st.sampled_from(["x", "cam 3", "coil"]))
def test_a_channel_without_edges_changes_nothing(level, name):
    values = values_of(base())
    result = measure(of({**values, name: np.full(len(values["crank"]), level)}))
    plain = measure(of(values))
    assert result.crank == plain.crank
    assert result.cams == plain.cams


@few
@given(st.integers(-60, 60), st.sampled_from(NAMES))
def test_volts_of_any_size_change_nothing(power, channel):
    # Powers of two change no digit.
    values = values_of(base())
    values[channel] = values[channel] * 2.0**power
    result = measure(of(values))
    plain = measure(of(values_of(base())))
    assert result.crank.wheel == plain.crank.wheel
    assert [[e.angle_deg for e in cam.edges] for cam in result.cams] == [
        pytest.approx([e.angle_deg for e in cam.edges], abs=1e-3) for cam in plain.cams
    ]


@few
@given(st.integers(0, 4000), st.integers(0, 4000), st.sampled_from([np.nan, 0.0]))
def test_silence_at_the_ends_changes_no_angle(head, tail, level):
    values = {
        name: np.concatenate([np.full(head, level), item, np.full(tail, level)])
        for name, item in values_of(base()).items()
    }
    result = measure(of(values))
    for cam, plain in zip(result.cams, base_result().cams, strict=True):
        for edge, known in zip(cam.edges, plain.edges, strict=True):
            assert edge.angle_deg == pytest.approx(known.angle_deg, abs=2.5 * known.uncertainty_deg)


@few
@given(st.integers(2, 5), st.floats(0.05, 20.0))
def test_samples_written_several_times_change_no_angle(times, factor):
    values = {name: np.repeat(item, times) for name, item in values_of(base()).items()}
    result = measure(of(values, interval_s=2e-5 * factor))
    for cam, plain in zip(result.cams, base_result().cams, strict=True):
        for edge, known in zip(cam.edges, plain.edges, strict=True):
            limit = 2.5 * np.hypot(edge.uncertainty_deg, known.uncertainty_deg)
            assert edge.angle_deg == pytest.approx(known.angle_deg, abs=limit)
