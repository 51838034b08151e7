"""Where every flank of every tooth truly sits, turn after turn, in unwrapped crank degrees."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crankwise.errors import UsageError
from crankwise.model.recording import FloatArray
from crankwise.model.wheel import Wheel
from crankwise.testing.simulate.faults import DamagedTooth, Fault, MissedTeeth, MissingTooth
from crankwise.testing.simulate.motion import Motion
from crankwise.testing.simulate.parts import CamSpec, CrankSpec, require
from crankwise.units import CYCLE_DEG, REVOLUTION_DEG


@dataclass(frozen=True, slots=True, eq=False)
class Target:
    """One turn of a target as made, with its errors: arrays of shape (teeth,), degrees.

    Attributes
    ----------
    lead_deg, centre_deg, trail_deg : np.ndarray
        Leading flank, middle and trailing flank of each tooth after the zero.
    nominal_lead_deg, nominal_trail_deg : np.ndarray
        The same without errors; ``nominal_trail_deg`` of the crank is the wheel's own angle
        (for a variable reluctance sensor that is the middle of the tooth).
    flux_deg : np.ndarray
        Half of the angle over which a tooth is felt by a variable reluctance sensor.
    """

    lead_deg: FloatArray
    centre_deg: FloatArray
    trail_deg: FloatArray
    nominal_lead_deg: FloatArray
    nominal_trail_deg: FloatArray
    flux_deg: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Train:
    """All teeth that pass a sensor, in order: arrays of shape (n,), unwrapped crank degrees.

    ``tooth`` counts within a turn of the target from 0, ``turn`` the revolutions of the crank
    or the cycles.
    """

    lead_deg: FloatArray
    centre_deg: FloatArray
    trail_deg: FloatArray
    flux_deg: FloatArray
    tooth: npt.NDArray[np.int64]
    turn: npt.NDArray[np.int64]

    def keep(self, mask: npt.NDArray[np.bool_]) -> Train:
        """Return the train with only the teeth marked in ``mask``."""
        return Train(
            self.lead_deg[mask],
            self.centre_deg[mask],
            self.trail_deg[mask],
            self.flux_deg[mask],
            self.tooth[mask],
            self.turn[mask],
        )


def find_wheel(wheel: Wheel | str) -> Wheel:
    """Return the wheel itself, or the one of that name in the catalogue.

    Raises
    ------
    UsageError
        The catalogue has no wheel of that name, or the wheel doesn't close at 360 degrees.
    """
    if isinstance(wheel, Wheel):
        turn = sum(wheel.intervals_deg)
        require(
            what="crank.wheel",
            holds=abs(turn - REVOLUTION_DEG) < 1e-6,
            rule=f"the spacing of {wheel.name!r} adds up to {turn:g}; it must close at 360",
        )
        return wheel
    from crankwise.wheel.catalogue import load  # noqa: PLC0415  (only names need it)

    wheels = load()
    if wheel not in wheels:
        raise UsageError(f"crank.wheel: no wheel {wheel!r}; known are {', '.join(sorted(wheels))}")
    return wheels[wheel]


def _centred(errors: FloatArray) -> FloatArray:
    """Zero-mean errors: the zero of the wheel is the mean place of its teeth."""
    centred: FloatArray = errors - errors.mean()
    return centred


def crank_target(
    spec: CrankSpec, wheel: Wheel, faults: Sequence[Fault], rng: np.random.Generator
) -> Target:
    """Build the crank target with its spacing errors.

    Spacing errors have zero mean over the teeth; damage comes on top and leaves the zero.
    """
    angle = wheel.angles_deg
    count = len(angle)
    smallest = min(wheel.pitch_deg, *wheel.intervals_deg)
    widths = np.full(count, spec.width_deg if spec.width_deg is not None else smallest / 2)
    if spec.width_deg is None and wheel.width_deg:
        widths = np.asarray(wheel.width_deg)
    previous = np.roll(np.asarray(wheel.intervals_deg), 1)
    require(
        what="crank.width_deg",
        holds=bool(np.all((widths > 0) & (widths < previous))),
        rule="a tooth must be wider than 0 and narrower than the space to its neighbour",
    )
    errors = spec.tooth_error_deg * rng.standard_normal(count)
    errors += spec.runout_deg * np.cos(np.radians(angle - spec.runout_phase_deg))
    width_errors = _centred(spec.width_error_deg * rng.standard_normal(count))
    placed = angle + _centred(errors)
    switching = spec.sensor.is_switching
    trail = placed if switching else placed + widths / 2
    lead = trail - widths + width_errors
    trail, lead = _damage(lead=lead, trail=trail, role="crank", faults=faults)
    nominal = angle if switching else angle + widths / 2
    return Target(
        lead,
        (lead + trail) / 2 if switching else placed + _shifts("crank", count, faults),
        trail,
        nominal - widths,
        nominal,
        np.full(count, smallest / 2),
    )


def cam_target(spec: CamSpec, faults: Sequence[Fault], rng: np.random.Generator) -> Target:
    """Build a cam target in crank degrees over one cycle, already turned by its shift."""
    teeth = np.asarray(spec.teeth, dtype=np.float64)
    errors = spec.tooth_error_deg * rng.standard_normal(teeth.shape)
    errors -= errors.mean()
    placed = teeth + errors + spec.shift_deg
    trail, lead = _damage(lead=placed[:, 0], trail=placed[:, 1], role=spec.role, faults=faults)
    centre = (lead + trail) / 2
    spacing = np.diff(np.append(centre, centre[0] + CYCLE_DEG))
    room = np.minimum(spacing, np.roll(spacing, 1)) / 2
    flux = np.minimum(trail - lead, room)
    return Target(lead, centre, trail, teeth[:, 0], teeth[:, 1], flux)


def _shifts(role: str, count: int, faults: Sequence[Fault]) -> FloatArray:
    """Displacement of each damaged tooth, shape (count,), degrees."""
    shifts = np.zeros(count)
    for fault in faults:
        if isinstance(fault, DamagedTooth) and fault.role == role:
            shifts[_place(fault, count)] += fault.shift_deg
    return shifts


def _damage(
    *, lead: FloatArray, trail: FloatArray, role: str, faults: Sequence[Fault]
) -> tuple[FloatArray, FloatArray]:
    """Trailing and leading flanks after damage."""
    shifts = _shifts(role, len(lead), faults)
    lead, trail = lead + shifts, trail + shifts
    for fault in faults:
        if isinstance(fault, DamagedTooth) and fault.role == role:
            place = _place(fault, len(lead))
            lead[place] -= fault.wider_deg
            trail[place] += fault.wider_deg
    return trail, lead


def _place(fault: DamagedTooth | MissingTooth, count: int) -> int:
    require(
        what=f"fault {fault.kind}",
        holds=1 <= fault.tooth <= count,
        rule=f"the {fault.role} target has teeth 1 to {count}, not {fault.tooth}",
    )
    return fault.tooth - 1


def repeat(target: Target, motion: Motion, *, period_deg: float) -> Train:
    """Lay the target end to end over the whole motion and a turn beyond at both sides."""
    first = int(np.floor(motion.angle_deg[0] / period_deg)) - 2
    last = int(np.ceil(motion.angle_deg[-1] / period_deg)) + 2
    turns = np.arange(first, last + 1)
    teeth = np.arange(len(target.lead_deg))
    base = turns[:, None] * period_deg
    return Train(
        (base + target.lead_deg).ravel(),
        (base + target.centre_deg).ravel(),
        (base + target.trail_deg).ravel(),
        np.tile(target.flux_deg, len(turns)),
        np.tile(teeth, len(turns)),
        np.repeat(turns, len(teeth)),
    )


def crank_train(target: Target, motion: Motion) -> Train:
    """Every tooth of the crank target over the motion."""
    return repeat(target, motion, period_deg=REVOLUTION_DEG)


def cam_train(spec: CamSpec, target: Target, motion: Motion, rng: np.random.Generator) -> Train:
    """Every tooth of a cam over the motion, with its scatter and chain slack.

    The scatter of an edge has a part common to the whole cam in a cycle and a part of its own.
    Slack lets the cam lag while the crank pulls the chain and run ahead while it holds back; how
    far it goes varies from cycle to cycle.
    """
    train = repeat(target, motion, period_deg=CYCLE_DEG)
    cycles = train.turn - train.turn[0]
    count = int(cycles[-1]) + 1
    common = np.sqrt(spec.common_share) * spec.scatter_deg * rng.standard_normal(count)
    own = np.sqrt(1 - spec.common_share) * spec.scatter_deg
    own_parts = own * rng.standard_normal((2, len(cycles)))
    play = 0.5 * spec.slack_deg * (1 + 0.15 * rng.standard_normal(count))
    strength = float(np.sqrt(np.mean(motion.torque_nm**2))) or 1.0

    def moved(angle: FloatArray, own_part: FloatArray) -> FloatArray:
        torque = np.interp(angle, motion.angle_deg, motion.torque_nm)
        there: FloatArray = angle + common[cycles] + own_part
        there += play[cycles] * np.tanh(torque / strength)
        return there

    lead, trail = moved(train.lead_deg, own_parts[0]), moved(train.trail_deg, own_parts[1])
    centre = moved(train.centre_deg, own_parts[0])
    return Train(lead, centre, trail, train.flux_deg, train.tooth, train.turn)


def drop_teeth(
    train: Train, *, role: str, count: int, faults: Sequence[Fault], rng: np.random.Generator
) -> Train:
    """Take out missing teeth and those the sensor misses."""
    mask = np.ones(len(train.tooth), dtype=np.bool_)
    for fault in faults:
        if isinstance(fault, MissingTooth) and fault.role == role:
            mask &= train.tooth != _place(fault, count)
        elif isinstance(fault, MissedTeeth) and fault.role == role:
            mask &= rng.random(len(mask)) >= fault.share
    return train.keep(mask)
