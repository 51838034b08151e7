"""Event lists: a row only where a state changes; and recordings made by others."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crankwise.errors import UnreadableError
from crankwise.model.recording import EventChannel, Recording, SampledChannel
from crankwise.readers import read
from crankwise.readers.delimited import DelimitedReader
from crankwise.readers.events import event_channels, is_event_list
from crankwise.testing.reader_contract import check_reader, check_recording

SHARED = Path(__file__).resolve().parents[2] / "shared" / "recordings"
"""Recordings made by others; not part of the project, so they may be absent."""


def place(row: int) -> str:
    return f"van.csv: row {row + 2}"


def read_text(folder: Path, content: str, *, interval_s: float | None = None) -> Recording:
    path = folder / "van.csv"
    path.write_text(content, encoding="utf-8")
    recording = read(path, interval_s=interval_s, readers=[DelimitedReader()])
    check_recording(recording)
    return recording


def events(recording: Recording, name: str) -> EventChannel:
    channel = recording.channel(name)
    assert isinstance(channel, EventChannel)
    return channel


LIST = (
    "Time[s], crank, cam, spare\n"
    "0.0, 1, 0, 1\n0.5, 0, 0, 1\n0.75, 1, 0, 1\n1.5, 1, 1, 1\n1.6, 0, 0, 1\n"
)


def test_each_channel_gets_its_own_changes(tmp_path: Path) -> None:
    recording = read_text(tmp_path, LIST)
    assert recording.is_event_list
    assert (recording.start_s, recording.duration_s) == (0.0, 1.6)
    crank, cam, spare = (events(recording, name) for name in ("crank", "cam", "spare"))
    assert crank.times_s.tolist() == [0.5, 0.75, 1.6]
    assert crank.states.tolist() == [False, True, False]
    assert crank.initial_state
    assert (cam.times_s.tolist(), cam.initial_state) == ([1.5, 1.6], False)
    assert (spare.times_s.tolist(), spare.initial_state) == ([], True)


def test_volts_of_a_two_level_list_are_states(tmp_path: Path) -> None:
    volts = LIST.replace(" 1", " 4.8").replace(" 0,", " 0.2,").replace("4.8.5", "1.5")
    crank = events(read_text(tmp_path, volts.replace("4.8.6", "1.6")), "crank")
    assert crank.times_s.tolist() == [0.5, 0.75, 1.6]


def test_rows_where_nothing_changes_are_no_events(tmp_path: Path) -> None:
    content = LIST + "1.9, 0, 0, 1\n2.5, 0, 0, 1\n"
    recording = read_text(tmp_path, content)
    assert recording.duration_s == 2.5
    assert len(events(recording, "crank").times_s) == 3


def test_backward_lists_are_turned(tmp_path: Path) -> None:
    head, *rows = LIST.splitlines()
    recording = read_text(tmp_path, "\n".join([head, *rows[::-1]]) + "\n")
    assert [finding.code for finding in recording.findings] == ["time-reversed"]
    assert events(recording, "crank").times_s.tolist() == [0.5, 0.75, 1.6]


def test_of_rows_at_one_time_the_last_counts(tmp_path: Path) -> None:
    content = LIST.replace("0.75, 1, 0, 1\n", "0.75, 1, 0, 1\n0.75, 1, 1, 1\n")
    recording = read_text(tmp_path, content)
    assert [finding.code for finding in recording.findings] == ["time-repeated"]
    assert events(recording, "cam").times_s.tolist() == [0.75, 1.6]


def test_a_list_out_of_order_is_refused_with_its_row(tmp_path: Path) -> None:
    with pytest.raises(UnreadableError, match=r"van\.csv: row 6: time goes back"):
        read_text(tmp_path, LIST.replace("1.6,", "0.9,"))


def test_an_interval_given_for_a_list_is_remarked(tmp_path: Path) -> None:
    recording = read_text(tmp_path, LIST, interval_s=1e-5)
    assert recording.is_event_list
    assert [finding.code for finding in recording.findings] == ["interval-unused"]


def test_a_list_in_milliseconds_without_unit_is_not_guessed(tmp_path: Path) -> None:
    rows = "".join(f"{n * 430.0 + n % 3 * 17},{n % 2},0\n" for n in range(40))
    with pytest.raises(UnreadableError, match="no likely seconds"):
        read_text(tmp_path, "Time,crank,cam\n" + rows)
    recording = read_text(tmp_path, "Time [us],crank,cam\n" + rows)
    assert recording.duration_s == pytest.approx(39 * 430e-6)


def test_nothing_happens(tmp_path: Path) -> None:
    with pytest.raises(UnreadableError, match="nothing changes"):
        read_text(tmp_path, "Time[s],a\n0,1\n1.5,1\n1.7,1\n9,1\n")


@pytest.mark.parametrize("count", [20, 200, 5000])
def test_logic_samples_are_no_list(count: int, tmp_path: Path) -> None:
    rows = "".join(f"{n}e-5,{n // 5 % 2},{n // 9 % 2}\n" for n in range(count))
    recording = read_text(tmp_path, "Time [s],crank,cam\n" + rows)
    assert not recording.is_event_list
    assert recording.interval_s == pytest.approx(1e-5)


def test_logic_samples_with_a_gap_or_jitter_are_no_list(tmp_path: Path) -> None:
    numbers = [n for n in range(4000) if not 1000 <= n < 1500]
    rows = "".join(f"{n}e-5,{n // 50 % 2}\n" for n in numbers)
    recording = read_text(tmp_path, "Time [s],crank\n" + rows)
    assert not recording.is_event_list
    jitter = np.random.default_rng(5).uniform(-2e-6, 2e-6, 4000)
    rows = "".join(f"{n * 1e-5 + jitter[n]:.9f},{n // 50 % 2}\n" for n in range(4000))
    recording = read_text(tmp_path, "Time [s],crank\n" + rows)
    assert not recording.is_event_list


@given(
    seed=st.integers(0, 2**32 - 1),
    channels=st.integers(1, 6),
    rows=st.integers(16, 80),
    evenness=st.sampled_from([0.0, 0.3, 1.0]),
)
def test_a_list_made_from_changes_gives_them_back(
    seed: int, channels: int, rows: int, evenness: float
) -> None:
    generator = np.random.default_rng(seed)
    times_s = np.cumsum(
        evenness * 1e-3 + (1.0 - evenness) * generator.exponential(1e-3, rows) + 1e-7
    )
    flips = np.zeros((rows, channels), dtype=bool)
    flips[np.arange(1, rows), generator.integers(0, channels, rows - 1)] = True
    states = np.logical_xor.accumulate(flips, axis=0)
    columns = [states[:, index].astype(np.float32) for index in range(channels)]
    assert is_event_list(times_s, columns)
    names = [f"channel {index}" for index in range(channels)]
    kept_s, found, findings = event_channels(times_s, names, columns, place=place)
    assert findings == ()
    np.testing.assert_array_equal(kept_s, times_s)
    for index, channel in enumerate(found):
        np.testing.assert_array_equal(channel.times_s, times_s[flips[:, index]])
        assert channel.initial_state == states[0, index]


# Recordings made by others on real engines; what is known of them stands in the README beside
# them, the counts were taken there with grep and wc.

recorded = pytest.mark.skipif(not SHARED.is_dir(), reason="the shared recordings are not here")


@recorded
@pytest.mark.parametrize(
    ("name", "rows", "channels"),
    [
        ("nick_1.csv", 5196, 8),
        ("toyota_3_tooth_cam.csv", 1581, 2),
        ("nb2-cranking-good.csv", 977, 2),
        ("4g93-cranking.csv", 193, 2),
    ],
)
def test_recorded_lists(name: str, rows: int, channels: int) -> None:
    recording = check_reader(DelimitedReader(), SHARED / name)
    assert recording.is_event_list
    assert len(recording.channels) == channels
    assert recording.findings == ()
    lines = (SHARED / name).read_text(encoding="utf-8").splitlines()
    table = np.array([line.split(",") for line in lines[1:]], dtype=float)
    assert len(table) == rows
    for index, channel in enumerate(recording.channels, start=1):
        assert isinstance(channel, EventChannel)
        changed = np.flatnonzero(np.diff(table[:, index])) + 1
        np.testing.assert_array_equal(channel.times_s, table[changed, 0])
        np.testing.assert_array_equal(channel.states, table[changed, index] == 1.0)
        assert channel.initial_state == (table[0, index] == 1.0)


@recorded
def test_recorded_samples() -> None:
    recording = check_reader(DelimitedReader(), SHARED / "trigger_adc_real1.csv")
    assert recording.interval_s == 1e-4  # 10 kS/s, says the README
    assert recording.start_s == pytest.approx(9.85e-5)
    assert recording.time_s is None
    (channel,) = recording.channels
    assert isinstance(channel, SampledChannel)
    assert (channel.name, len(channel.values)) == ("crank", 60_000)
