"""Value change dumps, as a writer of them makes them and as the standard prints them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from crankwise.errors import UnreadableError
from crankwise.model.recording import EventChannel
from crankwise.readers import read
from crankwise.readers.vcd import VcdReader
from crankwise.testing.reader_contract import check_reader


def test_vcd_written_by_pyvcd(tmp_path: Path) -> None:
    vcd = pytest.importorskip("vcd")
    path = tmp_path / "van.vcd"
    with path.open("w") as file, vcd.VCDWriter(file, timescale="1 us", date="today") as writer:
        crank = writer.register_var("engine", "crank", "wire", size=1, init=0)
        cam = writer.register_var("engine", "cam", "wire", size=1, init="x")
        volts = writer.register_var("engine", "volts", "real", init=0.0)
        bus = writer.register_var("engine", "bus", "wire", size=8, init=0)
        for step in range(1, 400):
            writer.change(crank, step * 150, step % 2)
            if step % 20 == 0:
                writer.change(cam, step * 150, step // 20 % 2)
                writer.change(volts, step * 150, float(step))
                writer.change(bus, step * 150, step % 256)
    recording = check_reader(VcdReader(), path)
    assert recording.channel_names == ("crank", "cam")
    assert recording.duration_s == pytest.approx(399 * 150e-6)
    crank_channel, cam_channel = recording.channels
    assert isinstance(crank_channel, EventChannel)
    assert isinstance(cam_channel, EventChannel)
    np.testing.assert_array_equal(crank_channel.times_s, np.arange(1, 400) * 150 / 1e6)
    assert not crank_channel.initial_state
    # The cam's first known value is no change: what was before is unknown.
    np.testing.assert_allclose(cam_channel.times_s, np.arange(40, 400, 20) * 150e-6)
    assert {finding.code for finding in recording.findings} == {"channels-unused", "states-unknown"}


def test_vcd_as_the_standard_prints_it(tmp_path: Path) -> None:
    # The shape of the example in IEEE Std 1364-2005, clause 18.2.4: $dumpvars, $dumpoff with x,
    # vectors, comments; values made up.
    path = tmp_path / "standard.vcd"
    path.write_text(
        "$date June 26, 1989 10:05:41 $end\n$version any $end\n$timescale 1 ns $end\n"
        "$scope module top $end\n$scope module m1 $end\n$var trireg 1 *@ net1 $end\n"
        "$var trireg 1 *# net2 $end\n$var integer 32 (2 index $end\n$upscope $end\n"
        "$scope task t1 $end\n$var reg 1 ! net1 $end\n$upscope $end\n$upscope $end\n"
        "$enddefinitions $end\n$comment\nnote\n#1 is no time here\n$end\n"
        "#500\n$dumpvars\nx*@\n0*#\nbx (2\n1!\n$end\n#505\n0*@ 1*#\nb1 !\nb10 (2\n"
        "#520\n1*@\n#530\n$dumpoff\nx*@\nx*#\n$end\n#535 1*# 0!\n#540\n0*#\n#550\n",
        encoding="ascii",
    )
    recording = read(path, readers=[VcdReader()])
    assert recording.channel_names == ("top.m1.net1", "net2", "top.t1.net1")
    assert (recording.start_s, recording.duration_s) == (5e-7, pytest.approx(5e-8))
    first, second, third = recording.channels
    assert isinstance(first, EventChannel)
    assert isinstance(second, EventChannel)
    assert isinstance(third, EventChannel)
    assert (first.initial_state, first.times_s.tolist()) == (False, [520e-9])
    assert (second.initial_state, second.times_s.tolist()) == (False, [505e-9, 540e-9])
    assert (third.initial_state, third.times_s.tolist()) == (True, [535e-9])


def test_vcd_of_changes_at_one_time_the_last_counts(tmp_path: Path) -> None:
    path = tmp_path / "glitch.vcd"
    path.write_text(
        "$timescale 1 ms $end $var wire 1 ! a $end $enddefinitions $end\n"
        "#0\n0!\n#5\n1!\n0!\n#7\n1!\n#9\n",
        encoding="ascii",
    )
    (channel,) = read(path, readers=[VcdReader()]).channels
    assert isinstance(channel, EventChannel)
    assert (channel.times_s.tolist(), channel.states.tolist()) == ([0.007], [True])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "$scope module m $end $var wire 1 ! a $end $enddefinitions $end\n#0\n0!\n#5\n1!\n",
            "no $timescale",
        ),
        ("$timescale 5 us $end $var wire 1 ! a $end $enddefinitions $end\n#0\n0!\n", "'5 us'"),
        ("$timescale 1 us $end $var wire 1 ! a $end\n#0\n0!\n", "$enddefinitions"),
        ("$timescale 1 us $end $var real 64 ! a $end $enddefinitions $end\n#0\n", "single-bit"),
        (
            "$timescale 1us $end $var wire 1 ! a $end $enddefinitions $end\n#9\n0!\n#5\n1!\n",
            "row 4: time",
        ),
        ("$timescale 1us $end $var wire 1 ! a $end $enddefinitions $end\n#x\n0!\n", "row 2: '#x'"),
        (
            "$timescale 1us $end $var wire 1 ! a $end $enddefinitions $end\n#1\n0!\n#2\n0!\n",
            "nothing",
        ),
    ],
)
def test_vcd_refused_with_the_reason(text: str, message: str, tmp_path: Path) -> None:
    path = tmp_path / "van.vcd"
    path.write_text(text, encoding="ascii")
    with pytest.raises(UnreadableError) as caught:
        read(path, readers=[VcdReader()])
    assert message in str(caught.value)
