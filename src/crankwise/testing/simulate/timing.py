"""From flanks in degrees to transitions in time: the rotation, the phaser and the sensor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crankwise.errors import UsageError
from crankwise.model.recording import BoolArray, FloatArray
from crankwise.testing.simulate.faults import PhaserSpec
from crankwise.testing.simulate.motion import Motion
from crankwise.testing.simulate.parts import SensorSpec
from crankwise.testing.simulate.targets import Train

TEN_TO_NINETY = 0.8
"""Share of a linear ramp between 10 % and 90 %."""

TIME_CONSTANTS = float(np.log(9.0))
"""Time constants between 10 % and 90 % of an exponential transition (ln 9 = 2.197)."""


@dataclass(frozen=True, slots=True, eq=False)
class Transitions:
    """Transitions of one sensor, in order; arrays of shape (n,).

    Attributes
    ----------
    start_s : np.ndarray
        When the output begins to move.
    half_s : np.ndarray
        When it passes the middle: the edge.
    flank_deg : np.ndarray
        Unwrapped crank angle at which the flank itself passed the sensor.
    rising : np.ndarray of bool
        Electrical direction.
    trailing : np.ndarray of bool
        Whether it comes from the trailing flank of a tooth.
    tooth, turn : np.ndarray of int
        As in :class:`Train`; -1 for a false pulse.
    initial_high : bool
        Level before the first transition.
    """

    start_s: FloatArray
    half_s: FloatArray
    flank_deg: FloatArray
    rising: BoolArray
    trailing: BoolArray
    tooth: npt.NDArray[np.int64]
    turn: npt.NDArray[np.int64]
    initial_high: bool

    def select(self, which: BoolArray | npt.NDArray[np.intp]) -> Transitions:
        """Return those marked in a mask or listed by index."""
        return Transitions(
            self.start_s[which],
            self.half_s[which],
            self.flank_deg[which],
            self.rising[which],
            self.trailing[which],
            self.tooth[which],
            self.turn[which],
            self.initial_high,
        )

    def merge(self, other: Transitions) -> Transitions:
        """Return all of both in time order; the level before them stays this one's."""
        joined = Transitions(
            np.concatenate((self.start_s, other.start_s)),
            np.concatenate((self.half_s, other.half_s)),
            np.concatenate((self.flank_deg, other.flank_deg)),
            np.concatenate((self.rising, other.rising)),
            np.concatenate((self.trailing, other.trailing)),
            np.concatenate((self.tooth, other.tooth)),
            np.concatenate((self.turn, other.turn)),
            self.initial_high,
        )
        return joined.select(np.argsort(joined.start_s, kind="stable"))


def phaser_offset_deg(phaser: PhaserSpec, time_s: FloatArray) -> FloatArray:
    """Where the phaser stands at each time, crank degrees from park."""
    since = np.maximum(time_s - phaser.at_s, 0.0)
    if phaser.movement == "drift":
        moved = phaser.rate_deg_per_s * since
    elif phaser.movement == "step":
        moved = phaser.step_deg * (0.5 - 0.5 * np.cos(np.pi * np.minimum(since / phaser.step_s, 1)))
    elif phaser.movement == "hunting":
        moved = phaser.amplitude_deg * (1 - np.cos(2 * np.pi * phaser.frequency_hz * since))
    else:
        return np.zeros_like(time_s)
    return np.clip(moved, *phaser.authority_deg)


def flank_times(motion: Motion, angle_deg: FloatArray, phaser: PhaserSpec | None) -> FloatArray:
    """Time at which each flank passes the sensor; NaN outside the motion.

    With a moving phaser the angle depends on the time: iterated until it settles below a
    billionth of a degree.

    Raises
    ------
    UsageError
        The phaser outruns the crank.
    """
    times = motion.time_of(angle_deg)
    if phaser is None or phaser.movement == "parked":
        return times
    offset = np.zeros_like(angle_deg)
    for _ in range(40):
        standing = phaser_offset_deg(phaser, np.where(np.isnan(times), motion.time_s[0], times))
        settled = bool(np.max(np.abs(standing - offset), initial=0.0) < 1e-9)
        offset = standing
        times = motion.time_of(angle_deg + offset)
        if settled:
            return times
    raise UsageError("phaser: it moves faster than the crank turns; slow it down")


