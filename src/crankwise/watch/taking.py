"""One file of a watched folder: read, measured, compared, kept."""

from __future__ import annotations

import logging
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any, Final

from crankwise import document, pipeline, readers
from crankwise.document.files import sha256_of
from crankwise.errors import CrankwiseError, NotMeasurableError, UnreadableError, UsageError
from crankwise.model.kept import MeasureSettings
from crankwise.watch.files import state_of
from crankwise.workshop.fitting import Fitting, compare_fitting, find_fitting
from crankwise.workshop.folder import Told, put_with_visit, told_by
from crankwise.workshop.judging import judge_visit
from crankwise.workshop.recording import keep_measured

if TYPE_CHECKING:
    from crankwise.model.comparison import Comparison
    from crankwise.model.kept import KeptMeasurement
    from crankwise.model.measurement import Measurement
    from crankwise.model.seen import FileState, Seen
    from crankwise.store import Store

_CUT: Final = "last-row-incomplete"
_log = logging.getLogger(__name__)


class NotYet(Exception):  # noqa: N818  nothing is wrong
    """The file goes on, or is locked: look at it again later."""


class Gone(Exception):  # noqa: N818  nothing is wrong
    """The file is not there any more."""


@dataclass(frozen=True, slots=True)
class Result:
    """A comparison with what there is to say of it, or why there is none; and the visit."""

    comparison: Comparison | None
    text: str
    visit_id: int | None = None


class Taking:
    """Takes files of one folder into a store.

    Parameters
    ----------
    store : Store
    folder : Path
        Absolute.
    family : str, optional
        Engine family whose known-goods are compared with; else those that fit.
    """

    def __init__(self, store: Store, folder: Path, *, family: str | None) -> None:
        self._store = store
        self._folder = folder
        self._family = family

    def take(self, file: FileState, *, is_sure: bool) -> Seen | None:
        """Take a file, and keep and return what became of it; ``None`` for a saved document.

        Parameters
        ----------
        file : FileState
        is_sure : bool
            The file is complete for certain, so that a damaged end is its own.

        Raises
        ------
        NotYet
            It is not complete after all.
        Gone
            It is not there any more.
        CrankwiseError
            The store can't be used; the file is none the worse.
        """
        path = self._folder / file.path
        if document.looks_like_document(path):
            return None
        try:
            sha256 = _digest(path, is_sure=is_sure)
        except UnreadableError as error:
            return self._add(file, outcome="refused", text=str(error))
        before = self._store.watched.first_of(sha256)
        kept = self._kept(sha256)
        if kept is None:
            try:
                measurement = self._measured(file, sha256, is_sure=is_sure)
            except CrankwiseError as error:
                return self._add(file, outcome="refused", text=str(error), sha256=sha256)
            kept = keep_measured(self._store, path, measurement, settings=MeasureSettings())
        told = _told(file)
        result = self._result(told, kept, before)
        if result is None:
            assert before is not None  # noqa: S101  only what was taken before needs nothing more
            return self._add(file, outcome="repeated", text=_same_as(before, file), sha256=sha256)
        again = [_same_as(before, file)] if before is not None else []
        return self._add(
            file,
            outcome="measured" if result.comparison is None else "compared",
            text="; ".join(filter(None, [result.text, *again])),
            sha256=sha256,
            measurement_id=kept.id,
            comparison=result.comparison,
            visit_id=result.visit_id,
        )

    def _add(self, file: FileState, **values: Any) -> Seen:
        return self._store.watched.add(str(self._folder), file, **values)

    def _kept(self, sha256: str) -> KeptMeasurement | None:
        """What the store has of these bytes, however they came there."""
        try:
            return self._store.recordings.latest(sha256)
        except UsageError:
            return None

    def _measured(self, file: FileState, sha256: str, *, is_sure: bool) -> Measurement:
        """Measure, unless the file goes on meanwhile."""
        measurement = _measurement(self._folder / file.path, is_sure=is_sure)
        is_cut = any(finding.code == _CUT for finding in measurement.findings)
        moved = state_of(self._folder, file.path) != file
        if moved or measurement.recording.sha256 != sha256 or (is_cut and not is_sure):
            raise NotYet
        return measurement

    def _result(self, told: Told, kept: KeptMeasurement, before: Seen | None) -> Result | None:
        """Compare; ``None`` if this recording was taken before and its name tells nothing new."""
        if told.lacks:
            return None if before is not None else self._of_no_vehicle(kept.measurement)
        try:
            put = put_with_visit(self._store, told, kept.recording_sha256, family=self._family)
        except UsageError as error:
            if before is not None:
                return None
            alone = self._of_no_vehicle(kept.measurement)
            return replace(alone, text=f"{alone.text}; of no vehicle: {error}")
        if put.was_there and before is not None:
            return None
        # What is known of the vehicle goes before what was said of the whole folder.
        known = put.file.vehicle.family or put.file.known_goods
        try:
            judged = judge_visit(
                self._store,
                put.file,
                put.visit,
                sha256=kept.recording_sha256,
                family=None if known else self._family,
            )
        except (UsageError, NotMeasurableError) as error:
            return Result(None, f"{put.words}; {error}", put.visit.visit.id)
        # Parted by semicolons, so that each remark can be told in another language.
        words = f"{put.words}; {judged.chosen.why}"
        return Result(judged.kept.comparison, words, put.visit.visit.id)

    def _of_no_vehicle(self, measurement: Measurement) -> Result:
        if not any(cam.edges for cam in measurement.cams):
            told = [item.text for item in measurement.findings if item.level != "note"]
            return Result(None, told[0] if told else "no cam was recorded")
        try:
            fitting = find_fitting(self._store, measurement, family=self._family)
            comparison = compare_fitting(self._store, measurement, fitting)
        except (UsageError, NotMeasurableError) as error:
            return Result(None, str(error))
        return Result(comparison, _against(fitting))


