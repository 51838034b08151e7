"""What pages and the HTTP API let the workshop do; long work goes on beside them.

Each function takes the desk. What takes long returns a :class:`~crankwise.web.works.Work` at once:
follow it at ``/api/works/{id}/events``. When it is done, its ``goes_to`` is the page to show and
its ``step`` says what came of it; when it has failed, its ``error`` says in one line what to do.
What the request itself gets wrong (no such visit, a picture instead of a recording) is raised here
and now, as any other error of ours.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

from crankwise import readers
from crankwise.errors import (
    CrankwiseError,
    NotFoundError,
    NotMeasurableError,
    UnreadableError,
    UsageError,
)
from crankwise.language import say, told
from crankwise.model.job import JobFile, Purpose, VisitFile
from crankwise.model.kept import MeasureSettings
from crankwise.model.shelf import ImportReport
from crankwise.store import Store
from crankwise.web.desk import Desk
from crankwise.web.works import Progress, Work
from crankwise.workshop.judging import judge_visit
from crankwise.workshop.recording import record_visit
from crankwise.workshop.scenario import fill_store


def visit_file(store: Store, visit_id: int) -> tuple[JobFile, VisitFile]:
    """Return a visit with the vehicle's file that it is in; raises NotFoundError."""
    file = store.jobs.file_of_visit(visit_id)
    return file, next(visit for visit in file.visits if visit.visit.id == visit_id)


def address_of(visit_id: int) -> str:
    """Return the address of a visit's page."""
    return f"/visits/{visit_id}"


def place_of(visit_id: int) -> str:
    """Return what the work of a visit is filed under, see :meth:`Works.about`."""
    return f"visit {visit_id}"


def record(
    desk: Desk,
    visit_id: int,
    upload_ids: Sequence[str],
    *,
    purpose: Purpose,
    crank: str | None = None,
    cams: Mapping[str, str] | None = None,
    interval_s: float | None = None,
) -> Work:
    """Take uploads as recordings of a visit: read, measure, keep, and compare where that can be.

    A recording that nothing on the shelf can be compared with is kept all the same; ``step`` says
    why there is no comparison yet. One that can't be measured is not kept: its upload stays for
    another try with other roles or a sampling interval, see :func:`channels_of`.

    Parameters
    ----------
    desk : Desk
    visit_id : int
    upload_ids : sequence of str
        One or more, taken in this order; those that fail do not hold up the others.
    purpose : {"diagnosis", "before-repair", "after-repair", "check"}
    crank : str, optional
        Channel of the crank; found if not given.
    cams : mapping of role to channel, optional
        For example ``{"intake": "B"}``; found if not given.
    interval_s : float, optional
        Sampling interval in seconds, for files without a time column.

    Returns
    -------
    Work
        Goes to the visit's page.

    Raises
    ------
    NotFoundError
        No such visit or upload.
    UnreadableError
        A file is certainly no recording; its upload is gone.
    """
    desk.store.jobs.visit(visit_id)
    if not upload_ids:
        raise UsageError(say("Choose a recording first."))
    names = [desk.uploads.get(identifier).name for identifier in upload_ids]
    for identifier in upload_ids:
        refuse_others(desk, identifier)

    def job(tell: Progress) -> str:
        failed: list[CrankwiseError] = []
        for place, identifier in enumerate(upload_ids):
            part = _part(tell, place, len(upload_ids))
            try:
                with desk.uploads.take(identifier) as path:
                    _, visit = visit_file(desk.store, visit_id)
                    kept = record_visit(
                        desk.store, visit, path, purpose=purpose, crank=crank, cams=cams,
                        interval_s=interval_s, levels=desk.levelling.cache, progress=part,
                    )  # fmt: skip
                part(_compared(desk, visit_id, kept.recording_sha256, part), 1.0)
            except CrankwiseError as error:
                failed.append(error)
        _raise_first(failed, others=len(upload_ids) - len(failed))
        return address_of(visit_id)

    place = place_of(visit_id)
    return desk.works.start(", ".join(names), job, about=place, uploads=upload_ids)


def measure_again(
    desk: Desk,
    visit_id: int,
    sha256: str,
    *,
    crank: str | None = None,
    cams: Mapping[str, str] | None = None,
    interval_s: float | None = None,
) -> Work:
    """Measure a kept recording of a visit with other roles, keep the result, and compare again.

    Parameters are those of :func:`record`; ``sha256`` names the recording. Goes to the visit's
    page.

    Raises
    ------
    NotFoundError
        No such visit, or it has no such recording.
    """
    recording = _recording_of(desk.store, visit_id, sha256)
    settings = MeasureSettings(
        crank=crank, cams=dict(cams) if cams else None, interval_s=interval_s
    )

    def job(tell: Progress) -> str:
        kept = desk.store.recordings.measure(recording[0], settings=settings, progress=_told(tell))
        tell(_compared(desk, visit_id, kept.recording_sha256, tell), 1.0)
        return address_of(visit_id)

    return desk.works.start(recording[1], job, about=place_of(visit_id))


