"""The trace as arrays in a folder, and back."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np

from crankwise.levels import names
from crankwise.levels.info import CamInfo, LevelsInfo, RunInfo
from crankwise.model.crank_angle import AngleRun
from crankwise.model.recording import FloatArray
from crankwise.model.trace import CamTrace, Trace, TraceRun

_SPEED_STEP_DEG: Final = 6.0


def write_trace(trace: Trace, folder: Path) -> None:
    """Write its arrays; the numbers beside them go into ``levels.json``."""
    for number, run in enumerate(trace.runs):
        np.save(folder / names.run(number, "teeth"), np.stack((run.times_s, run.tooth_deg)))
        np.save(folder / names.run(number, "curve"), run.curve.coefficients_s)
    for number, cam in enumerate(trace.cams):
        np.save(folder / names.cam(number, "angles"), np.stack((cam.times_s, cam.angle_deg)))
        np.save(folder / names.cam(number, "rising"), cam.rising)
        np.save(folder / names.cam(number, "edges"), cam.edge)
    np.save(folder / names.SPEED, _speed(trace))


def run_info(run: TraceRun) -> RunInfo:
    """What ``levels.json`` says of a run."""
    curve = run.curve
    return RunInfo(
        first_deg=curve.first_deg,
        step_deg=curve.step_deg,
        start_deg=curve.start_deg,
        end_deg=curve.end_deg,
        offset_deg=run.offset_deg,
        is_placed=run.is_placed,
    )


def read_trace(info: LevelsInfo, folder: Path) -> Trace:
    """Read a trace back; its arrays stay in their files until they are used."""
    return Trace(
        crank=info.crank,
        runs=tuple(_run(folder, number, run) for number, run in enumerate(info.runs)),
        cams=tuple(_cam(folder, number, cam) for number, cam in enumerate(info.cams)),
    )


def _run(folder: Path, number: int, info: RunInfo) -> TraceRun:
    times, angles = np.load(folder / names.run(number, "teeth"), mmap_mode="r")
    return TraceRun(
        times_s=times,
        tooth_deg=angles,
        curve=AngleRun(
            first_deg=info.first_deg,
            step_deg=info.step_deg,
            coefficients_s=np.load(folder / names.run(number, "curve"), mmap_mode="r"),
            start_deg=info.start_deg,
            end_deg=info.end_deg,
        ),
        offset_deg=info.offset_deg,
        is_placed=info.is_placed,
    )


def _cam(folder: Path, number: int, info: CamInfo) -> CamTrace:
    times, angles = np.load(folder / names.cam(number, "angles"), mmap_mode="r")
    return CamTrace(
        role=info.role,
        channel=info.channel,
        times_s=times,
        angle_deg=angles,
        rising=np.load(folder / names.cam(number, "rising"), mmap_mode="r"),
        edge=np.load(folder / names.cam(number, "edges"), mmap_mode="r"),
    )


def _speed(trace: Trace) -> FloatArray:
    """Times and speeds, rpm, at every sixth degree; NaN after each run, where nothing is known."""
    parts = [np.empty((2, 0))]
    for run in trace.runs:
        angle = np.arange(run.start_deg, run.end_deg, _SPEED_STEP_DEG)
        parts.append(np.stack((run.time_at(angle), run.speed_rpm_at(angle))))
        parts.append(np.array([[run.times_s[-1]], [np.nan]]))
    return np.concatenate(parts, axis=1)
