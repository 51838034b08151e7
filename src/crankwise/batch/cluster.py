"""Workers: processes of this computer, or those of a Dask scheduler."""

from __future__ import annotations

import logging
import os
import signal
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from crankwise import __version__
from crankwise.batch.plan import Plan
from crankwise.batch.sources import Source
from crankwise.batch.work import Outcome, measure_all
from crankwise.errors import MissingPackageError, UsageError

if TYPE_CHECKING:
    from distributed import Client, Future

_CONNECT_S: Final = 10
_WORKERS_S: Final = 30


@dataclass(frozen=True, slots=True)
class Done:
    """A handful of recordings: their outcomes, or ``None`` if their worker was killed."""

    sources: tuple[Source, ...]
    outcomes: list[Outcome] | None


class Workers:
    """Workers that measure by one plan.

    Attributes
    ----------
    count : int
        Recordings that they measure at a time.
    """

    def __init__(self, client: Client, plan: Plan, where: str) -> None:
        self._client = client
        self._plan = plan
        self._where = where
        self.count = max(1, sum(client.nthreads().values()))

    def measure(self, handfuls: Sequence[tuple[Source, ...]]) -> Iterator[Done]:
        """Measure, and yield each handful as it is done, in any order.

        Raises
        ------
        UsageError
            The scheduler has gone.
        """
        from distributed import as_completed  # noqa: PLC0415  an extra

        name = _name(self._plan)
        futures = {
            self._client.submit(_measure_there, sources, name, pure=False): sources
            for sources in handfuls
        }
        for future in as_completed(futures, loop=self._client.loop):
            yield Done(futures.pop(future), self._outcomes(future))

    def _outcomes(self, future: Future[Any]) -> list[Outcome] | None:
        """Fetch what came of a handful.

        A worker may also be killed, and the scheduler go, between its end and the fetching.
        """
        from distributed import CancelledError, KilledWorker  # noqa: PLC0415  an extra

        try:
            outcomes: list[Outcome] = future.result()
        except KilledWorker:
            return None
        except (CancelledError, OSError) as error:
            raise UsageError(
                f"the scheduler at {self._where} has gone; what was done is kept: start it again, "
                "then give the same command, and it goes on from there"
            ) from error
        except Exception as error:
            raise UsageError(f"the workers at {self._where} can't measure ({error})") from error
        return outcomes


@contextmanager
def workers(plan: Plan, *, scheduler: str | None, processes: int | None) -> Iterator[Workers]:
    """Lend workers: those of a scheduler, else processes of this computer.

    Parameters
    ----------
    plan : Plan
        Sent to every worker once, also to those that come later.
    scheduler : str, optional
        Address, such as ``tcp://host:8786``.
    processes : int, optional
        How many processes; as many as there are cores if not given.

    Raises
    ------
    MissingPackageError
        The package that hands out the work is not installed.
    UsageError
        The scheduler can't be reached, has no workers, or they run another version.
    """
    _quiet()
    with _client(scheduler, processes) as client:
        where = scheduler or "this computer"
        if scheduler is not None:
            _check_workers(client, where)
        client.register_plugin(_equipment(plan))
        try:
            yield Workers(client, plan, where)
        finally:
            if client.status == "running":  # else the scheduler has gone
                client.unregister_worker_plugin(_name(plan))


@contextmanager
def _client(scheduler: str | None, processes: int | None) -> Iterator[Client]:
    try:
        import dask  # noqa: PLC0415  an extra
        from distributed import Client, LocalCluster  # noqa: PLC0415  an extra
    except ImportError as error:
        raise MissingPackageError(
            f"batch needs the package {error.name}: install crankwise[batch]"
        ) from error
    if scheduler is not None:
        try:
            client = Client(scheduler, timeout=_CONNECT_S, set_as_default=False)
        except (OSError, ValueError, TimeoutError) as error:
            raise UsageError(
                f"no scheduler answers at {scheduler}: start one with dask scheduler, or leave "
                "--scheduler out to measure on this computer"
            ) from error
        with _closed(client):
            yield client
        return
    with dask.config.set(_LOCALLY):
        with _interrupts_ignored():
            cluster = LocalCluster(
                n_workers=processes or _cores(), threads_per_worker=1, processes=True,
                dashboard_address="127.0.0.1:0", silence_logs=logging.CRITICAL,
            )  # fmt: skip
        with cluster, _closed(Client(cluster, set_as_default=False)) as client:
            yield client


@contextmanager
def _interrupts_ignored() -> Iterator[None]:
    """Start processes that leave Ctrl-C to this one, which then ends them."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


_LOCALLY: Final = {
    # A killed worker is told at once; the recording is tried again by itself.
    "distributed.scheduler.allowed-failures": 0,
    # One recording has one core.
    "distributed.nanny.pre-spawn-environ.POLARS_MAX_THREADS": 1,
    # Giving memory back after every array, as workers do by default, costs a fifth of the time.
    "distributed.nanny.pre-spawn-environ.MALLOC_TRIM_THRESHOLD_": 1 << 28,
}


@contextmanager
def _closed(client: Client) -> Iterator[Client]:
    try:
        yield client
    finally:
        with suppress(Exception):  # the scheduler may have gone
            client.close(timeout=2)


def _cores() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _check_workers(client: Client, where: str) -> None:
    """Wait for the first worker, and refuse those of another version.

    Raises
    ------
    UsageError
        There is none, or it would measure otherwise.
    """
    try:
        client.wait_for_workers(1, timeout=_WORKERS_S)
    except TimeoutError as error:
        raise UsageError(
            f"the scheduler at {where} has no workers: start one with dask worker {where}"
        ) from error
    try:
        versions = set(client.run(_version_there).values())
    except ModuleNotFoundError as error:
        raise UsageError(
            f"the workers at {where} lack the package {error.name}: install Crankwise "
            f"{__version__} there"
        ) from error
    if versions != {__version__}:
        found = ", ".join(sorted(versions))
        raise UsageError(
            f"the workers at {where} run Crankwise {found}, this is {__version__}: install the "
            "same version everywhere"
        )


def _version_there() -> str:
    return __version__


def _quiet() -> None:
    """What workers go through is told by the table of failures, not by their log."""
    logging.getLogger("distributed").setLevel(logging.CRITICAL)


def _name(plan: Plan) -> str:
    return f"crankwise-{plan.digest}"


def _equipment(plan: Plan) -> Any:
    """The plan as what every worker is given when it starts."""
    from crankwise.batch.equipment import Equipment  # noqa: PLC0415  an extra

    return Equipment(plan, _name(plan))


def _measure_there(sources: tuple[Source, ...], name: str) -> list[Outcome]:
    """Measure by the plan that this worker was given."""
    from distributed import get_worker  # noqa: PLC0415  an extra

    equipment: Any = get_worker().plugins[name]
    return measure_all(sources, equipment.plan)
