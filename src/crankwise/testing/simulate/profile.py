"""What drives and brakes the crank over time: governor, starter, friction, fuel."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from crankwise.testing.simulate.parts import EngineSpec, SpeedSpec

GOVERNOR_S = 0.35
"""Time constant with which a running engine is held at its wanted speed."""

SLOWEST_SHARE = 0.6
"""Below this share of the wanted speed the governor pulls no harder."""

FUEL_RAMP_S = 0.15
"""Time in which firing builds up or dies away."""

WANDER_HZ = 0.4

STARTER_STAYS_S = 0.6
"""From the first firing to the starter's leaving."""


@dataclass(frozen=True, slots=True)
class Drive:
    """Torque on the crank besides the gas.

    Attributes
    ----------
    torque_nm : callable
        Of time (s) and speed (rad/s).
    fuel : callable
        Share of the firing torque (0 to 1) at a time.
    held_until_s : float
        A crank at rest stays so until then, whatever the compressed gas would do to it.
    starts_at_rest : bool
    """

    torque_nm: Callable[[float, float], float]
    fuel: Callable[[float], float]
    held_until_s: float = 0.0
    starts_at_rest: bool = False


def _rad_per_s(speed_rpm: float) -> float:
    return speed_rpm * math.pi / 30.0


def target_rpm(speed: SpeedSpec, time_s: float, *, cranking_rpm: float) -> float:
    """Speed a running engine is held at; a start begins from ``cranking_rpm``."""
    if speed.kind == "idle":
        return speed.mean_rpm + speed.wander_rpm * math.sin(2 * math.pi * WANDER_HZ * time_s)
    if speed.kind == "revving":
        up = _smooth((time_s - speed.at_s) / speed.rise_s)
        down = _smooth((time_s - speed.at_s - speed.rise_s) / speed.fall_s)
        return speed.mean_rpm + (speed.high_rpm - speed.mean_rpm) * (up - down)
    if speed.kind == "start-up":
        since = time_s - speed.at_s - speed.fire_s
        up = _smooth(since / 0.5)
        settle = math.exp(-max(since - 0.5, 0.0) / 0.6)
        flare = speed.mean_rpm + (speed.high_rpm - speed.mean_rpm) * settle
        return cranking_rpm + up * (flare - cranking_rpm)
    return speed.mean_rpm


def _smooth(share: float) -> float:
    """Half a cosine from 0 to 1."""
    return 0.5 - 0.5 * math.cos(math.pi * min(max(share, 0.0), 1.0))


def _governor(
    engine: EngineSpec, speed: SpeedSpec, *, mean_inertia: float, mean_torque: float
) -> Callable[[float, float], float]:
    """Load that cancels the mean torque and follows the wanted speed."""
    slowest = engine.cranking_rpm

    def torque(time_s: float, rad_per_s: float) -> float:
        wanted = _rad_per_s(target_rpm(speed, time_s, cranking_rpm=slowest))
        ahead = _rad_per_s(target_rpm(speed, time_s + 1e-3, cranking_rpm=slowest))
        # Acts on the time per degree, so that it is the mean over time that is held.
        hold = wanted * (wanted / max(rad_per_s, SLOWEST_SHARE * wanted) - 1.0) / GOVERNOR_S
        return mean_inertia * ((ahead - wanted) / 1e-3 + hold) - mean_torque

    return torque


def _starter(engine: EngineSpec, *, mean_rpm: float) -> Callable[[float], float]:
    """Torque of the starter: a straight torque-speed line through its stall torque.

    The free speed is chosen so that it meets friction at ``mean_rpm``; the one-way clutch keeps
    a faster engine from turning the starter.
    """
    share = engine.friction_nm / engine.starter_nm
    free = _rad_per_s(mean_rpm) / (1.0 - share)

    def torque(rad_per_s: float) -> float:
        return max(engine.starter_nm * (1.0 - rad_per_s / free), 0.0)

    return torque


def drive_for(
    engine: EngineSpec, speed: SpeedSpec, *, mean_inertia: float, mean_torque: float
) -> Drive:
    """Choose the drive for a kind of speed profile.

    Parameters
    ----------
    mean_inertia : float
        Moment of inertia averaged over the cycle, kg m².
    mean_torque : float
        Mean gas torque while firing, N m; the load takes as much.
    """
    govern = _governor(engine, speed, mean_inertia=mean_inertia, mean_torque=mean_torque)
    if speed.kind == "cranking":
        starter = _starter(engine, mean_rpm=speed.mean_rpm)
        return Drive(lambda _, omega: starter(omega) - engine.friction_nm, lambda _: 0.0)
    if speed.kind == "start-up":
        return _start_up(engine, speed, govern)
    if speed.kind == "stall":

        def dying(time_s: float) -> float:
            return 1.0 - min(max((time_s - speed.at_s) / FUEL_RAMP_S, 0.0), 1.0)

        def braked(time_s: float, rad_per_s: float) -> float:
            fuel = dying(time_s)
            held = fuel * govern(time_s, rad_per_s) if fuel > 0 else 0.0
            return held - (1.0 - fuel) * engine.friction_nm

        return Drive(braked, dying, held_until_s=math.inf)
    return Drive(govern, lambda _: 1.0)


def _start_up(
    engine: EngineSpec, speed: SpeedSpec, govern: Callable[[float, float], float]
) -> Drive:
    """Rest, cranking from ``at_s``, firing after ``fire_s``; the starter leaves soon after."""
    starter = _starter(engine, mean_rpm=engine.cranking_rpm)
    fires_s = speed.at_s + speed.fire_s

    def fuel(time_s: float) -> float:
        return min(max((time_s - fires_s) / FUEL_RAMP_S, 0.0), 1.0)

    def torque(time_s: float, rad_per_s: float) -> float:
        running = fuel(time_s)
        turned = starter(rad_per_s) if time_s < fires_s + STARTER_STAYS_S else 0.0
        held = running * govern(time_s, rad_per_s) if running > 0 else 0.0
        return held + turned - (1.0 - running) * engine.friction_nm

    return Drive(torque, fuel, held_until_s=speed.at_s, starts_at_rest=True)
