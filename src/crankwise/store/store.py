"""The store as one object: recordings, the known-good shelf, jobs, history."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from platformdirs import user_cache_path

from crankwise.model.engine import Engine
from crankwise.model.kept import Backup, VerifyReport
from crankwise.model.policy import Policy
from crankwise.store.backup import back_up
from crankwise.store.database import Database
from crankwise.store.history import AsOf, History, vehicle_history
from crankwise.store.jobs import Jobs
from crankwise.store.originals import Originals
from crankwise.store.recordings import Recordings
from crankwise.store.remembered import Remembered
from crankwise.store.shelf import Shelf
from crankwise.store.shop import Shop
from crankwise.store.stamp import Stamp, stamp_of
from crankwise.store.verify import Progress, verify
from crankwise.store.watched import Watched

_MOST_HISTORIES: Final = 100


class Store:
    """A place where recordings, known-goods and jobs are kept; ``with`` closes it.

    Attributes
    ----------
    where : str
        The place in words, without a password.
    recordings : Recordings
    shelf : Shelf
    jobs : Jobs
    shop : Shop
    watched : Watched
    folder : Path or None
        Where the database file lies; ``None`` for a database elsewhere.
    levels_folder : Path
        Where levels of the recordings are kept, which may be deleted at any time: beside the
        database file, or in this user's cache.
    """

    def __init__(self, database: Database, originals: Originals | None) -> None:
        self._database = database
        self._originals = originals
        self.where = database.where
        self.folder = Path(database.where).parent if database.is_sqlite else None
        beside = self.folder or user_cache_path("crankwise", appauthor=False)
        self.levels_folder = beside / "levels"
        self.recordings = Recordings(database, originals, self.levels_folder)
        self.shelf = Shelf(database)
        self.jobs = Jobs(database)
        self.shop = Shop(database)
        self.watched = Watched(database)
        self._histories: Remembered[History] = Remembered(_MOST_HISTORIES)

    def history(
        self,
        vehicle_id: int,
        *,
        known_good_id: str | None = None,
        policy: Policy | None = None,
        engine: Engine | None = None,
        as_of: AsOf | None = None,
    ) -> History:
        """Shifts of a vehicle's cams over its mileage, see :func:`vehicle_history`."""
        return vehicle_history(
            self.jobs,
            self.shelf,
            vehicle_id,
            known_good_id=known_good_id,
            policy=policy,
            engine=engine,
            as_of=as_of,
            remembered=self._histories,
        )

    def stamp(self) -> Stamp:
        """Return a value that changes whenever anything in the store does."""
        return stamp_of(self._database)

    def verify(self, *, again: bool = False, progress: Progress | None = None) -> VerifyReport:
        """Check every original and every row, see :func:`crankwise.store.verify.verify`."""
        return verify(self._database, self._originals, again=again, progress=progress)

    def back_up(self, folder: Path, *, progress: Callable[[float], None] | None = None) -> Backup:
        """Copy the store into a new folder, see :func:`crankwise.store.backup.back_up`."""
        return back_up(self._database, self._originals, folder, progress=progress)

    def close(self) -> None:
        """Let go of the database."""
        self._database.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
