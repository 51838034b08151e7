"""Simulated crank and cam recordings with known truth.

``simulate(spec, seed=1)`` gives a :class:`Simulation`: a ``recording`` as a reader would return
it and the ``truth`` about it. ``PRESETS`` holds ready specifications, ``load_spec`` reads one
from a TOML file, ``write`` saves a simulation in any of the open formats.

The simulator shares no code with the decoder: it works out when each flank of each tooth passes
its sensor from the equation of motion of the crank, and what a scope would make of it.
"""

from __future__ import annotations

from crankwise.testing.simulate.faults import (
    ChainJumped,
    DamagedTooth,
    Dropout,
    ExtraEdges,
    Fault,
    MissedTeeth,
    MissingTooth,
    PhaserMoving,
    PhaserSpec,
    Stall,
    SwappedChannels,
    TargetMoved,
)
from crankwise.testing.simulate.load import load_spec
from crankwise.testing.simulate.parts import CamSpec, CrankSpec, EngineSpec, SensorSpec, SpeedSpec
from crankwise.testing.simulate.presets import PRESETS, preset
from crankwise.testing.simulate.run import Simulation, simulate
from crankwise.testing.simulate.spec import ExtraSpec, ScopeSpec, SimulationSpec
from crankwise.testing.simulate.truth import CamTruth, CrankTruth, EdgeTruth, SpeedTruth, Truth
from crankwise.testing.simulate.write import CsvDialect, simulate_to_file, write

__all__ = [
    "PRESETS",
    "CamSpec",
    "CamTruth",
    "ChainJumped",
    "CrankSpec",
    "CrankTruth",
    "CsvDialect",
    "DamagedTooth",
    "Dropout",
    "EdgeTruth",
    "EngineSpec",
    "ExtraEdges",
    "ExtraSpec",
    "Fault",
    "MissedTeeth",
    "MissingTooth",
    "PhaserMoving",
    "PhaserSpec",
    "ScopeSpec",
    "SensorSpec",
    "Simulation",
    "SimulationSpec",
    "SpeedSpec",
    "SpeedTruth",
    "Stall",
    "SwappedChannels",
    "TargetMoved",
    "Truth",
    "load_spec",
    "preset",
    "simulate",
    "simulate_to_file",
    "write",
]
