"""What must not change a measurement, and what must change it by a known amount."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crankwise.model.recording import Recording, SampledChannel
from crankwise.pipeline import measure
from crankwise.testing.simulate import ScopeSpec, SpeedSpec, preset, simulate
from crankwise.units import wrap_signed_deg

SPEC = replace(
    preset("t20-fresh-chain"),
    speed=SpeedSpec("idle", 800.0, wander_rpm=8.0),
    scope=ScopeSpec(duration_s=1.5, interval_s=2e-5, range_v=10.0, bits=12, noise_v=0.02),
)
NAMES = ("crank", "intake", "exhaust")
law = settings(max_examples=9, deadline=None, derandomize=True)


@cache
def base(seed=1):
    return simulate(SPEC, seed=seed).recording


@cache
def base_result(seed=1):
    return measure(base(seed))


def changed(recording, change):
    """Apply ``change(name, values)`` to every channel."""
    channels = tuple(
        replace(item, values=change(item.name, item.values.astype(np.float64)))
        for item in recording.channels
    )
    return replace(recording, channels=channels)


def part(recording, first, last):
    channels = tuple(replace(item, values=item.values[first:last]) for item in recording.channels)
    count = len(channels[0].values)
    return replace(recording, channels=channels, duration_s=(count - 1) * recording.interval_s)


def edges_of(result, channel):
    (cam,) = [item for item in result.cams if item.channel == channel]
    return cam.edges


def differences(first, second, *, flip=(), names=None, shift=None):
    """Shift of each cam edge and its expanded uncertainty, from ``first`` to ``second``."""
    names = names or dict.fromkeys(NAMES)
    rows = []
    for channel in ("intake", "exhaust"):
        known, seen = edges_of(first, channel), edges_of(second, names[channel] or channel)
        assert len(known) == len(seen)
        for edge in known:
            word = edge.edge
            if channel in flip:
                word = "falling" if word == "rising" else "rising"
            expected = edge.angle_deg + (shift or {}).get(channel, 0.0)
            apart = [
                float(wrap_signed_deg(item.angle_deg - expected))
                for item in seen
                if item.edge == word
            ]
            nearest = int(np.argmin(np.abs(apart)))
            other = [item for item in seen if item.edge == word][nearest]
            rows.append((apart[nearest], np.hypot(edge.uncertainty_deg, other.uncertainty_deg)))
    table = np.array(rows)
    return table[:, 0], table[:, 1]


def assert_same(first, second, *, limit_deg=None, **how):
    """Compare within ``limit_deg`` if given, and within the stated uncertainties."""
    apart, uncertainty = differences(first, second, **how)
    if limit_deg is not None:
        assert np.abs(apart).max() < limit_deg
    # Stated at 95 %: of sixteen edges that err together, a few may lie outside, none far.
    assert np.mean(np.abs(apart) <= uncertainty) >= 0.8
    assert np.all(np.abs(apart) <= 2.5 * uncertainty)


@law
@given(st.sampled_from(["intake", "exhaust"]), st.floats(-80.0, 80.0))
def test_shifting_a_cam_moves_every_edge_of_it(role, shift):
    cams = tuple(
        replace(cam, shift_deg=cam.shift_deg + shift) if cam.role == role else cam
        for cam in SPEC.cams
    )
    result = measure(simulate(replace(SPEC, cams=cams), seed=1).recording)
    # A pattern turned far enough makes the cycle begin in its other revolution, for all cams
    # alike; which, is chosen by the pattern.
    turned = [replace_angles(result, turn_deg) for turn_deg in (0.0, 360.0)]
    worst = [
        np.abs(differences(base_result(), item, shift={role: shift})[0]).max() for item in turned
    ]
    assert_same(base_result(), turned[int(np.argmin(worst))], shift={role: shift})
    if abs(shift) < 20.0:
        assert np.argmin(worst) == 0


def replace_angles(result, turn_deg):
    cams = tuple(
        replace(
            cam,
            edges=tuple(
                replace(edge, angle_deg=(edge.angle_deg - turn_deg) % 720.0) for edge in cam.edges
            ),
        )
        for cam in result.cams
    )
    return replace(result, cams=cams)


@law
@given(st.floats(0.4, 2.5))
def test_another_clock_changes_no_angle(factor):
    slower = replace(
        base(), interval_s=base().interval_s * factor, duration_s=base().duration_s * factor
    )
    result = measure(slower)
    assert_same(base_result(), result, limit_deg=0.02)
    assert result.crank.speed_rpm.mean * factor == pytest.approx(
        base_result().crank.speed_rpm.mean, rel=1e-4
    )


@law
@given(st.floats(-100.0, 1000.0))
def test_the_time_of_the_first_sample_changes_nothing(start_s):
    result = measure(replace(base(), start_s=start_s))
    assert_same(base_result(), result, limit_deg=0.001)


@law
@given(st.floats(1.1, 6.0))
def test_fewer_samples_change_nothing_beyond_the_uncertainty(factor):
    old = base()
    count = int((len(old.channels[0].values) - 1) / factor)
    place = np.arange(count) * factor
    fewer = changed(old, lambda _, values: np.interp(place, np.arange(len(values)), values))
    result = measure(replace(fewer, interval_s=old.interval_s * factor))
    assert_same(base_result(), result)


@law
@given(st.sets(st.sampled_from(NAMES)))
def test_inverted_channels_swap_their_edges_only(inverted):
    turned = changed(base(), lambda name, values: -values if name in inverted else values)
    result = measure(turned)
    flipped = "crank" in inverted
    assert result.crank.timing_edge == ("rising" if flipped else "falling")
    assert_same(base_result(), result, limit_deg=0.01, flip=inverted)


@law
@given(st.permutations(NAMES))
def test_the_order_of_the_channels_changes_nothing(order):
    shuffled = replace(base(), channels=tuple(base().channel(name) for name in order))
    result = measure(shuffled)
    assert result.cams == base_result().cams
    assert result.crank == base_result().crank


LABELS = st.sampled_from(
    [
        ("A", "B", "C"),
        ("C", "B", "A"),
        ("Channel 0", "Channel 2", "Channel 1"),
        ("x", "CMP in", "y"),
        ("Kurbelwelle", "Nockenwelle Einlass", "Nockenwelle Auslass"),
        ("CKP", "cam 2", "cam 1"),
        ("Ω", "µ", "ß"),
        (" crank ", "exhaust?", "?"),
    ]
)


@law
@given(LABELS)
def test_names_change_roles_but_no_angle(labels):
    names = dict(zip(NAMES, labels, strict=True))
    channels = tuple(replace(item, name=names[item.name]) for item in base().channels)
    result = measure(replace(base(), channels=channels))
    assert result.crank.channel == names["crank"]
    assert_same(base_result(), result, limit_deg=0.001, names=names)


@law
@given(st.floats(0.02, 300.0), st.floats(-20.0, 20.0), st.sampled_from(NAMES))
def test_volts_and_offset_change_nothing(scale, offset, channel):
    result = measure(changed(base(), lambda name, v: scale * v + offset if name == channel else v))
    assert_same(base_result(), result, limit_deg=0.01)


@law
@given(st.floats(0.0, 0.25), st.floats(0.0, 0.25), st.integers(1, 3))
def test_a_trimmed_recording_agrees(head, tail, seed):
    count = len(base(seed).channels[0].values)
    trimmed = part(base(seed), int(head * count), int((1 - tail) * count))
    assert_same(base_result(seed), measure(trimmed))


@law
@given(st.floats(0.4, 0.6), st.integers(1, 3))
def test_two_halves_agree(share, seed):
    count = len(base(seed).channels[0].values)
    cut = int(share * count)
    assert_same(measure(part(base(seed), 0, cut)), measure(part(base(seed), cut, count)))


@law
@given(st.floats(0.3, 0.9), st.integers(1, 3))
def test_recordings_put_end_to_end_agree(share, seed):
    old = base(seed)
    count = len(old.channels[0].values)
    cut = int(share * count)
    # At the seam the crank jumps to another angle, and the revolutions can't be counted across.
    joined = changed(old, lambda _, values: np.concatenate([values, values[:cut]]))
    joined = replace(joined, duration_s=(count + cut - 1) * old.interval_s)
    assert_same(base_result(seed), measure(joined))


@law
@given(st.floats(0.2, 0.8), st.floats(0.02, 0.4))
def test_a_pause_without_samples_changes_nothing_beyond_the_uncertainty(share, length_s):
    old = base()
    first = int(share * len(old.channels[0].values))
    gone = np.zeros(len(old.channels[0].values), dtype=bool)
    gone[first : first + int(length_s / old.interval_s)] = True
    result = measure(changed(old, lambda _, values: np.where(gone, np.nan, values)))
    assert_same(base_result(), result)
    assert "dropout" in {item.code for item in result.findings}


@law
@given(st.sampled_from(["float32", "float64", "int16", "int32"]))
def test_the_number_type_changes_nothing(kind):
    def scaled(_, values):
        return (np.round(values * 1000.0) if kind.startswith("int") else values).astype(kind)

    channels = tuple(replace(c, values=scaled(c.name, c.values)) for c in base().channels)
    assert_same(base_result(), measure(replace(base(), channels=channels)), limit_deg=0.01)


def test_events_and_samples_agree():
    events = simulate(replace(SPEC, scope=ScopeSpec(1.5, "events", resolution_s=1e-7)), seed=1)
    assert_same(base_result(), measure(events.recording))


def test_measuring_twice_gives_the_same():
    assert measure(base()) == base_result()


def test_samples_are_left_alone():
    before = [item.values.copy() for item in base(2).channels]
    measure(base(2))
    for item, old in zip(base(2).channels, before, strict=True):
        np.testing.assert_array_equal(item.values, old)


def test_read_only_samples_will_do():
    channels = []
    for item in base().channels:
        values = item.values.copy()
        values.setflags(write=False)
        channels.append(SampledChannel(item.name, item.unit, values))
    old = base()
    locked = Recording(
        old.name, old.sha256, tuple(channels), old.start_s, old.duration_s, old.interval_s
    )
    assert measure(locked).cams == base_result().cams
