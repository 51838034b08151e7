"""Roles from the signals, by name or without any."""

from dataclasses import replace

import numpy as np
import pytest

from crankwise.errors import NotMeasurableError, UsageError
from crankwise.model.recording import SampledChannel
from crankwise.pipeline import measure
from crankwise.testing.simulate import ScopeSpec, SwappedChannels, preset, simulate
from crankwise.testing.simulate.spec import ExtraSpec

SCOPE = ScopeSpec(duration_s=2.0, interval_s=2e-5, range_v=50.0, bits=12, noise_v=0.02)
FRESH = replace(preset("t20-fresh-chain"), scope=SCOPE)
NO_NAMES = preset("t20-no-names")
NO_NAMES = replace(NO_NAMES, scope=replace(SCOPE, order=NO_NAMES.scope.order))
KINDS = {"A": "cam", "B": "other", "C": "crank", "D": "cam", "E": "other"}


@pytest.fixture(scope="module")
def fresh():
    return simulate(FRESH, seed=3).recording


@pytest.fixture(scope="module")
def nameless():
    return simulate(NO_NAMES, seed=3).recording


def named(recording, names):
    """Give the channels other names."""
    channels = tuple(
        replace(channel, name=name) for channel, name in zip(recording.channels, names, strict=True)
    )
    return replace(recording, channels=channels)


def with_channel(recording, name, values):
    values = np.asarray(values, dtype=np.float32)
    return replace(recording, channels=(*recording.channels, SampledChannel(name, "V", values)))


def test_by_name(fresh):
    result = measure(fresh)
    assert result.crank.channel == "crank"
    assert {cam.role: cam.channel for cam in result.cams} == {
        "intake": "intake",
        "exhaust": "exhaust",
    }
    assert result.roles["crank"].startswith("crank: its name says so")


def test_without_names(nameless):
    result = measure(nameless)
    assert result.crank.channel == "C"
    assert {cam.channel for cam in result.cams} == {"A", "D"}
    assert [cam.role for cam in result.cams] == ["cam-1", "cam-2"]
    assert set(result.roles) == set("ABCDE")
    for channel, kind in KINDS.items():
        assert result.roles[channel].startswith(kind)
        assert ": " in result.roles[channel]


@pytest.mark.parametrize("language", ["de", "fr", "es"])
def test_names_of_other_languages(fresh, language):
    names = {
        "de": ("Kurbelwelle", "Nockenwelle Einlass", "Nockenwelle Auslass"),
        "fr": ("Vilebrequin", "AAC admission", "AAC échappement"),
        "es": ("Cigüeñal", "Levas admisión", "Levas escape"),
    }[language]
    result = measure(named(fresh, names))
    assert result.crank.channel == names[0]
    assert {cam.role: cam.channel for cam in result.cams} == {
        "intake": names[1],
        "exhaust": names[2],
    }


def test_misleading_names_lose_against_the_signals():
    spec = replace(FRESH, faults=(SwappedChannels("crank", "intake"),))
    result = measure(simulate(spec, seed=3).recording)
    assert result.crank.channel == "intake"
    assert result.crank.wheel == "60-2"
    found = [item for item in result.findings if item.code == "crank-cam-swapped"]
    assert len(found) == 1
    assert "'crank'" in found[0].text
    assert "'intake'" in found[0].text
    assert "crank" in {cam.channel for cam in result.cams}


def test_swapped_cams_are_taken_as_named():
    spec = replace(FRESH, faults=(SwappedChannels("exhaust", "intake"),))
    right = measure(simulate(FRESH, seed=3).recording)
    swapped = measure(simulate(spec, seed=3).recording)
    # The other cam may now choose the other revolution as the cycle's first.
    angles = sorted(edge.angle_deg % 360.0 for edge in right.cam("intake").edges)
    seen = sorted(edge.angle_deg % 360.0 for edge in swapped.cam("exhaust").edges)
    assert seen == pytest.approx(angles)


