"""Simulations as files: the recording in an open format, its truth beside it."""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from crankwise.errors import MissingPackageError, UsageError
from crankwise.model.recording import EventChannel, Recording, SampledChannel
from crankwise.testing.simulate.load import load_spec
from crankwise.testing.simulate.presets import preset
from crankwise.testing.simulate.run import Simulation, simulate
from crankwise.testing.simulate.spec import SimulationSpec

TIME_UNITS = {"s": 1.0, "ms": 1e3, "us": 1e6}
TIME_DECIMALS = 10


@dataclass(frozen=True, slots=True)
class CsvDialect:
    """How a delimited text file is written.

    Attributes
    ----------
    delimiter, decimal, newline, encoding : str
    time_unit : str
        ``s``, ``ms`` or ``us``.
    units_row : bool
        Units in a row of their own instead of in the names.
    preamble : tuple of str
        Lines before the header.
    decimals : int
        Of the voltages.
    """

    delimiter: str = ","
    decimal: str = "."
    newline: str = "\n"
    encoding: str = "utf-8"
    time_unit: str = "s"
    units_row: bool = False
    preamble: tuple[str, ...] = ()
    decimals: int = 5

    def __post_init__(self) -> None:
        if self.time_unit not in TIME_UNITS:
            raise UsageError(f"time unit {self.time_unit!r} is not one of {', '.join(TIME_UNITS)}")
        if self.decimal not in ".," or self.decimal == self.delimiter:
            raise UsageError("decimal mark must be . or , and differ from the delimiter")


def write(simulation: Simulation, path: Path | str, *, dialect: CsvDialect | None = None) -> Path:
    """Save the recording by the suffix of ``path`` and the truth as ``<path>.truth.json``.

    Formats: ``.csv``, ``.tsv``, ``.npz``, ``.parquet``, ``.h5``, ``.wav`` (samples only) and
    ``.vcd`` (event lists only). Both files appear complete or not at all.

    Returns
    -------
    Path
        Of the truth.

    Raises
    ------
    UsageError
        The suffix is unknown or can't hold such a recording, or the folder can't be written.
    MissingPackageError
        ``.h5`` without h5py.
    """
    path = Path(path)
    suffix = path.suffix.lower()
    writers: dict[str, Callable[[Recording, BinaryIO], None]] = {
        ".csv": lambda recording, file: _csv(recording, file, dialect or CsvDialect()),
        ".tsv": lambda recording, file: _csv(recording, file, CsvDialect(delimiter="\t")),
        ".npz": _npz,
        ".parquet": _parquet,
        ".h5": _hdf5,
        ".wav": _wav,
        ".vcd": _vcd,
    }
    if suffix not in writers:
        raise UsageError(f"{path.name}: unknown format; use one of {', '.join(writers)}")
    truth_path = path.with_name(path.name + ".truth.json")
    text = json.dumps(simulation.truth.to_json(), indent=1, ensure_ascii=False, allow_nan=False)

    def write_truth(file: BinaryIO) -> None:
        file.write(text.encode() + b"\n")

    def write_recording(file: BinaryIO) -> None:
        writers[suffix](simulation.recording, file)

    _replace_together([(path, write_recording), (truth_path, write_truth)])
    return truth_path


def _replace_together(jobs: list[tuple[Path, Callable[[BinaryIO], None]]]) -> None:
    """Write all files beside their final places, then move them there."""
    drafts = [path.with_name(f".{secrets.token_hex(8)}.part") for path, _ in jobs]
    try:
        for (_, job), draft in zip(jobs, drafts, strict=True):
            with draft.open("wb") as file:
                job(file)
        for (path, _), draft in zip(jobs, drafts, strict=True):
            draft.replace(path)
    except OSError as error:
        raise UsageError(
            f"{jobs[0][0]}: can't be written ({error.strerror or error}); choose another place"
        ) from error
    finally:
        for draft in drafts:
            draft.unlink(missing_ok=True)


def simulate_to_file(
    spec_or_preset: SimulationSpec | str | Path,
    output: Path | str,
    *,
    seed: int,
    dialect: CsvDialect | None = None,
) -> tuple[Simulation, Path]:
    """Simulate and save in one call.

    Parameters
    ----------
    spec_or_preset : SimulationSpec, str or Path
        A specification, the name of a preset, or the path of a TOML file.
    output : Path or str
    seed : int
    dialect : CsvDialect, optional
        How a text table is written.

    Returns
    -------
    (Simulation, Path)
        What was simulated, and where its truth was written.
    """
    if isinstance(spec_or_preset, SimulationSpec):
        spec = spec_or_preset
    elif isinstance(spec_or_preset, Path):
        spec = load_spec(spec_or_preset)
    else:
        spec = preset(spec_or_preset)
    simulation = simulate(spec, seed=seed)
    return simulation, write(simulation, output, dialect=dialect)


def _sampled(recording: Recording) -> list[SampledChannel]:
    return [channel for channel in recording.channels if isinstance(channel, SampledChannel)]


def _table(recording: Recording) -> dict[str, np.ndarray[Any, Any]]:
    """Columns of a table: ``time_s`` and the channels; event lists get a row for each change."""
    sampled = _sampled(recording)
    if recording.interval_s is not None:
        places = np.arange(len(sampled[0].values), dtype=np.float64)
        time = np.round(recording.start_s + places * recording.interval_s, 12)
        return {"time_s": time} | {channel.name: channel.values for channel in sampled}
    events = [channel for channel in recording.channels if isinstance(channel, EventChannel)]
    changes = [channel.times_s for channel in events]
    time = np.unique(np.concatenate(([recording.start_s], *changes)))
    columns: dict[str, np.ndarray[Any, Any]] = {"time_s": time}
    for channel in events:
        states = np.concatenate(([channel.initial_state], channel.states)).astype(np.int8)
        columns[channel.name] = states[np.searchsorted(channel.times_s, time, side="right")]
    return columns


