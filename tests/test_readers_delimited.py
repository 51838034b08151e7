"""Text tables in the dialects that scopes and loggers write."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from crankwise.errors import UnreadableError
from crankwise.model.recording import Recording, SampledChannel
from crankwise.readers import read
from crankwise.readers.delimited import DelimitedReader, text

ROWS = [(step * 0.005, 2.5 + 2.4 * math.sin(step / 7.0), 0.1 * (step % 13)) for step in range(60)]
"""Milliseconds and two signals."""


def table(
    separator: str = ",",
    *,
    head: str = "Time (ms){s}crank (V){s}cam [V]",
    decimal: str = ".",
    newline: str = "\n",
    form: str = "%.6f",
    rows: Sequence[Sequence[float]] = ROWS,
) -> str:
    lines = [head.replace("{s}", separator)] if head else []
    lines += [separator.join((form % cell).replace(".", decimal) for cell in row) for row in rows]
    return newline.join(lines) + newline


def read_text(folder: Path, content: str | bytes, *, interval_s: float | None = None) -> Recording:
    path = folder / "van.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read(path, interval_s=interval_s, readers=[DelimitedReader()])


def refusal(folder: Path, content: str | bytes) -> str:
    with pytest.raises(UnreadableError) as caught:
        read_text(folder, content)
    assert str(caught.value).startswith("van.csv: ")
    return str(caught.value)


def values(recording: Recording, name: str) -> np.ndarray:
    channel = recording.channel(name)
    assert isinstance(channel, SampledChannel)
    return channel.values


def codes(recording: Recording) -> list[str]:
    return [finding.code for finding in recording.findings]


def check_rows(recording: Recording, names: Sequence[str] = ("crank", "cam")) -> None:
    """Check that the rows above came back, whatever they were written in."""
    assert recording.channel_names == tuple(names)
    assert recording.interval_s == 5e-6
    assert recording.start_s == 0.0
    assert [channel.unit for channel in recording.channels] == ["V", "V"]
    for place, name in enumerate(names, start=1):
        truth = [row[place] for row in ROWS]
        np.testing.assert_allclose(values(recording, name), truth, atol=6e-7)


@pytest.mark.parametrize(
    "content",
    [
        table(),
        table(";", decimal=","),
        table("\t", newline="\r\n"),
        table("|"),
        table(newline="\r"),
        table("   "),
        "Time [ms]   crank [V]   cam [V]\n" + table("  ", head=""),
        table(" ", head="Time(ms) crank(V) cam(V)"),
        table(" ").replace("\n", "\n  "),
        table(", "),
        "\ufeff" + table(),
        table(head='"Time (ms)","crank (V)","cam (V)"'),
        table(head="# Time (ms),crank (V),cam (V)"),
        table(head="Zeit/ms,crank/V,cam/V"),
        table(head="t_ms,crank_V,cam_V"),
        table(head="Time in ms,crank in V,cam in V"),
        table(head="Time,crank,cam\n(ms),(V),(V)\n"),
        table(head="Time,crank,cam\nms,Volt,V"),
        table(head="Title: van three\n\nOperator,someone\nTime,crank,cam\n[ms],[V],[V]"),
        "sep=;\n" + table(";", decimal=","),
        table().replace("\n", ",\n"),
        table().replace("\n", ",\n").replace("[V],", "[V]"),
        table().replace("\n", "\n\n") + "\n\n",
        table().replace("\n", "  \r\n"),
        table().replace("\n", "\r\r\n"),
        table() + "\0" * 3000,
        table() + "\x1a",
        table().removesuffix("\n"),
        table(
            head="Sample,Time [ms],crank [V],cam [V]",
            rows=[(n, *row) for n, row in enumerate(ROWS)],
        ),
        table(
            head="Time [ms],crank [V],Time [ms],cam [V]", rows=[(a, b, a, c) for a, b, c in ROWS]
        ),
        table(
            head="Time [ms],crank [kV],cam [mV]",
            form="%.9f",
            rows=[(a, b / 1e3, c * 1e3) for a, b, c in ROWS],
        ),
        table(head="Time [ns],crank [V],cam [V]", rows=[(a * 1e6, b, c) for a, b, c in ROWS]),
        table(
            head="Time [s],crank [V],cam [V]",
            form="%.9e",
            rows=[(a / 1e3, b, c) for a, b, c in ROWS],
        ),
        table(
            head="Time [s],crank [V],cam [V]",
            form="%.9E",
            rows=[(a / 1e3, b, c) for a, b, c in ROWS],
        ),
        table(form='"%.6f"'),
        table(";", form='" %.6f"', decimal=","),
        table(form='"%.6f"', decimal=","),
    ],
)
def test_dialect(content: str, tmp_path: Path) -> None:
    recording = read_text(tmp_path, content)
    check_rows(recording)
    assert codes(recording) == []


@pytest.mark.parametrize(
    ("encoding", "unit", "scale"),
    [
        ("utf-8", "µs", 1e3),
        ("utf-8-sig", "μs", 1e3),
        ("utf-16", "µs", 1e3),
        ("utf-16-le", "ms", 1.0),
        ("utf-16-be", "ms", 1.0),
        ("cp1252", "µs", 1e3),
        ("latin-1", "µs", 1e3),
    ],
)
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_encoding(encoding: str, unit: str, scale: float, newline: str, tmp_path: Path) -> None:
    rows = [(a * scale, b, c) for a, b, c in ROWS]
    head = f"Prüfstand Süd\nZeit [{unit}];Welle [V];Nocke [V]".replace("\n", newline)
    content = table(";", head=head, decimal=",", newline=newline, rows=rows)
    check_rows(read_text(tmp_path, content.encode(encoding)), ("Welle", "Nocke"))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "cp1252"])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_chunks_join_without_a_seam(
    encoding: str, newline: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(text, "CHUNK_BYTES", 101)
    head = "Zeit (ms),crank (V),cam (V)"
    check_rows(read_text(tmp_path, table(head=head, newline=newline).encode(encoding)))


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_half_characters_are_no_line_ends(
    encoding: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The bytes of U+0A05 U+0100, and of U+0100 U+0A05 the other way round, hold those of a line
    # feed in the middle.
    monkeypatch.setattr(text, "CHUNK_BYTES", 64)
    content = "Note \u0a05\u0100\u0a05\u0100\n" + table(head="Time (ms),\u0100\u0a05 (V),cam (V)")
    recording = read_text(tmp_path, content.encode(encoding))
    check_rows(recording, ("\u0100\u0a05", "cam"))


def test_a_preamble_of_any_length(tmp_path: Path) -> None:
    preamble = "".join(f"Note {line}: words, more words; and others\n" for line in range(6000))
    check_rows(read_text(tmp_path, preamble + table()))


SIGNALS = table(head="", rows=[row[1:] for row in ROWS])


@pytest.mark.parametrize(
    ("preamble", "separator", "interval_s"),
    [
        ("Sample Interval,5e-6,s\n", ",", 5e-6),
        ("Sample Interval (us),5\n", ",", 5e-6),
        ('"Sampling interval","5 us"\n', ",", 5e-6),
        ("# Sample rate: 200 kS/s\n", ",", 5e-6),
        ("Sample Rate,0.2,MHz\n", ",", 5e-6),
        ("Abtastrate: 0,2 MHz\n", ";", 5e-6),
        ("Abtastintervall;5,0E-3;ms\n", ";", 5e-6),
        ("Fréquence d'échantillonnage : 200 kHz\n", ";", 5e-6),
        ("% Δt = 5 µs\n", ",", 5e-6),
        ("Sample Interval (s),5e-6,5e-6\n", ",", 5e-6),
        ("Interval: 5 us\nSample rate: 200 kHz\n", ",", 5e-6),
        ("Samples,Interval,Notes\n60,5 us,none\n", ",", 5e-6),
        ("fs\t200 kHz\n", ",", 5e-6),
    ],
)
def test_the_preamble_states_the_interval(
    preamble: str, separator: str, interval_s: float, tmp_path: Path
) -> None:
    body = SIGNALS if separator == "," else SIGNALS.replace(",", ";").replace(".", ",")
    names = separator.join(("crank [V]", "cam [V]"))
    recording = read_text(tmp_path, f"{preamble}{names}\n{body}")
    assert recording.interval_s == interval_s
    assert codes(recording) == []
    check_rows(recording)


@pytest.mark.parametrize("note", ["Sample Interval,5e-6", "fs = 200000", "Sample rate\t200000"])
def test_a_stated_interval_without_unit_is_remarked(note: str, tmp_path: Path) -> None:
    recording = read_text(tmp_path, f"{note}\ncrank [V],cam [V]\n{SIGNALS}")
    assert recording.interval_s == pytest.approx(5e-6)
    assert codes(recording) == ["interval-unit-assumed"]


@pytest.mark.parametrize(
    "preamble",
    [
        "",
        "Interval,5\n",
        "Sample rate: 200,000 Hz\n",
        "Sample interval: fast\n",
        "Interval,5,furlongs\n",
    ],
)
def test_no_usable_interval_is_asked_for(preamble: str, tmp_path: Path) -> None:
    content = f"{preamble}crank [V],cam [V]\n{SIGNALS}"
    message = refusal(tmp_path, content)
    assert "no time column and no sampling interval" in message
    assert "--interval" in message
    check_rows(read_text(tmp_path, content, interval_s=5e-6))


def test_contradicting_intervals_are_not_used(tmp_path: Path) -> None:
    preamble = "Interval: 5 us\nSample rate: 100 kHz\ncrank [V],cam [V]\n"
    assert "no sampling interval" in refusal(tmp_path, preamble + SIGNALS)
    recording = read_text(tmp_path, preamble + SIGNALS, interval_s=5e-6)
    assert recording.interval_s == 5e-6


def test_notes_beside_the_rows(tmp_path: Path) -> None:
    notes = ["Record Length,60,Points", "Sample Interval,5e-6,s", "Trigger,up,"] + [",,"] * 57
    rows = [
        f"{note},{row[0] / 1e3:.6f},{row[1]:.6f}" for note, row in zip(notes, ROWS, strict=True)
    ]
    recording = read_text(tmp_path, "\n".join(rows) + "\n")
    assert recording.interval_s == 5e-6
    assert codes(recording) == ["time-unit-proved", "unit-unknown"]
    np.testing.assert_allclose(values(recording, "column 2"), [row[1] for row in ROWS], atol=1e-6)


def test_start_and_increment_in_the_header(tmp_path: Path) -> None:
    head = "X,crank,cam,Start,Increment\nSequence,Volt,Volt,0.0,5.0e-06\n"
    body = "".join(f"{n},{row[1]:.6f},{row[2]:.6f},,\n" for n, row in enumerate(ROWS))
    recording = read_text(tmp_path, head + body)
    check_rows(recording)
    assert codes(recording).count("channel-empty") == 2


def test_names_are_kept_and_made_unique(tmp_path: Path) -> None:
    head = "Time [ms],Крыло (bank 1) [V],Крыло (bank 1) [V],,Strom [mA]"
    rows = [(a, b, c, b, c) for a, b, c in ROWS]
    recording = read_text(tmp_path, table(head=head, rows=rows))
    assert recording.channel_names == (
        "Крыло (bank 1)",
        "Крыло (bank 1) (2)",
        "column 4",
        "Strom",
    )
    assert [channel.unit for channel in recording.channels] == ["V", "V", "", "A"]
    (finding,) = recording.findings
    assert finding.code == "unit-unknown"
    assert "'column 4'" in finding.text


def test_marks_for_out_of_range_and_missing(tmp_path: Path) -> None:
    cells = ["1.5", "∞", "-∞", "inf", "-Infinity", "NaN", "", "OL", "-OL", "overrange", "n/a", "2"]
    body = "".join(f"{n}e-3,{cell},{n}\n" for n, cell in enumerate(cells))
    recording = read_text(tmp_path, "Time [s],crank [V],cam [V]\n" + body)
    inf, nan = math.inf, math.nan
    np.testing.assert_array_equal(
        values(recording, "crank"),
        np.array([1.5, inf, -inf, inf, -inf, nan, nan, inf, -inf, inf, nan, 2], np.float32),
    )
    assert codes(recording) == ["samples-missing", "range-exceeded"]


@pytest.mark.parametrize("cut", [2, 5, 9, 12, 15])
def test_a_row_cut_short_is_left_out_and_named(cut: int, tmp_path: Path) -> None:
    recording = read_text(tmp_path, table()[:-cut])
    assert len(values(recording, "cam")) == len(ROWS) - 1
    (finding,) = recording.findings
    assert finding.code == "last-row-incomplete"
    assert f"row {len(ROWS) + 1})" in finding.text


def test_whole_numbers_at_the_end_are_not_taken_for_cut(tmp_path: Path) -> None:
    rows = [(n, n % 5 + 10) for n in range(30)]
    recording = read_text(tmp_path, table(head="Time [ms],a [V]", form="%d", rows=rows)[:-1])
    assert len(values(recording, "a")) == 30


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ("0.700000", "abc", "row 9, column 'cam': 'abc' is not a number"),
        ("0.035000,", "x,", "row 9, column 'Time': 'x' is not a number"),
        ("0.000000,", "x,", "row 2, column 'Time': 'x' is not a number"),
        ("0.035000,", ",", "row 9, column 'Time': no time"),
        ("0.035000,", "00:00:01.5,", "row 9, column 'Time': '00:00:01.5' is a clock time"),
        ("0.700000", "0.7,00000", "row 9 has 4 cells where the rows before have 3"),
        ("0.700000", "1,000.7", "row 9 has 4 cells"),
    ],
)
def test_a_bad_cell_is_named_with_its_place(old: str, new: str, place: str, tmp_path: Path) -> None:
    assert place in refusal(tmp_path, table().replace(old, new, 1))


def test_a_bad_cell_behind_marks_has_the_right_row(tmp_path: Path) -> None:
    content = table().replace("0.100000\n", "OL\n").replace("0.700000\n", "abc\n", 1)
    assert "row 9, column 'cam': 'abc' is not a number" in refusal(tmp_path, content)


def test_a_bad_cell_far_down_has_the_right_row(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(text, "CHUNK_BYTES", 500)
    rows = [(n / 100, n % 7, n % 5) for n in range(3000)]
    content = "note\n\n" + table(rows=rows).replace("25.000000,", "\n25.0O,", 1)
    assert "row 2505, column 'Time': '25.0O' is not a number" in refusal(tmp_path, content)


@pytest.mark.parametrize(
    ("separator", "decimal", "cell"),
    [
        (";", ",", "1.234,5"),
        (";", ",", "1.234"),
        (";", ".", "1,234.5"),
        ("\t", ".", "1'234.5"),
        (";", ",", "1 234,5"),
    ],
)
def test_thousands_separators_are_refused(
    separator: str, decimal: str, cell: str, tmp_path: Path
) -> None:
    content = table(separator, decimal=decimal).replace(f"0{decimal}700000", cell, 1)
    message = refusal(tmp_path, content)
    assert f"row 9, column 'cam': '{cell}' has a thousands separator" in message


def test_decimal_commas_between_commas_are_refused(tmp_path: Path) -> None:
    message = refusal(tmp_path, table(decimal=","))
    assert "row 1 names 3 column(s), but the rows below have 6 numbers" in message
    assert "semicolons" in message


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("Time [s],crank [V]\n", "no rows of numbers found"),
        ("Time [s],crank [V]\n0.001,2\n", "1 row(s) of numbers"),
        ("Time [s]\n" + "".join(f"{n}e-3\n" for n in range(20)), "only one column"),
        (table(rows=[(a, 1.0, 2.0) for a, _, _ in ROWS]), "nothing changes in any channel"),
        ("time,a\n" + "".join(f"00:00:{n:02d}.5,{n}\n" for n in range(9)), "clock times"),
        (table(head="Time (V),crank,cam"), "unit 'V', which is not a unit of time"),
        (table(head="Time [ticks],crank,cam"), "unit 'ticks', which is not a unit of time"),
    ],
)
def test_what_can_not_be_a_recording(content: str, message: str, tmp_path: Path) -> None:
    assert message in refusal(tmp_path, content)


def test_two_time_columns_that_differ_are_refused(tmp_path: Path) -> None:
    rows = [(a, b, a + 0.001, c) for a, b, c in ROWS]
    content = table(head="Time [ms],crank [V],Time [ms],cam [V]", rows=rows)
    assert "more than one time column, and they differ" in refusal(tmp_path, content)


def test_one_column_of_samples_needs_the_interval(tmp_path: Path) -> None:
    content = "crank [V]\n" + "".join(f"{n % 7 * 0.5}\n" for n in range(50))
    assert "--interval" in refusal(tmp_path, content)
    recording = read_text(tmp_path, content, interval_s=1e-4)
    assert (recording.channel_names, recording.interval_s) == (("crank",), 1e-4)


def test_short_rows_in_between_are_missing_samples(tmp_path: Path) -> None:
    content = "Time [s],a [V],b [V]\n0,1,2\n1e-3,2\n2e-3,3,4\n3e-3,1,1\n4e-3,1,1\n"
    recording = read_text(tmp_path, content)
    np.testing.assert_array_equal(values(recording, "b"), [2, math.nan, 4, 1, 1])
    assert codes(recording) == ["samples-missing"]


def test_samples_before_the_trigger_keep_their_time(tmp_path: Path) -> None:
    recording = read_text(tmp_path, table(rows=[(a - 0.1, b, c) for a, b, c in ROWS]))
    assert recording.start_s == pytest.approx(-1e-4, abs=1e-12)
    assert recording.interval_s == 5e-6


def test_the_history_tells_the_dialect(tmp_path: Path) -> None:
    (step,) = read_text(tmp_path, "note\n" + table(";", decimal=",")).history
    assert step.name == "read"
    expected = {
        "reader": "text table",
        "kind": "samples",
        "separator": "semicolon",
        "decimal_mark": ",",
        "names_row": 2,
        "first_row": 3,
        "encoding": "utf-8",
    }
    assert expected.items() <= dict(step.settings).items()


def test_channels_are_single_precision_and_exact_to_it(tmp_path: Path) -> None:
    recording = read_text(tmp_path, table(form="%.9f"))
    assert values(recording, "crank").dtype == np.float32
    truth = np.array([float(f"{row[1]:.9f}") for row in ROWS])
    np.testing.assert_array_equal(values(recording, "crank"), truth.astype(np.float32))
