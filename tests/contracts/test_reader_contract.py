"""The reader contract finds readers that break it, one promise at a time."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from crankwise.model.finding import Finding, Step
from crankwise.model.recording import EventChannel, Recording, SampledChannel
from crankwise.readers import ReadOptions, Source
from crankwise.readers.example import ExampleReader
from crankwise.testing.reader_contract import (
    BrokenPromiseError,
    check_reader,
    check_recording,
    check_same,
    check_sniff,
)

RAMP = np.arange(10, dtype=np.float32)
GOOD = Recording(
    name="good.csv",
    sha256="0" * 64,
    channels=(SampledChannel("crank", "V", RAMP), SampledChannel("cam", "V", RAMP)),
    start_s=0.0,
    duration_s=0.9,
    interval_s=0.1,
    history=(Step("read", {}),),
)
EVENTS = replace(
    GOOD,
    channels=(EventChannel("crank", np.array([0.1, 0.2]), np.array([True, False]), False),),
    interval_s=None,
)


def _example(path: Path) -> Path:
    rows = "".join(f"{0.1 * step:.2f} {step % 2}\n" for step in range(40))
    path.write_text("crankwise-example 1\ninterval_us 5\nchannels crank cam\n" + rows)
    return path


def test_good_ones_pass(tmp_path: Path) -> None:
    check_recording(GOOD)
    check_recording(EVENTS)
    check_reader(ExampleReader(), _example(tmp_path / "a.example"))


def _events(times: list[float], states: list[bool], *, initial: bool = False) -> Recording:
    channel = EventChannel("crank", np.array(times), np.array(states, dtype=bool), initial)
    return replace(EVENTS, channels=(channel,))


@pytest.mark.parametrize(
    ("recording", "promise"),
    [
        (replace(GOOD, channels=()), "has channels"),
        (replace(GOOD, channels=(GOOD.channels[0],) * 2), "unique"),
        (replace(GOOD, channels=(SampledChannel("", "V", RAMP),)), "not empty"),
        (
            replace(GOOD, channels=(SampledChannel("a", "V", RAMP.astype(int)),)),
            "float32 or float64",
        ),
        (
            replace(GOOD, channels=(GOOD.channels[0], SampledChannel("cam", "V", RAMP[:5]))),
            "same number of samples",
        ),
        (replace(GOOD, duration_s=1.0), "number of steps"),
        (replace(GOOD, duration_s=0.0), "has a duration"),
        (replace(GOOD, start_s=float("nan")), "has a start"),
        (replace(GOOD, history=()), "history"),
        (replace(GOOD, findings=(Finding("Not Kebab", "note", "x"),)), "kebab-case"),
        (replace(GOOD, time_s=np.zeros(10)), "increase strictly"),
        (replace(GOOD, time_s=np.arange(9.0)), "same number"),
        (replace(GOOD, channels=EVENTS.channels), "never mixed"),
        (replace(EVENTS, channels=GOOD.channels), "never mixed"),
        (_events([0.2, 0.1], [True, False]), "increase strictly"),
        (_events([0.1, 0.2], [True, True]), "changes the state"),
        (_events([0.1], [True], initial=True), "changes the state"),
        (_events([0.1, 5.0], [True, False]), "inside the recording"),
        (_events([0.1], [True, False]), "has a state"),
    ],
)
def test_a_broken_recording_is_found(recording: Recording, promise: str) -> None:
    with pytest.raises(BrokenPromiseError, match=promise):
        check_recording(recording)


def test_two_readings_that_differ_are_found() -> None:
    other = replace(GOOD, channels=(GOOD.channels[0], SampledChannel("cam", "V", RAMP + 1)))
    with pytest.raises(BrokenPromiseError, match="same values in 'cam'"):
        check_same(GOOD, other)


class _Raising(ExampleReader):
    def sniff(self, head: bytes, path: Path) -> int:  # noqa: ARG002
        return 100 if head[20] else 0


class _Blind(ExampleReader):
    def sniff(self, head: bytes, path: Path) -> int:  # noqa: ARG002
        return 0


class _Renaming(ExampleReader):
    def read(self, source: Source, options: ReadOptions) -> Recording:
        return replace(super().read(source, options), name="other")


class _WrongDigest(ExampleReader):
    def read(self, source: Source, options: ReadOptions) -> Recording:
        return replace(super().read(source, options), sha256="0" * 64)


class _Writing(ExampleReader):
    def read(self, source: Source, options: ReadOptions) -> Recording:
        recording = super().read(source, options)
        source.path.write_bytes(source.path.read_bytes() + b"0 0\n")
        return recording


class _Fragile(ExampleReader):
    def read(self, source: Source, options: ReadOptions) -> Recording:
        source.path.read_text(encoding="ascii").splitlines()[42]
        return super().read(source, options)


class _Shouting(ExampleReader):
    suffixes = (".EXAMPLE",)


@pytest.mark.parametrize(
    ("reader", "promise"),
    [
        (_Raising, "sniff raised"),
        (_Blind, "sniff knows"),
        (_Renaming, "name is the file name"),
        (_WrongDigest, "sha256"),
        (_Writing, "never changed"),
        (_Fragile, "a damaged file raised"),
        (_Shouting, "lower case"),
    ],
)
def test_a_broken_reader_is_found(
    reader: type[ExampleReader], promise: str, tmp_path: Path
) -> None:
    with pytest.raises(BrokenPromiseError, match=promise):
        check_reader(reader(), _example(tmp_path / "a.example"))


def test_sniffing_needs_no_file(tmp_path: Path) -> None:
    check_sniff(ExampleReader(), _example(tmp_path / "a.example"))
