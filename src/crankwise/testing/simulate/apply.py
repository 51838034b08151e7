"""Faults that change what is simulated: a specification in, a changed specification out."""

from __future__ import annotations

from dataclasses import replace

from crankwise.errors import UsageError
from crankwise.testing.simulate.faults import (
    ChainJumped,
    Fault,
    PhaserMoving,
    Stall,
    SwappedChannels,
    TargetMoved,
)
from crankwise.testing.simulate.parts import CamSpec
from crankwise.testing.simulate.spec import SimulationSpec
from crankwise.units import CYCLE_DEG


def apply_faults(spec: SimulationSpec) -> SimulationSpec:
    """Work the faults of the drive, the phasers and the hook-up into the specification.

    Faults of single teeth and of the signal stay in ``faults``; they act later.
    """
    for fault in spec.faults:
        spec = _apply(spec, fault)
    return spec


def _apply(spec: SimulationSpec, fault: Fault) -> SimulationSpec:
    if isinstance(fault, ChainJumped):
        roles = fault.roles or tuple(cam.role for cam in spec.cams)
        return _shift(spec, roles, fault.teeth * CYCLE_DEG / fault.sprocket_teeth)
    if isinstance(fault, TargetMoved):
        return _move_target(spec, fault)
    if isinstance(fault, PhaserMoving):
        cams = [
            replace(cam, phaser=fault.phaser) if cam.role == fault.role else cam
            for cam in spec.cams
        ]
        return replace(spec, cams=tuple(cams))
    if isinstance(fault, SwappedChannels):
        return _swap(spec, fault)
    if isinstance(fault, Stall):
        return replace(spec, speed=replace(spec.speed, kind="stall", at_s=fault.at_s))
    return spec


def _shift(spec: SimulationSpec, roles: tuple[str, ...], shift_deg: float) -> SimulationSpec:
    """Turn whole cams; positive is later."""

    def turned(cam: CamSpec) -> CamSpec:
        return replace(cam, shift_deg=cam.shift_deg + shift_deg) if cam.role in roles else cam

    return replace(spec, cams=tuple(turned(cam) for cam in spec.cams))


def _move_target(spec: SimulationSpec, fault: TargetMoved) -> SimulationSpec:
    """Move a target; a later crank target makes the zero later and every cam look earlier."""
    if fault.role != "crank":
        return _shift(spec, (fault.role,), fault.shift_deg)
    moved = replace(
        spec.crank, zero_before_tdc_deg=spec.crank.zero_before_tdc_deg - fault.shift_deg
    )
    everyone = tuple(cam.role for cam in spec.cams)
    return _shift(replace(spec, crank=moved), everyone, -fault.shift_deg)


def _swap(spec: SimulationSpec, fault: SwappedChannels) -> SimulationSpec:
    """Exchange the channel names of two roles."""
    names = {"crank": spec.crank.channel} | {cam.role: cam.channel for cam in spec.cams}
    if fault.first == fault.second:
        raise UsageError(f"fault swapped-channels: {fault.first} can't be swapped with itself")
    names[fault.first], names[fault.second] = names[fault.second], names[fault.first]
    return replace(
        spec,
        crank=replace(spec.crank, channel=names["crank"]),
        cams=tuple(replace(cam, channel=names[cam.role]) for cam in spec.cams),
        scope=replace(spec.scope, order=spec.scope.order or spec.channel_names),
    )