def _csv(recording: Recording, file: BinaryIO, dialect: CsvDialect) -> None:
    import polars as pl  # noqa: PLC0415  (slow to import)

    columns = _table(recording)
    unit = "V" if recording.interval_s is not None else ""
    names = [("Time", dialect.time_unit)] + [(name, unit) for name in list(columns)[1:]]
    header = list(dialect.preamble)
    if dialect.units_row:
        header.append(dialect.delimiter.join(name for name, _ in names))
        header.append(dialect.delimiter.join(f"({sign})" if sign else "" for _, sign in names))
    else:
        titles = [f"{name} ({sign})" if sign else name for name, sign in names]
        header.append(dialect.delimiter.join(titles))
    scale = TIME_UNITS[dialect.time_unit]
    time = np.round(columns.pop("time_s") * scale, TIME_DECIMALS)
    values: dict[str, Any] = {name: _rounded(column, dialect) for name, column in columns.items()}
    frame = pl.DataFrame({"time": time, **values})
    body = frame.write_csv(
        include_header=False,
        separator=dialect.delimiter,
        line_terminator=dialect.newline,
        decimal_comma=dialect.decimal == ",",
        float_scientific=False,
    )
    text = dialect.newline.join(header) + dialect.newline + body
    file.write(text.encode(dialect.encoding))


def _rounded(column: np.ndarray[Any, Any], dialect: CsvDialect) -> np.ndarray[Any, Any]:
    """Round volts to the digits of the dialect; states stay whole numbers."""
    if column.dtype.kind != "f":
        return column
    return np.round(column.astype(np.float64), dialect.decimals)


def _binary_columns(recording: Recording) -> dict[str, np.ndarray[Any, Any]]:
    """Columns for binary formats; the time column only where the steps are unequal."""
    columns = _table(recording)
    if recording.interval_s is not None:
        columns.pop("time_s")
    return columns


def _named_columns(recording: Recording) -> dict[str, np.ndarray[Any, Any]]:
    """Binary columns with the unit in their names, where the format has no better place."""
    columns = _binary_columns(recording)
    if recording.interval_s is None:
        return columns
    return {f"{name} (V)": values for name, values in columns.items()}


def _time_base(recording: Recording) -> dict[str, float]:
    if recording.interval_s is None:
        return {}
    return {"interval_s": recording.interval_s, "start_s": recording.start_s}


def _npz(recording: Recording, file: BinaryIO) -> None:
    arrays: dict[str, Any] = {**_time_base(recording), **_named_columns(recording)}
    np.savez_compressed(file, **arrays)


def _parquet(recording: Recording, file: BinaryIO) -> None:
    import polars as pl  # noqa: PLC0415  (slow to import)

    metadata = {name: repr(value) for name, value in _time_base(recording).items()}
    pl.DataFrame(_named_columns(recording)).write_parquet(file, metadata=metadata)


def _hdf5(recording: Recording, file: BinaryIO) -> None:
    try:
        import h5py  # noqa: PLC0415  (an extra)
    except ModuleNotFoundError as error:
        raise MissingPackageError(
            'writing .h5 needs h5py; install it with: pip install "crankwise[formats]"'
        ) from error
    with h5py.File(file, "w", track_order=True) as store:
        for name, values in _binary_columns(recording).items():
            dataset = store.create_dataset(name, data=values)
            for key, value in _time_base(recording).items():
                dataset.attrs[key] = value
            dataset.attrs["units"] = "s" if name == "time_s" else _unit(recording)


def _unit(recording: Recording) -> str:
    return "" if recording.interval_s is None else "V"


def _wav(recording: Recording, file: BinaryIO) -> None:
    from scipy.io import wavfile  # noqa: PLC0415  (slow to import)

    rate = 0.0 if recording.interval_s is None else 1.0 / recording.interval_s
    if recording.interval_s is None or abs(rate - round(rate)) > 1e-6 * rate:
        raise UsageError(
            "WAV holds samples at a whole number of hertz; this recording has none: write .csv"
        )
    values = np.column_stack([channel.values for channel in _sampled(recording)])
    wavfile.write(file, round(rate), values.astype(np.float32))


def _vcd(recording: Recording, file: BinaryIO) -> None:
    """Write IEEE 1364 value changes at 1 ps."""
    columns = _table(recording)
    if recording.interval_s is not None:
        raise UsageError('VCD holds state changes: set kind = "events" in [scope], or write .csv')
    time = np.round((columns.pop("time_s") - recording.start_s) * 1e12).astype(np.int64)
    marks = [chr(33 + place) for place in range(len(columns))]
    lines = ["$timescale 1 ps $end", "$scope module recording $end"]
    lines += [
        f"$var wire 1 {mark} {name.replace(' ', '_')} $end"
        for mark, name in zip(marks, columns, strict=True)
    ]
    lines += ["$upscope $end", "$enddefinitions $end"]
    states = np.column_stack(list(columns.values()))
    changed = np.vstack((np.ones(len(marks), dtype=np.bool_), np.diff(states, axis=0) != 0))
    for row, moment in enumerate(time.tolist()):
        lines.append(f"#{moment}")
        lines += [f"{states[row, place]}{marks[place]}" for place in np.flatnonzero(changed[row])]
    file.write(("\n".join(lines) + "\n").encode())
