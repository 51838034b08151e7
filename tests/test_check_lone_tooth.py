"""A lone bad tooth is one finding, and what fires at fixed angles is no cam."""

from dataclasses import replace

from crankwise.pipeline import measure
from crankwise.testing.simulate import DamagedTooth, MissingTooth, ScopeSpec, preset, simulate
from crankwise.testing.simulate.spec import ExtraSpec

FRESH = replace(
    preset("t20-fresh-chain"),
    scope=ScopeSpec(duration_s=2.4, interval_s=2e-5, range_v=10.0, bits=12, noise_v=0.02),
)


def codes(spec, *, seed):
    result = measure(simulate(spec, seed=seed).recording)
    return [item.code for item in result.findings if item.code != "parking-not-shown"]


def test_a_bent_tooth_is_one_finding():
    spec = replace(FRESH, faults=(DamagedTooth("crank", 20, shift_deg=1.5),))
    assert codes(spec, seed=6) == ["damaged-tooth"]


def test_a_broken_tooth_is_not_told_twice():
    # That the wheel is a little less sure then is right.
    spec = replace(FRESH, faults=(MissingTooth("crank", 20),))
    assert set(codes(spec, seed=6)) - {"wheel-unsure"} == {"damaged-tooth"}


def test_an_ignition_signal_is_no_cam():
    spec = replace(
        FRESH,
        extras=(ExtraSpec("ignition", "X", 12.0),),
        scope=replace(FRESH.scope, range_v=50.0),
    )
    result = measure(simulate(spec, seed=4).recording)
    assert {cam.role for cam in result.cams} == {"intake", "exhaust"}
    assert result.roles["X"].startswith("other")
