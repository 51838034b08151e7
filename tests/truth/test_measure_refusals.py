"""What can't be measured is refused in one line: what, where, what to do."""

from dataclasses import replace

import numpy as np
import pytest

from crankwise.errors import CrankwiseError, NotMeasurableError
from crankwise.model.recording import EventChannel, Recording, SampledChannel
from crankwise.pipeline import measure
from crankwise.testing.simulate import ScopeSpec, preset, simulate

FRESH = replace(
    preset("t20-fresh-chain"),
    scope=ScopeSpec(duration_s=1.5, interval_s=2e-5, range_v=10.0, bits=12, noise_v=0.02),
)


def sampled(**values):
    channels = tuple(SampledChannel(name, "V", np.asarray(v)) for name, v in values.items())
    count = len(channels[0].values)
    return Recording("bench.csv", "0" * 64, channels, 0.0, (count - 1) * 2e-5, 2e-5)


def refusal(recording, **roles):
    with pytest.raises(NotMeasurableError) as caught:
        measure(recording, **roles)
    text = str(caught.value)
    assert caught.value.exit_code == 4
    assert isinstance(caught.value, CrankwiseError)
    assert "\n" not in text
    assert len(text) < 400
    return text


def short(duration_s):
    spec = replace(FRESH, scope=replace(FRESH.scope, duration_s=duration_s))
    return simulate(spec, seed=1).recording


def test_flat_lines():
    text = refusal(sampled(a=np.zeros(5000), b=np.full(5000, 5.0)))
    assert "'a' 0" in text
    assert "'b' 0" in text
    assert "check the probes" in text


def test_missing_samples_only():
    text = refusal(sampled(a=np.full(5000, np.nan)))
    assert "'a'" in text


@pytest.mark.parametrize("count", [0, 1, 10])
def test_hardly_any_samples(count):
    text = refusal(sampled(a=np.zeros(count), b=np.ones(count)))
    assert "'a'" in text
    assert "record" in text


def test_an_event_list_without_events():
    empty = EventChannel("D0", np.empty(0), np.empty(0, dtype=bool), initial_state=False)
    text = refusal(Recording("logic.csv", "0" * 64, (empty,), 0.0, 1.0, None))
    assert "'D0' 0" in text


def test_no_channels_at_all():
    refusal(Recording("empty.csv", "0" * 64, (), 0.0, 1.0, 1e-5))


def test_noise_for_a_crank():
    noise = np.random.default_rng(1).normal(0.0, 1.0, 50_000)
    refusal(sampled(crank=noise), crank="crank")


def test_random_pulses_for_a_crank():
    rng = np.random.default_rng(2)
    times = np.cumsum(rng.uniform(20.0, 400.0, 600))
    values = np.searchsorted(times, np.arange(100_000)) % 2
    text = refusal(sampled(pulses=5.0 * values))
    assert "'pulses'" in text
    assert "check that this is the crank sensor" in text


def test_even_teeth_without_a_cam():
    # A ring gear: even teeth tell no turn, and no cam is there to tell it.
    values = 5.0 * (np.arange(100_000) * 0.013 % 1.0 < 0.5)
    text = refusal(sampled(ring=values))
    assert "'ring'" in text
    assert "cam" in text


def test_a_moment_too_short_for_a_crank():
    text = refusal(short(0.06))
    assert "'crank'" in text
    assert "record" in text


def test_too_few_cycles_say_how_many_seconds_more():
    text = refusal(short(0.3))
    assert "cycles" in text
    assert "record" in text
    # 760 rpm: a cycle lasts 0.158 s, and 4 cycles 0.63 s: 0.2 to 0.5 s more.
    seconds = float(text.split("record ")[1].split(" s more")[0])
    assert 0.1 < seconds < 0.7
    measure(short(0.3 + seconds + 0.16))


def test_sampled_far_too_slowly():
    # 2.3 degrees a sample: little more than one sample for a tooth and one for a space.
    spec = replace(FRESH, scope=replace(FRESH.scope, duration_s=3.0, interval_s=5e-4))
    try:
        result = measure(simulate(spec, seed=1).recording)
    except NotMeasurableError as error:
        text = str(error)
    else:
        text = ""
        assert result.crank.wheel == "60-2"
        assert "sampled-slowly" in {item.code for item in result.findings}
    assert not text or "S/s" in text or "sampl" in text


def test_a_cam_named_by_the_user_that_never_moves():
    flat = SampledChannel("dead", "V", np.zeros(75_001))
    recording = simulate(FRESH, seed=1).recording
    recording = replace(recording, channels=(*recording.channels, flat))
    text = refusal(recording, cams={"intake": "dead"})
    assert "'dead'" in text


def test_a_cam_named_by_the_user_that_is_a_clock():
    values = 5.0 * (np.arange(75_001) % 5001 < 2500)
    recording = simulate(FRESH, seed=1).recording
    clock = SampledChannel("clock", "V", values)
    recording = replace(recording, channels=(*recording.channels, clock))
    text = refusal(recording, cams={"intake": "clock"})
    assert "'clock'" in text


def test_the_cam_taken_for_the_crank():
    recording = simulate(FRESH, seed=1).recording
    try:
        result = measure(recording, crank="intake", cams={"exhaust": "exhaust"})
    except NotMeasurableError as error:
        assert "'intake'" in str(error)  # noqa: PT017  (either way out is right)
    else:
        assert result.crank.choice.confidence < 0.95
        assert "wheel-learned" in {item.code for item in result.findings}


def test_messages_are_one_line_whatever_they_hold():
    error = NotMeasurableError("first\n   second\tthird")
    assert str(error) == "first second third"
