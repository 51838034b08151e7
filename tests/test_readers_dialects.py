"""Whatever the dialect, the same numbers are read."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from crankwise.model.recording import SampledChannel
from crankwise.readers import read
from crankwise.readers.delimited import DelimitedReader

TIME_UNITS = {"s": 1.0, "ms": 1e3, "µs": 1e6, "us": 1e6, "μs": 1e6, "ns": 1e9}
SIGNAL_UNITS = {"V": 1.0, "mV": 1e3, "kV": 1e-3, "µV": 1e6}
PREAMBLES = (
    (),
    ("Recorded at Bramblegate Workshop", ""),
    ("# van: three", "# note: idle, warm; no load", ""),
    ("Model{s}two channel{s}", "Samples{s}120{s}", "", "Trigger{s}rising edge{s}1.5"),
)
STEPS = np.arange(120)


@dataclass(frozen=True)
class Dialect:
    """One way to write the table."""

    separator: str
    decimal: str
    encoding: str
    newline: str
    time_unit: str
    signal_unit: str
    unit_place: str
    preamble: tuple[str, ...]
    is_quoted: bool
    has_trailing_separator: bool
    has_last_newline: bool
    is_exponential: bool


@st.composite
def dialects(draw: st.DrawFn) -> Dialect:
    separator = draw(st.sampled_from([",", ";", "\t", "|", "  "]))
    is_quoted = draw(st.booleans())
    decimals = [".", ","] if separator != "," or is_quoted else ["."]
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"]))
    units = [unit for unit in TIME_UNITS if unit != "μs" or encoding != "cp1252"]
    return Dialect(
        separator=separator,
        decimal=draw(st.sampled_from(decimals)),
        encoding=encoding,
        newline=draw(st.sampled_from(["\n", "\r\n", "\r"])),
        time_unit=draw(st.sampled_from(units)),
        signal_unit=draw(st.sampled_from(sorted(SIGNAL_UNITS))),
        unit_place=draw(st.sampled_from(["[]", "()", "row", "(row)"])),
        preamble=draw(st.sampled_from(PREAMBLES)),
        is_quoted=is_quoted and separator != "  ",
        has_trailing_separator=draw(st.booleans()) and separator != "  ",
        has_last_newline=draw(st.booleans()),
        is_exponential=draw(st.booleans()),
    )


def write(dialect: Dialect, time_s: np.ndarray, signals_v: np.ndarray) -> bytes:
    def cell(number: float, *, digits: int) -> str:
        text = f"{number:.12e}" if dialect.is_exponential else f"{number:.{digits}f}"
        text = text.replace(".", dialect.decimal)
        return f'"{text}"' if dialect.is_quoted else text

    def row(cells: list[str]) -> str:
        end = dialect.separator if dialect.has_trailing_separator else ""
        return dialect.separator.join(cells) + end

    units = [dialect.time_unit, dialect.signal_unit, "V"]
    names = ["Zeit", "Kurbel Süd", "Nocke"]
    lines = [line.replace("{s}", dialect.separator) for line in dialect.preamble]
    if dialect.unit_place == "row":
        lines += [row(names), row(units)]
    elif dialect.unit_place == "(row)":
        lines += [row(names), row([f"({unit})" for unit in units])]
    else:
        left, right = dialect.unit_place
        both = zip(names, units, strict=True)
        lines.append(row([f"{name} {left}{unit}{right}" for name, unit in both]))
    time_factor, factor = TIME_UNITS[dialect.time_unit], SIGNAL_UNITS[dialect.signal_unit]
    for time, first, second in zip(time_s, *signals_v, strict=True):
        cells = [
            cell(time * time_factor, digits=9),
            cell(first * factor, digits=9),
            cell(second, digits=6),
        ]
        lines.append(row(cells))
    content = dialect.newline.join(lines) + (dialect.newline if dialect.has_last_newline else "")
    return content.encode(dialect.encoding)


@settings(max_examples=150, deadline=None)
@given(
    dialect=dialects(),
    interval_s=st.sampled_from([1e-7, 4e-6, 5e-6, 1e-4]),
    start_s=st.sampled_from([0.0, -0.002, 12.5]),
    seed=st.integers(0, 1000),
)
def test_the_dialect_does_not_matter(
    dialect: Dialect, interval_s: float, start_s: float, seed: int
) -> None:
    time_s = start_s + STEPS * interval_s
    signals_v = np.random.default_rng(seed).uniform(-9.0, 9.0, (2, len(STEPS)))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "van.csv"
        path.write_bytes(write(dialect, time_s, signals_v))
        recording = read(path, readers=[DelimitedReader()])
    assert recording.channel_names == ("Kurbel Süd", "Nocke")
    np.testing.assert_allclose(recording.interval_s, interval_s, rtol=1e-4)
    np.testing.assert_allclose(recording.start_s, start_s, atol=2e-9)
    assert recording.time_s is None
    assert recording.findings == ()
    for channel, truth in zip(recording.channels, signals_v, strict=True):
        assert isinstance(channel, SampledChannel)
        assert channel.unit == "V"
        np.testing.assert_allclose(channel.values, truth, atol=2e-6)
