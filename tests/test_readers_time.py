"""The time base: uniform, rounded, reversed, with gaps, unequal; and its unit."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from crankwise.errors import UnreadableError
from crankwise.model.recording import Recording, SampledChannel
from crankwise.readers import Source, read
from crankwise.readers.delimited import DelimitedReader
from crankwise.readers.labels import Label, find_time, parse_label, signal_unit
from crankwise.readers.timebase import from_stamps, last_digit_s
from crankwise.readers.timeunit import scale_s


def place(row: int) -> str:
    return f"van.csv: row {row + 2}"


SOURCE = Source(Path("van.csv"), "van.csv", str)


def read_rows(
    folder: Path, head: str, rows: list[str], *, interval_s: float | None = None
) -> Recording:
    path = folder / "van.csv"
    path.write_text("\n".join([head, *rows] if head else rows) + "\n", encoding="utf-8")
    return read(path, interval_s=interval_s, readers=[DelimitedReader()])


def first_values(recording: Recording) -> np.ndarray:
    channel = recording.channels[0]
    assert isinstance(channel, SampledChannel)
    return channel.values


def codes(recording: Recording) -> list[str]:
    return [finding.code for finding in recording.findings]


# Unit and time base of stamps


@given(
    interval_s=st.sampled_from(
        [1e-8, 4e-7, 1e-6, 3.2e-6, 5e-6, 1 / 44100, 1 / 48000, 1e-4, 2.5e-3]
    ),
    count=st.integers(50, 3000),
    start_s=st.sampled_from([0.0, -0.01, 1.234567, 3600.0]),
    digits=st.integers(0, 3),
)
def test_stamps_with_too_few_digits_give_the_clock_back(
    interval_s: float, count: int, start_s: float, digits: int
) -> None:
    # The last digit written lies between ten intervals and a thousandth of one.
    decimals = int(np.ceil(-np.log10(interval_s))) - 1 + digits
    stamps = np.round(start_s + np.arange(count) * interval_s, decimals)
    if stamps[-1] == stamps[0]:
        return
    base = from_stamps(stamps, place=place)
    digit_s = 10.0**-decimals
    # Over the whole recording, the clock is off by less than the last digit.
    assert abs(base.interval_s - interval_s) * (count - 1) <= 1.01 * digit_s
    assert base.time_s is None
    assert abs(base.start_s - start_s) <= 1.01 * digit_s


@given(interval_s=st.floats(1e-8, 1e-2), count=st.integers(2, 500), start_s=st.floats(-10.0, 10.0))
def test_full_digits_give_the_clock_back_exactly_enough(
    interval_s: float, count: int, start_s: float
) -> None:
    stamps = start_s + np.arange(count) * interval_s
    base = from_stamps(stamps, place=place)
    # Stamps that happen to be single precision numbers are taken for such.
    spacing_s = float(np.spacing(np.float32(abs(start_s) + count * interval_s)))
    if not np.array_equal(stamps, stamps.astype(np.float32)):
        spacing_s = float(np.spacing(abs(start_s) + count * interval_s))
    assert base.interval_s == pytest.approx(interval_s, rel=1e-9, abs=4.0 * spacing_s / (count - 1))
    assert base.time_s is None


def test_the_interval_is_the_number_people_meant() -> None:
    stamps = np.arange(20001) * 5e-6
    assert from_stamps(stamps, place=place).interval_s == 5e-6
    assert from_stamps(stamps.astype(np.float32).astype(float), place=place).interval_s == 5e-6


def test_last_digit_of_text_and_of_single_precision() -> None:
    assert last_digit_s(np.array([0.0, 0.001, 0.25])) == pytest.approx(1e-3)
    assert last_digit_s(np.round(np.arange(1000) * 3.3e-6, 6)) == pytest.approx(1e-6)
    single = (np.arange(1000) * 3.3e-6 + 1.0).astype(np.float32).astype(np.float64)
    assert last_digit_s(single) <= 1.2e-7


def test_rounded_stamps_are_remarked() -> None:
    base = from_stamps(np.round(np.arange(3000) * 3.3e-6, 5), place=place)
    assert base.interval_s == pytest.approx(3.3e-6, rel=1e-4)
    assert [finding.code for finding in base.findings] == ["time-rounded"]


@pytest.mark.parametrize("interval_s", [0.995e-5, 1.005e-5])
def test_leap_steps_at_even_distances_are_rounding(interval_s: float) -> None:
    base = from_stamps(np.round(np.arange(2000) * interval_s, 5), place=place)
    assert base.interval_s == pytest.approx(interval_s, rel=1e-3)
    assert [finding.code for finding in base.findings] == ["time-rounded"]


def test_rounding_that_can_not_be_seen_is_not_remarked() -> None:
    base = from_stamps(np.round(np.arange(3000) * 3.3e-6, 10), place=place)
    assert base.findings == ()


def test_a_gap_keeps_its_stamps_and_is_remarked() -> None:
    stamps = np.delete(np.arange(1000) * 1e-5, np.arange(300, 340))
    base = from_stamps(stamps, place=place)
    assert base.time_s is not None
    np.testing.assert_array_equal(base.time_s, stamps)
    assert base.interval_s == 1e-5
    (finding,) = base.findings
    assert finding.code == "time-gap"
    assert "1 place(s), 0.00041 s in all (after 0.00299 s)" in finding.text


@pytest.mark.parametrize("decimals", [5, 6, 9])
def test_one_lost_sample_is_a_gap_and_no_rounding(decimals: int) -> None:
    stamps = np.round(np.delete(np.arange(2000) * 1e-5, 700), decimals)
    base = from_stamps(stamps, place=place)
    assert [finding.code for finding in base.findings] == ["time-gap"]
    assert base.interval_s == 1e-5


def test_unequal_steps_are_kept() -> None:
    stamps = np.cumsum(np.random.default_rng(3).uniform(0.5e-5, 1.5e-5, 500))
    base = from_stamps(stamps, place=place)
    assert base.time_s is not None
    np.testing.assert_array_equal(base.time_s, stamps)
    assert [finding.code for finding in base.findings] == ["time-unequal"]


def test_reversed_rows_are_turned(tmp_path: Path) -> None:
    rows = [f"{n / 100:.2f},{n % 7}.5" for n in range(100)][::-1]
    recording = read_rows(tmp_path, "Time [ms],a [V]", rows)
    assert codes(recording) == ["time-reversed"]
    assert (recording.start_s, recording.interval_s) == (0.0, 1e-5)
    np.testing.assert_array_equal(first_values(recording), np.arange(100) % 7 + 0.5)


def test_reversed_rows_with_a_gap(tmp_path: Path) -> None:
    kept = [n for n in range(200) if not 50 <= n < 80]
    rows = [f"{n / 100:.2f},{n % 7}.5" for n in kept][::-1]
    recording = read_rows(tmp_path, "Time [ms],a [V]", rows)
    assert codes(recording) == ["time-reversed", "time-gap"]
    assert recording.time_s is not None
    np.testing.assert_allclose(recording.time_s, np.array(kept) * 1e-5, atol=1e-12)
    np.testing.assert_array_equal(first_values(recording), np.array(kept) % 7 + 0.5)


@pytest.mark.parametrize("is_reversed", [False, True])
def test_a_repeated_row_is_dropped(is_reversed: bool, tmp_path: Path) -> None:  # noqa: FBT001
    numbers = [*range(60), 59, *range(60, 100)]
    rows = [f"{n / 100:.2f},{n % 7}.5" for n in numbers]
    recording = read_rows(tmp_path, "Time [ms],a [V]", rows[::-1] if is_reversed else rows)
    assert "time-repeated" in codes(recording)
    assert recording.time_s is None
    np.testing.assert_array_equal(first_values(recording), np.arange(100) % 7 + 0.5)
    if not is_reversed:
        assert "first van.csv: row 62" in recording.findings[0].text


def test_time_that_goes_back_is_refused_with_its_row(tmp_path: Path) -> None:
    numbers = [*range(50), 51, 50, *range(52, 100)]
    rows = [f"{n / 100:.2f},{n % 7}.5" for n in numbers]
    with pytest.raises(UnreadableError, match=r"van\.csv: row 53: time goes back from"):
        read_rows(tmp_path, "Time [ms],a [V]", rows)
    recording = read_rows(tmp_path, "Time [ms],a [V]", rows, interval_s=1e-5)
    assert codes(recording) == ["time-column-unused"]
    # The row is the file's, also behind blank ones.
    with pytest.raises(UnreadableError, match=r"van\.csv: row 63: time goes back"):
        read_rows(tmp_path, "Time [ms],a [V]", [*rows[:10], *[""] * 10, *rows[10:]])


def test_time_that_stands_still_is_refused(tmp_path: Path) -> None:
    rows = [f"{n // 10 * 0.37:.3f},{n % 7}" for n in range(100)]
    rows[-1] = "9.12345678,3"
    with pytest.raises(UnreadableError, match="repeat the time of the row before"):
        read_rows(tmp_path, "Time [ms],a [V]", rows)


# The unit of the time column


RISING = [f"{n / 1e4:.4f},{n % 7}" for n in range(2000)]


def test_a_bare_time_column_may_be_seconds_and_is_remarked(tmp_path: Path) -> None:
    recording = read_rows(tmp_path, "Time,a [V]", RISING)
    assert recording.interval_s == 1e-4
    assert codes(recording) == ["time-unit-assumed"]
    assert recording.findings[0].level == "caution"


def test_a_header_less_table_has_its_time_first(tmp_path: Path) -> None:
    recording = read_rows(tmp_path, "", RISING)
    assert recording.channel_names == ("column 2",)
    assert recording.interval_s == 1e-4
    assert codes(recording) == ["time-unit-assumed", "unit-unknown"]


@pytest.mark.parametrize(
    ("step", "count"),
    [
        (0.005, 40_000),  # 5 µs samples in ms would be 200 s at 200 Hz
        (0.1, 20_000),  # 10 kHz in ms
        (5.0, 1000),  # µs
        (1e-7, 1000),  # 100 µs long in all
        (2.0, 3000),  # longer than an hour
    ],
)
def test_numbers_that_are_no_likely_seconds_are_not_guessed(
    step: float, count: int, tmp_path: Path
) -> None:
    rows = [f"{n * step:.7f},{n % 7}" for n in range(count)]
    with pytest.raises(UnreadableError, match=r"has no unit.*'Time \[ms\]'.*--interval"):
        read_rows(tmp_path, "Time,a [V]", rows)
    recording = read_rows(tmp_path, "Time,a [V]", rows, interval_s=5e-6)
    assert recording.interval_s == 5e-6


@pytest.mark.parametrize(
    ("step", "count", "is_events", "is_likely"),
    [
        (1e-3, 100_000, False, True),  # 100 s at 1 kHz
        (1e-3, 400_000, False, False),  # 400 s at 1 kHz: rather 0.4 s at 1 MHz in ms
        (1e-4, 4_000_000, False, True),
        (3e-3, 1000, False, False),
        (0.1, 100, True, True),
        (0.3, 100, True, False),
        (1e-10, 2, False, False),
    ],
)
def test_what_counts_as_likely_seconds(
    step: float,
    count: int,
    is_events: bool,  # noqa: FBT001
    is_likely: bool,  # noqa: FBT001
) -> None:
    def scale() -> float:
        times = np.arange(count) * step
        label = Label("Time", None)
        return scale_s(label, times, stated_s=None, source=SOURCE, is_events=is_events)[0]

    if is_likely:
        assert scale() == 1.0
    else:
        with pytest.raises(UnreadableError, match="no likely seconds"):
            scale()


@pytest.mark.parametrize(("factor", "stated"), [(1e3, "5 us"), (1e6, "200 kHz"), (1.0, "5e-6 s")])
def test_a_stated_interval_proves_the_unit(factor: float, stated: str, tmp_path: Path) -> None:
    word = "Sample rate" if "Hz" in stated else "Interval"
    rows = [f"{n * 5e-6 * factor:.7f},{n % 7}" for n in range(500)]
    recording = read_rows(tmp_path, f"{word}: {stated}\nTime,a [V]", rows)
    assert recording.interval_s == 5e-6
    assert codes(recording) == ["time-unit-proved"]


def test_a_stated_interval_that_disagrees_is_remarked(tmp_path: Path) -> None:
    rows = [f"{n * 5e-3:.6f},{n % 7}" for n in range(500)]
    recording = read_rows(tmp_path, "Interval: 4 us\nTime [ms],a [V]", rows)
    assert recording.interval_s == 5e-6
    assert codes(recording) == ["interval-disagrees"]


def test_counted_samples_are_no_time(tmp_path: Path) -> None:
    rows = [f"{n},{n % 7}.5,{n % 3}.5" for n in range(100)]
    with pytest.raises(UnreadableError, match="no time column and no sampling interval"):
        read_rows(tmp_path, "", rows)
    recording = read_rows(tmp_path, "", rows, interval_s=1e-5)
    assert recording.channel_names == ("column 2", "column 3")


def test_an_unlikely_name_over_an_even_clock(tmp_path: Path) -> None:
    recording = read_rows(tmp_path, "Horizontal,a [V]", RISING)
    assert recording.interval_s == 1e-4
    assert codes(recording) == ["time-unit-assumed"]


@pytest.mark.parametrize(
    ("written", "label"),
    [
        ("Time[s]", Label("Time", "s")),
        ("Zeit in µs", Label("Zeit", "µs")),
        ("U_1 / mV", Label("U_1", "mV")),
        ("CH 1 (mV)", Label("CH 1", "mV")),
        ("(ms)", Label("", "ms")),
        ("ms", Label("", "ms")),
        ("Channel A", Label("Channel A", None)),
        ("Channel_A", Label("Channel_A", None)),
        ("Cam 1/A", Label("Cam 1/A", None)),
        ("Intake (2)", Label("Intake (2)", None)),
        ("Intake (bank 1) [V]", Label("Intake (bank 1)", "V")),
        ("time_s", Label("time", "s")),
        ("crank_V", Label("crank", "V")),
        ("V", Label("V", None)),
        ("  Time  ( ns ) ", Label("Time", "ns")),
    ],
)
def test_labels(written: str, label: Label) -> None:
    assert parse_label(written) == label


@pytest.mark.parametrize(
    ("labels", "place_of_time"),
    [
        (["crank", "Time [s]"], 1),
        (["Czas", "crank"], 0),
        (["Sample", "T [ms]", "a"], 1),
        (["X", "a"], 0),
        (["crank", "Injection [ms]"], None),
        (["Distance [ms]", "a"], 0),
        (["timing", "tooth"], None),
        (["Sequence", "a"], None),
    ],
)
def test_finding_the_time_column(labels: list[str], place_of_time: int | None) -> None:
    assert find_time([parse_label(label) for label in labels]) == place_of_time


def test_units_of_signals() -> None:
    assert signal_unit("µV") == signal_unit("μV") == signal_unit("uV") == ("V", 1e-6)
    assert signal_unit("kV") == ("V", 1e3)
    assert signal_unit("mA") == ("A", 1e-3)
    assert signal_unit("bar") == ("bar", 1.0)
    assert signal_unit("-") == ("", 1.0)


@pytest.mark.parametrize("unit", ["MS", "NS", "US"])
def test_capitals_that_could_be_mega_are_no_time_unit(unit: str, tmp_path: Path) -> None:
    with pytest.raises(UnreadableError, match="not a unit of time"):
        read_rows(tmp_path, f"Time [{unit}],a [V]", RISING)