@pytest.mark.parametrize("kind", ["flat", "injector"])
def test_what_is_no_cam(kind):
    level = {"flat": 3.0, "injector": 13.8}[kind]
    spec = replace(FRESH, extras=(ExtraSpec(kind, "X", level),))
    result = measure(simulate(spec, seed=4).recording)
    assert {cam.role for cam in result.cams} == {"intake", "exhaust"}
    assert result.roles["X"].startswith("other: ")
    assert len(result.roles["X"]) > len("other: ")


def test_an_injector_named_like_nothing_while_the_speed_changes():
    spec = replace(NO_NAMES, speed=replace(NO_NAMES.speed, wander_rpm=40.0))
    result = measure(simulate(spec, seed=5).recording)
    assert result.roles["B"].startswith("other")


@pytest.mark.parametrize(
    "values",
    [
        lambda n: np.random.default_rng(1).normal(0.0, 1.0, n),
        lambda n: 2.0 * np.sin(np.arange(n) / 3500.0),
        lambda n: 5.0 * (np.arange(n) % 5000 < 2500),
        lambda n: np.full(n, np.nan),
        lambda n: np.cumsum(np.random.default_rng(2).normal(0.0, 0.01, n)),
    ],
    ids=["noise", "mains hum", "a clock", "missing", "wander"],
)
def test_foreign_channels_are_no_cams_and_change_nothing(fresh, values):
    alone = measure(fresh)
    result = measure(with_channel(fresh, "X", values(len(fresh.channels[0].values))))
    assert result.roles["X"].startswith("other")
    assert result.crank == alone.crank
    assert result.cams == alone.cams


def test_named_by_the_user(nameless):
    result = measure(nameless, crank="C", cams={"intake": "A", "exhaust-2": "D"})
    assert {cam.role: cam.channel for cam in result.cams} == {"intake": "A", "exhaust-2": "D"}
    assert result.roles["A"] == "intake: named by you"
    assert result.roles["C"] == "crank: named by you"
    assert result.roles["B"] == "other: not named by you"


def test_only_the_cam_named(nameless):
    result = measure(nameless, cams={"intake": "D"})
    assert result.crank.channel == "C"
    assert [cam.channel for cam in result.cams] == ["D"]


def test_naming_and_finding_agree(nameless):
    found = measure(nameless)
    told = measure(nameless, crank="C", cams={"cam-1": "A", "cam-2": "D"})
    assert told.cams == found.cams


@pytest.mark.parametrize(
    ("roles", "words"),
    [
        ({"crank": "Z"}, "there is no channel 'Z' for crank; channels are 'A', 'B'"),
        ({"cams": {"intake": "Q"}}, "there is no channel 'Q' for intake"),
        ({"crank": "C", "cams": {"intake": "C"}}, "channel 'C' is named both crank and intake"),
        ({"cams": {"intake": "A", "exhaust": "A"}}, "'A' is named both intake and exhaust"),
    ],
)
def test_impossible_roles(nameless, roles, words):
    with pytest.raises(UsageError) as caught:
        measure(nameless, **roles)
    assert words in str(caught.value)
    assert caught.value.exit_code == 2


@pytest.mark.parametrize("channel", ["B", "E"])
def test_a_crank_that_is_none(nameless, channel):
    with pytest.raises(NotMeasurableError) as caught:
        measure(nameless, crank=channel)
    assert f"'{channel}'" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_only_flat_channels():
    recording = simulate(FRESH, seed=3).recording
    flat = tuple(replace(item, values=np.full(5000, 2.5)) for item in recording.channels)
    with pytest.raises(NotMeasurableError) as caught:
        measure(replace(recording, channels=flat))
    text = str(caught.value)
    assert "'crank' 0" in text
    assert "check the probes" in text
    assert caught.value.exit_code == 4


def test_v6_with_banks():
    spec = preset("fell-v6")
    spec = replace(spec, scope=replace(spec.scope, duration_s=1.6))
    result = measure(simulate(spec, seed=1).recording)
    assert [cam.role for cam in result.cams] == ["exhaust-1", "exhaust-2", "intake-1", "intake-2"]
    assert all(cam.channel.endswith(cam.role[-1]) for cam in result.cams)
