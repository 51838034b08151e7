"""The two tables, and what of them was made before: finished files, and parts beside them."""

from __future__ import annotations

import io
import secrets
import shutil
from collections.abc import Iterable, Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any, Final

import polars as pl

from crankwise.batch.plan import Plan
from crankwise.batch.sources import Source, shown_names
from crankwise.batch.work import REMEMBERED, EdgeRow, FailureRow, Outcome
from crankwise.document import write_whole
from crankwise.errors import UsageError

_TYPES: Final = {
    "str": pl.String(), "float": pl.Float64(), "int": pl.Int64(), "Kind": pl.String(),
}  # fmt: skip


def _schema(kind: type[EdgeRow | FailureRow]) -> dict[str, pl.DataType]:
    return {field.name: _TYPES[str(field.type).removesuffix(" | None")] for field in fields(kind)}


EDGES: Final = _schema(EdgeRow)
FAILURES: Final = _schema(FailureRow)
_BOTH: Final = EDGES | FAILURES
_STATE: Final = ("path", "size_bytes", "changed", "plan")
_RECORDING: Final = "recording"


class Tables:
    """What is known of the recordings so far, kept beside the output as it grows.

    A part holds rows of both tables, so that what it says of a recording is whole; a failure is
    told by its kind.

    Parameters
    ----------
    output : Path
        The table of results; that of failures lies beside it.
    """

    def __init__(self, output: Path) -> None:
        self.output = output
        self.failures = output.with_name(f"{output.stem}.failures{output.suffix}")
        self._parts = output.with_name(f"{output.name}.parts")
        self._frames: list[pl.DataFrame] = []

    def begin(self, sources: Sequence[Source], plan: Plan) -> set[str]:
        """Take over what was made before of these sources by this plan; returns their paths.

        Raises
        ------
        UsageError
            The output holds something else.
        """
        known = self._still_so(self._made_before(), sources, plan)
        self._frames = [known]
        return set(known["path"].unique())

    def keep(self, outcomes: Iterable[Outcome]) -> None:
        """Keep some outcomes in a part of its own.

        Raises
        ------
        UsageError
            The place can't be written; earlier parts stay.
        """
        frame = _frame(row for outcome in outcomes for row in outcome.rows())
        if frame.is_empty():
            return
        self._frames.append(frame)
        try:
            self._parts.mkdir(exist_ok=True)
        except OSError as error:
            raise _no_room(self._parts, error.strerror) from error
        _write(frame, self._parts / f"{secrets.token_hex(8)}.parquet")

    def finish(self) -> tuple[pl.DataFrame, pl.DataFrame]:
        """Write both tables in the order of the paths, take the parts away, return both.

        Raises
        ------
        UsageError
            The place can't be written; the parts stay.
        """
        rows = pl.concat(self._frames)
        names = shown_names(sorted(rows["path"].unique()))
        rows = rows.with_columns(
            pl.col("path").replace_strict(names, return_dtype=pl.String()).alias(_RECORDING)
        ).sort("path", maintain_order=True)
        edges = _of(rows, EDGES, is_failure=False)
        failures = _of(rows, FAILURES, is_failure=True)
        # Failures first: who finds results finds the failures that belong to them.
        _write(failures, self.failures)
        _write(edges, self.output)
        shutil.rmtree(self._parts, ignore_errors=True)
        return edges, failures

    def _made_before(self) -> pl.DataFrame:
        """Rows of finished tables, and of parts that an earlier run left."""
        tables = ((self.output, EDGES), (self.failures, FAILURES))
        found = [_read(path, schema) for path, schema in tables if path.exists()]
        found += [_read(path, _BOTH) for path in sorted(self._parts.glob("*.parquet"))]
        return pl.concat([_frame(()), *found], how="diagonal")

    @staticmethod
    def _still_so(rows: pl.DataFrame, sources: Sequence[Source], plan: Plan) -> pl.DataFrame:
        """Rows of recordings that stand as they stood, without failures that are tried again."""
        now = pl.DataFrame(
            [(s.path, s.size_bytes, s.changed, plan.digest) for s in sources],
            schema={name: _BOTH[name] for name in _STATE},
            orient="row",
        )
        same = rows.join(now, on=_STATE, how="semi")
        again = same.filter(pl.col("kind").is_not_null() & ~pl.col("kind").is_in(REMEMBERED))
        same = same.join(again, on="path", how="anti")
        # Cut off between the tables and the parts, the same rows are found in both.
        return same.unique(maintain_order=True, keep="first")


def _frame(rows: Iterable[dict[str, Any]]) -> pl.DataFrame:
    return pl.DataFrame(list(rows), schema=_BOTH)


def _of(rows: pl.DataFrame, schema: dict[str, pl.DataType], *, is_failure: bool) -> pl.DataFrame:
    wanted = pl.col("kind").is_not_null() if is_failure else pl.col("kind").is_null()
    return rows.filter(wanted).select(_RECORDING, *schema)


def _read(path: Path, schema: dict[str, pl.DataType]) -> pl.DataFrame:
    """Read what an earlier run wrote.

    Raises
    ------
    UsageError
        It is something else.
    """
    try:
        # Whole, as the file is replaced later.
        return (
            pl.read_parquet(io.BytesIO(path.read_bytes()))
            .select(list(schema))
            .cast(pl.Schema(schema))
        )
    except (OSError, pl.exceptions.PolarsError) as error:
        raise UsageError(
            f"{path} is there already and is no table of a batch: choose another name with -o"
        ) from error


def _write(frame: pl.DataFrame, path: Path) -> None:
    data = io.BytesIO()
    frame.write_parquet(data)
    try:
        write_whole(path, data.getvalue(), keep_sha256=())
    except UsageError as error:
        raise _no_room(path, str(error)) from error


def _no_room(path: Path, why: str | None) -> UsageError:
    return UsageError(
        f"{path.name} can't be written ({why}); what was kept before stays: make room, then give "
        "the same command again, and it goes on from there"
    )