def compare(
    desk: Desk,
    visit_id: int,
    *,
    sha256: str | None = None,
    family: str | None = None,
    known_good_ids: Sequence[str] = (),
    service_limit_deg: float | None = None,
) -> Work:
    """Compare a measured recording of a visit and keep the comparison; goes to the visit's page.

    Parameters
    ----------
    desk : Desk
    visit_id : int
    sha256 : str, optional
        The recording; the newest if not given.
    family : str, optional
        Engine family whose known-goods are taken, whatever the vehicle has of its own.
    known_good_ids : sequence of str
        These known-goods and no others.
    service_limit_deg : float, optional
        The limit that service information gives, crank degrees.

    Raises
    ------
    NotFoundError
        No such visit or known-good, or the visit has no such recording.
    """
    file, visit = visit_file(desk.store, visit_id)
    chosen = None if sha256 is None else _recording_of(desk.store, visit_id, sha256)[0]
    desk.store.shelf.load(known_good_ids)

    def job(tell: Progress) -> str:
        tell(say("comparing"), 0.1)
        judged = judge_visit(
            desk.store, file, visit, sha256=chosen, family=family, known_good_ids=known_good_ids,
            service_limit_deg=service_limit_deg,
        )  # fmt: skip
        tell(_compared_with(judged.chosen.why), 1.0)
        return address_of(visit_id)

    return desk.works.start(f"{file.vehicle.label}, {visit.visit.date}", job)


def channels_of(desk: Desk, upload_id: str, *, interval_s: float | None = None) -> tuple[str, ...]:
    """Return the channels of an upload that could not be measured by itself; it stays.

    Raises
    ------
    NotFoundError
        There is no such upload.
    UnreadableError
        It is no recording, or lacks its sampling interval.
    """
    with desk.uploads.lend(upload_id) as path:
        return tuple(readers.read(path, interval_s=interval_s).channel_names)


def import_known_goods(desk: Desk, upload_id: str) -> ImportReport:
    """Take known-goods of another workshop from an upload; what is here stays as it is.

    Raises
    ------
    NotFoundError
        There is no such upload.
    UnreadableError
        The file holds no known-goods; its upload is gone.
    """
    try:
        with desk.uploads.take(upload_id) as path:
            return desk.store.shelf.import_file(path)
    except UnreadableError as error:
        name = desk.uploads.get(upload_id).name
        desk.uploads.remove(upload_id)
        if name.casefold().endswith((".json", ".zip")):
            raise
        words = say(
            "{name}: known-goods come as .json or .zip. If this is a recording of a healthy "
            "engine, begin a visit with it, and keep it from there",
            name=name,
        )
        raise UnreadableError(words) from error


def fill_example(desk: Desk) -> Work:
    """Fill the store with the simulated vans of the demo; goes to the start page.

    Raises
    ------
    UsageError
        There are vehicles in the store already: the example is for an empty one.
    """
    if desk.store.jobs.seen_last():
        raise UsageError(say("The example is for an empty store, and there are vehicles in this."))

    def job(tell: Progress) -> str:
        with tempfile.TemporaryDirectory(prefix="crankwise-example-") as folder:
            step = say("simulating and measuring")
            fill_store(desk.store, Path(folder), progress=lambda share: tell(step, share))
        return "/"

    return desk.works.start(say("Six simulated vans"), job, about="example")


def refuse_others(desk: Desk, upload_id: str) -> None:
    """Refuse at once what is certainly no recording, and delete it.

    Raises
    ------
    NotFoundError
        There is no such upload.
    UnreadableError
        Says what it is instead.
    """
    try:
        with desk.uploads.lend(upload_id) as path:
            readers.recognise(path)
    except UnreadableError:
        desk.uploads.remove(upload_id)
        raise


def _recording_of(store: Store, visit_id: int, sha256: str) -> tuple[str, str]:
    """Digest and name of a recording of a visit."""
    _, visit = visit_file(store, visit_id)
    for item in visit.recordings:
        if item.recording.sha256 == sha256:
            return item.recording.sha256, item.recording.name
    raise NotFoundError(f"the visit of {visit.visit.date} has no recording {sha256[:12]}")


def _compared(desk: Desk, visit_id: int, sha256: str, tell: Progress) -> str:
    """Compare if there is something to compare with, and say in words what came of it."""
    tell(say("comparing"), 1.0)
    file, visit = visit_file(desk.store, visit_id)
    try:
        judged = judge_visit(desk.store, file, visit, sha256=sha256)
    except (UsageError, NotMeasurableError) as error:
        return say("Not compared: {reason}", reason=told(str(error)))
    return _compared_with(judged.chosen.why)


def _compared_with(why: str) -> str:
    return say("Compared with {known_goods}", known_goods=told(why))


def _part(tell: Progress, place: int, count: int) -> Progress:
    """Progress within one of several files."""
    return _told(lambda step, share: tell(step, (place + share) / count))


def _told(tell: Progress) -> Progress:
    return lambda step, share: tell(told(step), share)


def _raise_first(failed: Sequence[CrankwiseError], *, others: int) -> None:
    if not failed:
        return
    words = "; ".join(told(str(error)) for error in failed)
    if others:
        words = say("{errors}. The other recordings are kept.", errors=words.rstrip("."))
    raise type(failed[0])(words)
