"""Lists of state changes in the ways loggers write them, beside the plain table of the same."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from crankwise.errors import UnreadableError
from crankwise.model.recording import EventChannel, Recording
from crankwise.readers import read

RNG = np.random.default_rng(1)
TICKS = np.cumsum(RNG.integers(2000, 30000, size=60))
"""Microseconds; one channel or both change at each."""
STATES = [(index + 1) % 2 for index in range(60)], [(index // 3) % 2 for index in range(60)]


def rows(write, head: str) -> str:
    """All rows of the list by one way of writing them."""
    lines = [write(t, a, b) for t, a, b in zip(TICKS, *STATES, strict=True)]
    return "\n".join([head, *lines]) + "\n"


def by_channel(time, state) -> str:
    """One row for each change of a channel; the first two hold the initial states."""
    lines, before = [], (None, None)
    for t, *now in zip(TICKS, *STATES, strict=True):
        lines += [
            f"{time(t)};D{place};{state(value)}"
            for place, value in enumerate(now)
            if value != before[place]
        ]
        before = tuple(now)
    return "\n".join(["Zeit (ms);Kanal;Zustand", *lines]) + "\n"


def edges(channel: int, *, rising: bool) -> list[str]:
    """Times at which a channel takes a state, seconds."""
    states = np.array(STATES[channel])
    at = np.flatnonzero(np.diff(states)) + 1
    return [f"{TICKS[i] / 1e6:.6f}" for i in at if bool(states[i]) == rising]


def by_edge() -> str:
    """One column for the rising and one for the falling edges of each channel."""
    columns = [edges(channel, rising=rising) for channel in (0, 1) for rising in (True, False)]
    longest = max(map(len, columns))
    filled = [column + [""] * (longest - len(column)) for column in columns]
    head = "D0 rising (s),D0 falling (s),D1 rising (s),D1 falling (s)"
    return "\n".join([head, *map(",".join, zip(*filled, strict=True))]) + "\n"


WAYS = {
    "words": rows(lambda t, a, b: f"{t / 1e3},{'HL'[1 - a]},{'HL'[1 - b]}", "Time [ms],D0,D1"),
    "hexadecimal": rows(lambda t, a, b: f"{t},0x{a | b << 1:02X}", "Time (us),Data"),
    "bits": rows(lambda t, a, b: f"{t};{b}{a}", "Time (us);Pod[1..0]"),
    "named hexadecimal": rows(lambda t, a, b: f"{t};{a | b << 1:02x}", "Time (us);Pod[7:0]"),
    "unit in the cell": rows(lambda t, a, b: f"{t / 1e3} ms,{a},{b}", "Time,D0,D1"),
    "by channel": by_channel(lambda t: f"{t / 1e3}".replace(".", ","), lambda v: v),
    "by channel, edges": by_channel(
        lambda t: f"{t / 1e3}".replace(".", ","), lambda v: ("falling", "rising")[v]
    ),
    "by edge": by_edge(),
}


def recording(tmp_path: Path, text: str, **options: float) -> Recording:
    """What is read of a file with this text."""
    path = tmp_path / "list.csv"
    path.write_text(text, encoding="utf-8")
    return read(path, **options)


@pytest.mark.parametrize("way", WAYS)
def test_each_way_gives_the_same_changes(tmp_path: Path, way: str) -> None:
    found = recording(tmp_path, WAYS[way])
    assert found.interval_s is None
    for channel, states in zip(found.channels, STATES, strict=True):
        assert isinstance(channel, EventChannel)
        at = np.flatnonzero(np.diff(states)) + 1
        at = at[TICKS[at] / 1e6 > found.start_s]  # by edge, the list begins with its first one
        np.testing.assert_allclose(channel.times_s, TICKS[at] / 1e6, rtol=0.0, atol=1e-9)
        np.testing.assert_array_equal(channel.states, np.array(states, dtype=bool)[at])
    names = [channel.name for channel in found.channels]
    assert names in (["D0", "D1"], ["bit 0", "bit 1"])


def test_counts_of_a_clock_need_their_length(tmp_path: Path) -> None:
    text = rows(lambda t, a, b: f"{t},{a},{b}", "Sample,D0,D1")
    with pytest.raises(UnreadableError, match=r"'Sample' counts the logger's clock.*--interval"):
        recording(tmp_path, text)
    found = recording(tmp_path, text, interval_s=1e-6)
    np.testing.assert_allclose(found.channels[0].times_s, TICKS[1:] / 1e6, rtol=0.0, atol=1e-9)


def test_whole_numbers_without_a_unit_count_the_interval_given(tmp_path: Path) -> None:
    text = rows(lambda t, a, b: f"{t * 1000},{a},{b}", "Timestamp,D0,D1")
    with pytest.raises(UnreadableError, match="length of one count with --interval"):
        recording(tmp_path, text)
    found = recording(tmp_path, text, interval_s=1e-9)
    np.testing.assert_allclose(found.channels[0].times_s, TICKS[1:] / 1e6, rtol=0.0, atol=1e-9)


def test_edges_without_direction_alternate_and_this_is_said(tmp_path: Path) -> None:
    both = [sorted(edges(n, rising=True) + edges(n, rising=False)) for n in (0, 1)]
    both[1] += [""] * (len(both[0]) - len(both[1]))
    text = "\n".join(["crank,intake", *map(",".join, zip(*both, strict=True))]) + "\n"
    found = recording(tmp_path, text)
    assert "edge-direction-assumed" in [finding.code for finding in found.findings]
    assert found.channels[0].states[:3].tolist() == [False, True, False]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("time,channel,state\n0.1,D0,1\n0.2,D0,0\n0.3,D0,1\n0.4,D0,maybe\n", "row 5.*'maybe'"),
        ("t,D0\n0.1 ms,1\n0.2 ms,0\n0.3 ms,1\n0.4,0\n", "some times have a unit and some"),
        ("a rising,b rising\n0.1,0.2\n0.3,0.4\n0.5,0.6\n", "only the rising edges of 'a'"),
    ],
)
def test_what_cannot_be_meant_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str, message: str
) -> None:
    monkeypatch.setattr("crankwise.readers.delimited.changes._ENOUGH_ROWS", 3)
    with pytest.raises(UnreadableError, match=message):
        recording(tmp_path, text)
