"""Checks of the cam signals."""

from __future__ import annotations

from collections.abc import Iterator

from crankwise.angle.cams import MIN_CYCLES
from crankwise.check.context import CheckContext
from crankwise.model.finding import Finding
from crankwise.roles.naming import cam_name

_ENOUGH_CYCLES = 10
_FEW_CYCLES = 5
"""Up to so many, some edges may have been seen too seldom to be measured."""
_SLOWEST_IDLE_RPM = 400.0
_DYNAMIC_TWIST_DEG = 0.8
"""Normal twist between neighbouring sprockets is 0.5 to 0.8 crank degrees (three engines, abstract
TEMA20000703416); more scatter than that hints at slack."""


def no_cam(context: CheckContext) -> Iterator[Finding]:
    """Nothing that looks like a cam."""
    if not context.cams:
        yield Finding(
            "no-cam",
            "caution",
            "No channel looks like a cam sensor, so only the crank was measured. Probe the cam "
            "sensors' signal wires and record them together with the crank.",
        )


def cycle_unknown(context: CheckContext) -> Iterator[Finding]:
    """The cams' pattern does not tell one revolution of the cycle from the other."""
    if context.cams and not context.crank.cycle_known:
        yield Finding(
            "cycle-not-settled",
            "note",
            "The cam pattern is so even that the two revolutions of a cycle look alike: angles may "
            "be off by exactly 360°. A comparison settles it.",
        )


def too_short(context: CheckContext) -> Iterator[Finding]:
    """Few cycles: says how many seconds more would do."""
    if not context.cams:
        return
    cycles = min(cam.cycles for cam in context.cams)
    if cycles < _ENOUGH_CYCLES:
        more = (_ENOUGH_CYCLES - cycles) * 120.0 / context.crank.speed_rpm.mean
        text = (
            f"Only {cycles} cycles were recorded. {more:.1f} s more at this speed would make "
            f"{_ENOUGH_CYCLES} and narrow the uncertainty."
        )
        if cycles <= _FEW_CYCLES:
            text = (
                f"Only {cycles} cycles were recorded, and cam edges seen fewer than {MIN_CYCLES} "
                f"times are left out. {more:.1f} s more at this speed would make {_ENOUGH_CYCLES}."
            )
        yield Finding("too-short", "caution", text)


def phaser_moving(context: CheckContext) -> Iterator[Finding]:
    """A cam that moves as a whole during the recording."""
    for cam in context.cams:
        if cam.moving_deg > 0:
            yield Finding(
                "phaser-moving",
                "caution",
                f"The {cam_name(cam.role)} moved over {cam.moving_deg:.1f}° during the recording: "
                "its phaser is moving. This is not a base-timing measurement: unplug the phaser "
                "solenoids as the maker describes and record again.",
            )


def just_started(context: CheckContext) -> Iterator[Finding]:
    """The engine started within the recording."""
    if context.started:
        yield Finding(
            "just-started",
            "note",
            f"The engine started during the recording. The first cam edges after power-up are not "
            f"to be trusted (Hall sensors are still calibrating); {context.started} were left out.",
        )


def wide_scatter(context: CheckContext) -> Iterator[Finding]:
    """More scatter than chain dynamics make."""
    if context.is_cranking:
        return
    for cam in context.cams:
        if cam.moving_deg == 0 and cam.common_scatter_deg > _DYNAMIC_TWIST_DEG:
            yield Finding(
                "wide-scatter",
                "caution",
                f"The {cam_name(cam.role)} scatters by {cam.common_scatter_deg:.1f}° from cycle to "
                f"cycle; {_DYNAMIC_TWIST_DEG}° is usual at most. A hint of slack, a weak "
                "tensioner or low oil pressure, no proof.",
            )


def parking_not_shown(context: CheckContext) -> Iterator[Finding]:
    """The recording can't show that the phasers were at their stops."""
    if context.cams and all(cam.moving_deg == 0 for cam in context.cams):
        running = "cranking" if context.crank.speed_rpm.mean < _SLOWEST_IDLE_RPM else "idling"
        yield Finding(
            "parking-not-shown",
            "note",
            f"Nothing in the recording shows that the phasers stood at their stops; {running} "
            "alone is no proof. If the engine has phasers, record with their solenoids unplugged "
            "as the maker describes, clear the codes this sets, and take two recordings that "
            "agree.",
        )