def half_delay_s(sensor: SensorSpec, *, rising: bool) -> float:
    """From the start of a transition to the middle of its levels."""
    length = sensor.rise_s if rising else sensor.fall_s
    if sensor.transition == "linear":
        return 0.5 * length / TEN_TO_NINETY
    return float(np.log(2.0)) * length / TIME_CONSTANTS


def lag_delay_s(sensor: SensorSpec, *, pitch_deg: float, speed_deg_per_s: FloatArray) -> FloatArray:
    """Delay of a variable reluctance signal behind the tooth: phase lag of one L/R pole.

    Phase lag at frequency f is atan(2 pi f L/R); at low speed the delay is L/R itself.
    """
    if sensor.lag_s == 0:
        return np.full_like(speed_deg_per_s, sensor.delay_s)
    rate = 2 * np.pi * np.maximum(speed_deg_per_s, 1e-6) / pitch_deg
    return np.arctan(rate * sensor.lag_s) / rate + sensor.delay_s


def transitions_of(
    train: Train,
    motion: Motion,
    sensor: SensorSpec,
    *,
    pitch_deg: float,
    phaser: PhaserSpec | None,
    rng: np.random.Generator,
) -> Transitions:
    """Transitions of a sensor over a train of teeth.

    A variable reluctance sensor is read as a comparator at zero volts would: high from where the
    tooth is first felt to its middle, low from there on (reversed leads: the other way). Its
    ``trailing`` transitions are the crossings in the middle of the teeth.

    Raises
    ------
    UsageError
        Flanks overtake each other: the scatter or a fault is larger than the teeth allow.
    """
    if sensor.is_switching:
        angle = np.column_stack((train.lead_deg, train.trail_deg)).ravel()
    else:
        angle = np.column_stack((train.centre_deg - train.flux_deg, train.centre_deg)).ravel()
    trailing = np.tile([False, True], len(train.tooth))
    tooth_low = sensor.inverted if sensor.is_switching else sensor.reversed_leads
    rising = trailing if tooth_low else ~trailing
    passing = flank_times(motion, angle, phaser)
    keep = ~np.isnan(passing)
    initial = _level_before(angle, rising, keep, motion, tooth_low=tooth_low)
    passing, rising, trailing = passing[keep], rising[keep], trailing[keep]
    flank, speed = motion.at(passing)
    delay = sensor.delay_s + sensor.jitter_s * rng.standard_normal(len(passing))
    late = np.zeros(len(passing))
    if sensor.is_switching:
        late = np.where(rising, *(half_delay_s(sensor, rising=up) for up in (True, False)))
    else:
        delay += lag_delay_s(sensor, pitch_deg=pitch_deg, speed_deg_per_s=speed) - sensor.delay_s
    start = passing + delay
    if np.any(np.diff(start) <= 0):
        raise UsageError("edges overtake each other: scatter or a fault exceeds the teeth's width")
    if sensor.is_switching:
        _refuse_unsettled(start, rising, sensor)
    return Transitions(
        start,
        start + late,
        flank,
        rising,
        trailing,
        np.repeat(train.tooth, 2)[keep],
        np.repeat(train.turn, 2)[keep],
        initial,
    )


def _refuse_unsettled(start_s: FloatArray, rising: BoolArray, sensor: SensorSpec) -> None:
    """Raise UsageError where a transition begins before the one before it has settled.

    Its middle would come earlier than the truth says. Three times the 10 % to 90 % length leave
    0.14 % of an exponential transition.
    """
    needed = 3.0 * np.where(rising[:-1], sensor.rise_s, sensor.fall_s)
    if np.any(np.diff(start_s) < needed):
        raise UsageError(
            "sensor: rise_s or fall_s is longer than a third of a tooth or slot at this speed; "
            "shorten it"
        )


def _level_before(
    angle: FloatArray,
    rising: BoolArray,
    passing: BoolArray,
    motion: Motion,
    *,
    tooth_low: bool,
) -> bool:
    """Level before the first flank that passes; of the flank before if none does.

    A target without any teeth gives the level of a slot.
    """
    if passing.any():
        return not bool(rising[passing][0])
    earlier = rising[angle <= motion.angle_deg[0]]
    return bool(earlier[-1]) if len(earlier) else tooth_low