def _digest(path: Path, *, is_sure: bool) -> str:
    """Digest of the file; raises UnreadableError where it stays locked."""
    try:
        return sha256_of(path)
    except FileNotFoundError:
        raise Gone from None
    except OSError as error:
        if not is_sure:
            raise NotYet from None
        raise UnreadableError(
            f"{path.name}: it can't be opened ({error.strerror}): close the program that holds it, "
            "or check the rights on it"
        ) from error


def _measurement(path: Path, *, is_sure: bool) -> Measurement:
    """Read and measure.

    Raises
    ------
    UnreadableError, NotMeasurableError
        It can't be; what goes wrong inside counts as unreadable, for no file may stop a watch.
    NotYet
        It can't be read, and may not be whole.
    """
    try:
        return pipeline.measure(readers.read(path))
    except UnreadableError:
        if not is_sure:
            raise NotYet from None
        raise
    except CrankwiseError:
        raise
    except MemoryError:
        raise UnreadableError(f"{path.name}: too large for this computer's memory") from None
    except Exception as error:
        _log.exception("measuring %s failed", path.name)
        raise UnreadableError(
            f"{path.name}: something went wrong inside Crankwise ({type(error).__name__}: "
            f"{error}); please report it with this file"
        ) from error


def _told(file: FileState) -> Told:
    """What the name tells; the day on which it was saved stands in for a date."""
    told = told_by(Path(PurePosixPath(file.path)))
    if told.date is not None:
        return told
    saved = datetime.fromtimestamp(file.changed_ns / 1e9, tz=UTC).astimezone()
    return replace(told, date=saved.date().isoformat())


def _against(fitting: Fitting) -> str:
    count = len(fitting.known_goods)
    return f"against {count} {'known-goods' if count > 1 else 'known-good'} of {fitting.family}"


def _same_as(before: Seen, file: FileState) -> str:
    if before.file.path == file.path:
        return "the same recording as before"
    return f"the same recording as {before.file.path}"
