"""Ready specifications: the invented vans of Bramblegate Workshop and two invented engines.

Tarn T20: two-litre four-cylinder, 60-2 crank target, four teeth on each cam target (two wide,
two narrow), one long chain from the crank over the exhaust cam to the intake cam.
Fell V6: two banks, four cams, 60-2 crank target.

Everything is invented. The numbers are of the size published service information gives
(crank-to-cam spread of some degrees between healthy engines, scatter of some tenths).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from crankwise.errors import UsageError
from crankwise.testing.simulate.faults import ChainJumped, PhaserMoving, PhaserSpec
from crankwise.testing.simulate.parts import CamSpec, CrankSpec, EngineSpec, SensorSpec, SpeedSpec
from crankwise.testing.simulate.spec import ExtraSpec, ScopeSpec, SimulationSpec

T20_CAM_SPROCKET_TEETH = 36
"""One tooth of chain is 720/36 = 20 crank degrees."""

T20_INTAKE_TEETH = ((206.0, 246.0), (386.0, 426.0), (506.0, 606.0), (686.0, 786.0))
T20_EXHAUST_TEETH = ((86.0, 126.0), (266.0, 306.0), (386.0, 486.0), (566.0, 666.0))

INTAKE_PER_EXHAUST = 1.6
"""Elongation shows at the intake cam, further along the chain, this many times as strong."""

CRANK_HALL = SensorSpec(kind="hall", rise_s=6e-6, fall_s=0.8e-6, delay_s=6e-6, jitter_s=0.3e-6)
CAM_HALL = SensorSpec(kind="hall", rise_s=9e-6, fall_s=1.0e-6, delay_s=10e-6, jitter_s=0.5e-6)
CRANK_COIL = SensorSpec(
    kind="variable-reluctance", volts_per_1000_rpm=4.0, lag_s=45e-6, runout=0.15
)

SCOPE = ScopeSpec(duration_s=3.0, interval_s=1e-5, range_v=10.0, bits=12, noise_v=0.02)
T20_ENGINE = EngineSpec(swing=0.14, combustion_variation=0.008, cylinder_spread=0.01)
FELL_ENGINE = EngineSpec(
    cylinders=6,
    bore_mm=92.0,
    stroke_mm=84.0,
    inertia_kg_m2=0.2,
    load_nm=30.0,
    friction_nm=40.0,
    starter_nm=260.0,
    swing=0.07,
    combustion_variation=0.008,
    cylinder_spread=0.01,
)
IDLE = SpeedSpec("idle", 760.0, wander_rpm=6.0)


def t20(
    name: str,
    *,
    about: str,
    exhaust_deg: float = 0.0,
    intake_deg: float = 0.0,
    scatter_deg: float = 0.10,
    slack_deg: float = 0.10,
    exhaust_looseness: float = 1.0,
    vehicle: str = "Tarn T20",
    mileage: int = 0,
) -> SimulationSpec:
    """Build a Tarn T20 at idle with its phasers parked; shifts positive is later.

    ``exhaust_looseness`` scales scatter and slack of the exhaust cam, which sits before the guide
    between the cams.
    """
    cams = tuple(
        CamSpec(
            role=role,
            channel=role,
            teeth=teeth,
            sensor=CAM_HALL,
            shift_deg=shift,
            scatter_deg=scatter_deg * loose,
            slack_deg=slack_deg * loose,
            tooth_error_deg=0.25,
        )
        for role, teeth, shift, loose in (
            ("intake", T20_INTAKE_TEETH, intake_deg, 1.0),
            ("exhaust", T20_EXHAUST_TEETH, exhaust_deg, exhaust_looseness),
        )
    )
    return SimulationSpec(
        name=name,
        about=about,
        engine=T20_ENGINE,
        speed=IDLE,
        crank=CrankSpec("60-2", CRANK_HALL, tooth_error_deg=0.04, runout_deg=0.03),
        cams=cams,
        scope=SCOPE,
        vehicle=vehicle,
        facts={
            "workshop": "Bramblegate Workshop",
            "engine_family": "Tarn T20",
            "mileage": str(mileage),
            "mileage_unit": "miles",
        },
    )


def fell_v6(name: str, *, about: str, bank_2_deg: float = 0.0) -> SimulationSpec:
    """Build a Fell V6 at idle; ``bank_2_deg`` turns both cams of bank 2, positive is later."""
    cams = []
    for bank, firing, shift in ((1, 0.0, 0.4), (2, 120.0, -0.3 + bank_2_deg)):
        for cam, first in (("intake", 40.0), ("exhaust", 85.0)):
            start = first + firing
            teeth = tuple(
                (start + 180.0 * place, start + 180.0 * place + width)
                for place, width in enumerate((90.0, 30.0, 90.0, 30.0 if cam == "intake" else 60.0))
            )
            cams.append(
                CamSpec(
                    role=f"{cam}-{bank}",
                    channel=f"{cam} bank {bank}",
                    teeth=teeth,
                    sensor=CAM_HALL,
                    shift_deg=shift,
                    scatter_deg=0.12,
                    slack_deg=0.10,
                    tooth_error_deg=0.25,
                )
            )
    return SimulationSpec(
        name=name,
        about=about,
        engine=FELL_ENGINE,
        speed=SpeedSpec("idle", 680.0, wander_rpm=5.0),
        crank=CrankSpec("60-2", CRANK_HALL, tooth_error_deg=0.04, runout_deg=0.03),
        cams=tuple(cams),
        scope=SCOPE,
        vehicle="Fell V6",
        facts={"workshop": "Bramblegate Workshop", "engine_family": "Fell V6"},
    )


@dataclass(frozen=True, slots=True)
class Van:
    """One van of the flower wholesaler.

    ``build_exhaust_deg`` and ``build_intake_deg`` are its own healthy differences from the
    family: a part common to both cams (place of the crank target, 0.5 degrees standard deviation
    over the vans) and a part of each cam (0.3 degrees). ``elongation_deg`` is what chain wear
    adds at the exhaust cam.
    """

    mileage: int
    build_exhaust_deg: float
    build_intake_deg: float
    elongation_deg: float
    about: str


VANS = {
    "van-1": Van(4_200, 0.31, 0.52, 0.0, "fresh chain: the known-good of the workshop"),
    "van-2": Van(31_500, -0.46, -0.20, 0.3, "early life, nothing to see yet"),
    "van-3": Van(58_900, 0.12, -0.33, 0.7, "some wear, within the family"),
    "van-4": Van(87_300, -0.71, -0.55, 1.6, "wear that the history shows before the family does"),
    "van-5": Van(121_800, 0.64, 0.27, 3.1, "long chain: both cams late, the intake more"),
}
"""The vans whose chains wear alike; van-6 has another fault and stands below."""


def _van(name: str, van: Van) -> SimulationSpec:
    wear = van.elongation_deg
    return t20(
        name,
        about=f"Bramblegate Workshop, {name}, {van.mileage} miles: {van.about}",
        exhaust_deg=van.build_exhaust_deg + wear,
        intake_deg=van.build_intake_deg + INTAKE_PER_EXHAUST * wear,
        scatter_deg=0.10 + 0.05 * wear,
        slack_deg=0.10 + 0.08 * wear,
        vehicle=name,
        mileage=van.mileage,
    )


def _all() -> dict[str, SimulationSpec]:
    fresh = t20("t20-fresh-chain", about="Tarn T20 with a fresh chain at idle, phasers parked")
    worn = t20(
        "t20-worn-guide",
        about="guide worn between the cams: the intake late against the exhaust, much scatter",
        exhaust_deg=0.6,
        intake_deg=4.2,
        scatter_deg=0.35,
        slack_deg=0.5,
        exhaust_looseness=0.35,
        mileage=98_400,
    )
    stretched = t20(
        "t20-stretched",
        about="long chain: both cams late, the intake more",
        exhaust_deg=4.0,
        intake_deg=4.0 * INTAKE_PER_EXHAUST,
        scatter_deg=0.25,
        slack_deg=0.4,
        mileage=143_000,
    )
    jumped = replace(
        fresh,
        name="t20-jumped-tooth",
        about="the chain jumped one tooth on the crank sprocket: both cams exactly 20 degrees late",
        faults=(ChainJumped(teeth=1, sprocket_teeth=T20_CAM_SPROCKET_TEETH),),
    )
    hunting = PhaserSpec(
        movement="hunting", authority_deg=(-50.0, 0.0), amplitude_deg=-3.0, frequency_hz=0.8
    )
    made = [fresh, worn, stretched, jumped]
    made.append(
        replace(
            fresh,
            name="t20-phaser-moving",
            about="the intake phaser was not unplugged and hunts by 6 degrees",
            faults=(PhaserMoving("intake", hunting),),
        )
    )
    made += _conditions(fresh)
    made += [_van(name, van) for name, van in VANS.items()]
    made.append(
        t20(
            "van-6",
            about="Bramblegate Workshop, van-6, 98400 miles: worn guide between the cams",
            exhaust_deg=-0.22 + 0.6,
            intake_deg=-0.41 + 4.2,
            scatter_deg=0.35,
            slack_deg=0.5,
            exhaust_looseness=0.35,
            vehicle="van-6",
            mileage=98_400,
        )
    )
    made.append(fell_v6("fell-v6", about="Fell V6 in time: bank against bank"))
    made.append(
        fell_v6("fell-v6-bank-2-late", about="Fell V6, both cams of bank 2 late", bank_2_deg=4.0)
    )
    return {spec.name: spec for spec in made}


def _conditions(fresh: SimulationSpec) -> list[SimulationSpec]:
    """List the same healthy engine under other conditions and on other instruments."""
    names = {"intake": "A", "exhaust": "D"}
    return [
        replace(
            fresh,
            name="t20-cranking",
            about="starter only, ignition and injectors unplugged",
            speed=SpeedSpec("cranking", 215.0),
            scope=replace(SCOPE, duration_s=5.0, interval_s=2e-5),
        ),
        replace(
            fresh,
            name="t20-start-up",
            about="standing still, cranking, running up to idle",
            speed=SpeedSpec("start-up", 760.0, high_rpm=1150.0, at_s=0.4, fire_s=1.0),
            scope=replace(SCOPE, duration_s=5.0, interval_s=2e-5),
        ),
        replace(
            fresh,
            name="t20-revving",
            about="from idle to 3000 rpm and back",
            speed=SpeedSpec("revving", 760.0, high_rpm=3000.0, at_s=0.5),
            scope=replace(SCOPE, duration_s=6.0, interval_s=5e-6),
        ),
        replace(
            fresh,
            name="t20-no-names",
            about="channels without names, an injector and a dead channel among them",
            crank=replace(fresh.crank, channel="C"),
            cams=tuple(replace(cam, channel=names[cam.role]) for cam in fresh.cams),
            extras=(ExtraSpec("injector", "B", 13.8), ExtraSpec("flat", "E", 0.0)),
            scope=replace(SCOPE, range_v=50.0, order=("A", "B", "C", "D", "E")),
        ),
        replace(
            fresh,
            name="t20-vr",
            about="variable reluctance crank sensor, ignition pick-up, wandering baseline",
            crank=replace(fresh.crank, sensor=CRANK_COIL),
            scope=replace(SCOPE, spike_v=0.8, drift_v=0.15),
        ),
        replace(
            fresh,
            name="t20-logic",
            about="event list of a logic analyser at 24 MHz",
            scope=ScopeSpec(duration_s=3.0, kind="events", resolution_s=1 / 24e6),
        ),
    ]


PRESETS: dict[str, SimulationSpec] = _all()
"""Ready specifications by name."""


def preset(name: str) -> SimulationSpec:
    """Return a ready specification.

    Raises
    ------
    UsageError
        There is none of that name; lists those there are.
    """
    if name not in PRESETS:
        raise UsageError(f"no preset {name!r}; there are {', '.join(PRESETS)}")
    return PRESETS[name]
