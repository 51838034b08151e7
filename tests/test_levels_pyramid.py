"""Levels over time against the samples themselves."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crankwise.levels import Levels, build_levels, time_window
from crankwise.levels.extremes import Cover
from crankwise.levels.pyramid import LEVELS, PyramidWriter
from crankwise.levels.rows import RowReader, RowWriter
from crankwise.levels.scale import FULL, MISSING, scale_of
from crankwise.model.recording import EventChannel, Recording, SampledChannel
from crankwise.model.trace import Trace

NO_TRACE = Trace(crank="crank", runs=(), cams=())


def recording(*values, interval_s=1e-4, start_s=-0.25, time_s=None):
    """A recording of these channels."""
    count = len(values[0])
    last = (count - 1) * interval_s if time_s is None else float(time_s[-1] - time_s[0])
    channels = tuple(SampledChannel(f"c{k}", "V", v) for k, v in enumerate(values))
    return Recording("made.csv", "0" * 64, channels, start_s, last, interval_s, time_s)


def built(folder, made):
    folder.mkdir(exist_ok=True)
    build_levels(made, NO_TRACE, folder)
    return Levels(folder)


@pytest.fixture
def rng():
    return np.random.default_rng(11)


def test_rows_come_back_as_they_were_written(tmp_path, rng):
    rows = rng.integers(-99, 99, (1000, 2)).astype(np.int16)
    writer = RowWriter(tmp_path / "rows.npy", row_shape=(2,))
    for part in np.array_split(rows, 7):
        writer.append(part)
    assert writer.close() == 1000
    # NumPy itself reads the file.
    assert np.array_equal(np.load(tmp_path / "rows.npy"), rows)
    reader = RowReader(tmp_path / "rows.npy")
    assert len(reader) == 1000
    assert np.array_equal(reader.rows(13, 57), rows[13:57])
    assert np.array_equal(reader.rows(990, 2000), rows[990:])
    assert reader.rows(5, 5).shape == (0, 2)


@dataclass
class Stretch:
    values: np.ndarray
    begin: np.ndarray
    count: np.ndarray


@st.composite
def stretches(draw):
    values = np.array(draw(st.lists(st.integers(-99, 99), min_size=1, max_size=80)), np.int16)
    places = st.tuples(st.integers(0, len(values) - 1), st.integers(1, 60))
    pairs = draw(st.lists(places, min_size=1, max_size=20))
    begin = np.array([place for place, _ in pairs])
    count = np.minimum([count for _, count in pairs], len(values) - begin)
    return Stretch(values, begin, count)


@given(stretches())
def test_extremes_of_stretches_are_those_of_each_by_itself(made):
    for pick in (np.minimum, np.maximum):
        expected = [
            pick.reduce(made.values[b : b + c]) for b, c in zip(made.begin, made.count, strict=True)
        ]
        assert Cover.of(made.begin, made.count).pick(made.values, pick).tolist() == expected


@given(
    values=st.lists(
        st.one_of(st.floats(-5, 5, width=32), st.sampled_from([np.nan, np.inf, -np.inf])),
        min_size=1, max_size=900,
    ),
    cuts=st.lists(st.integers(0, 900), max_size=8),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_how_the_samples_are_cut_into_blocks_does_not_matter(tmp_path_factory, values, cuts):
    samples = np.array(values, np.float32)
    scale = scale_of(samples)
    found = []
    for blocks in ([samples], np.split(samples, sorted(min(cut, len(samples)) for cut in cuts))):
        folder = tmp_path_factory.mktemp("levels")
        writer = PyramidWriter(folder, 0, scale)
        for block in blocks:
            writer.add(block)
        assert writer.finish() == len(samples)
        found.append([path.read_bytes() for path in sorted(folder.iterdir())])
    assert found[0] == found[1]


@pytest.mark.parametrize("count", [1, 15, 16, 17, 255, 4096, 70_001])
def test_each_level_holds_the_extremes_of_its_samples(tmp_path, rng, count):
    samples = rng.normal(size=count).astype(np.float32)
    samples[rng.integers(0, count, count // 50)] = np.nan
    scale = scale_of(samples)
    writer = PyramidWriter(tmp_path, 0, scale)
    writer.add(samples)
    writer.finish()
    steps = scale.steps(samples)
    for level in range(1, LEVELS + 1):
        rows = np.load(tmp_path / f"channel-0-level-{level}.npy")
        group = 16**level
        assert len(rows) == -(-count // group)
        for index in range(len(rows)):
            part = steps[index * group : (index + 1) * group]
            known = part[part != MISSING]
            expected = [known.min(), known.max()] if len(known) else [FULL, MISSING]
            assert rows[index].tolist() == expected


def test_steps_stand_for_the_values_they_were_made_of(rng):
    values = rng.uniform(-3.0, 9.0, 1000).astype(np.float32)
    scale = scale_of(values)
    middle, half = (scale.high + scale.low) / 2, (scale.high - scale.low) / 2
    back = middle + scale.steps(values) * half / FULL
    assert np.abs(back - values).max() <= 0.51 * (scale.high - scale.low) / 65_534
    assert scale.steps(np.array([99.0, -99.0, np.inf, -np.inf])).tolist() == [
        FULL, -FULL, FULL, -FULL,
    ]  # fmt: skip


def test_a_channel_that_never_moves_and_one_of_nothing_can_be_kept(tmp_path):
    still, nothing = np.full(5000, 2.5, np.float32), np.full(5000, np.nan, np.float32)
    levels = built(tmp_path / "a", recording(still, nothing))
    window = time_window(levels, -1.0, 9.0, 100)
    assert np.all(window.signals[0].low == window.signals[0].high)
    assert np.all(window.signals[1].low > window.signals[1].high)


@pytest.mark.parametrize("width", [1, 37, 500, 4000])
@pytest.mark.parametrize("share", [1.0, 0.3, 0.01])
def test_a_window_has_every_extreme_in_its_column(tmp_path, rng, width, share):
    samples = rng.normal(size=200_000).astype(np.float32)
    made = recording(samples)
    levels = built(tmp_path / "a", made)
    begin = made.start_s + 0.4 * (1 - share) * made.duration_s
    end = begin + share * made.duration_s
    window = time_window(levels, begin, end, width)
    times = made.start_s + made.interval_s * np.arange(len(samples))
    inside = (times >= window.from_s) & (times <= window.to_s)
    steps = scale_of(samples).steps(samples)
    (signal,) = window.signals
    if len(signal.times_s):
        assert np.isin(steps[inside], signal.steps).all()
        assert len(signal.times_s) <= 2 * width + 2
        return
    assert len(signal.low) == width
    column = (times[inside] - window.from_s) / (window.to_s - window.from_s) * width
    column = np.minimum(column.astype(int), width - 1)
    least, greatest = np.full(width, FULL), np.full(width, -FULL)
    np.minimum.at(least, column, steps[inside])
    np.maximum.at(greatest, column, steps[inside])
    assert np.all(signal.low <= least)
    assert np.all(signal.high >= greatest)
    # What lies across a border widens a column by a quarter of its neighbours at the most.
    wider = [samples_of(steps, times, window, width, k, reach=0.26) for k in range(0, width, 7)]
    for number, part in zip(range(0, width, 7), wider, strict=True):
        assert signal.low[number] >= part.min()
        assert signal.high[number] <= part.max()


def samples_of(steps, times, window, width, column, *, reach):
    """Samples of a column and a little beyond."""
    each = (window.to_s - window.from_s) / width
    begin = window.from_s + (column - reach) * each - 1e-3
    end = window.from_s + (column + 1 + reach) * each + 1e-3
    return steps[(times >= begin) & (times <= end)]


def test_unequal_steps_are_shown_at_their_own_times(tmp_path, rng):
    times = np.cumsum(rng.uniform(1e-5, 2e-3, 40_000))
    times[20_000:] += 5.0  # a pause, over which the signal is held
    samples = rng.normal(size=40_000).astype(np.float32)
    made = recording(samples, time_s=times, start_s=float(times[0]))
    levels = built(tmp_path / "a", made)
    close = time_window(levels, times[100], times[160], 300)
    assert close.signals[0].times_s == pytest.approx(times[100:161])
    wide = time_window(levels, times[0], times[-1], 200)
    peak = int(np.argmax(samples))
    column = int((times[peak] - wide.from_s) / (wide.to_s - wide.from_s) * 200)
    assert wide.signals[0].high[min(column, 199)] == FULL


def test_logic_signals_are_shown_by_their_changes(tmp_path):
    times = np.arange(1, 2001) * 1e-3
    states = np.arange(2000) % 2 == 0
    channel = EventChannel("d0", times, states, initial_state=False)
    made = Recording("made.vcd", "0" * 64, (channel,), 0.0, 2.5, None)
    levels = built(tmp_path / "a", made)
    (close,) = time_window(levels, 0.0005, 0.0105, 50).signals
    assert close.times_s == pytest.approx([0.0005, *times[:10]])
    assert close.steps.tolist() == [-FULL, *([FULL, -FULL] * 5)]
    (wide,) = time_window(levels, 0.0, 2.5, 100).signals
    assert np.all(wide.low[:80] == -FULL)
    assert np.all(wide.high[:80] == FULL)
    assert np.all(wide.high[81:] == -FULL)
