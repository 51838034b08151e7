"""Visits: what was found, recorded, compared and kept."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path
from pydantic import Field, StringConstraints

from crankwise.model.job import KeptFact, Purpose
from crankwise.model.shelf import Grade, KnownGood
from crankwise.schemas import RULES
from crankwise.web import doing
from crankwise.web.api.answers import (
    UNREADABLE,
    Asked,
    KnownGoodId,
    Name,
    Number,
    Remark,
    Sha256,
    UploadId,
    Words,
    api_router,
)
from crankwise.web.api.facts import FactAsked
from crankwise.web.api.files import OneVisit, one_visit
from crankwise.web.desk import AtDesk
from crankwise.web.works import Work
from crankwise.workshop.shelving import shelve_visit

router = api_router(tag="visits")

_ROLE = RULES["CamMeasurement", "role"].schema["pattern"]
Role = Annotated[str, StringConstraints(pattern=_ROLE, max_length=20)]
Channel = Annotated[str, StringConstraints(min_length=1, max_length=200)]


class RolesAsked(Asked):
    """What each channel is, where it is to be said: found from names and signals if not."""

    crank: Channel | None = None
    cams: Annotated[dict[Role, Channel] | None, Field(max_length=16)] = None
    interval_s: Annotated[float | None, Field(gt=0, lt=0.1)] = None


class RecordingsAsked(RolesAsked):
    """Uploads to take as recordings of a visit."""

    uploads: Annotated[tuple[UploadId, ...], Field(min_length=1, max_length=20)]
    purpose: Purpose = "diagnosis"


class CompareAsked(Asked):
    """What to compare with: these known-goods, else a family's, else what says most."""

    recording: Sha256 | None = None
    family: Name | None = None
    known_goods: Annotated[tuple[KnownGoodId, ...], Field(max_length=200)] = ()
    service_limit_deg: Annotated[float | None, Field(gt=0, le=90)] = None


class KnownGoodAsked(Asked):
    """A visit whose newest measurement is to be a known-good, and what is known of the engine."""

    family: Name | None = None
    conditions: Words | None = None
    measured_by: Words | None = None
    fresh_chain: bool | None = None
    verified_by: Words | None = None
    warm: bool | None = None
    phasers_parked: bool | None = None
    sensor: Words | None = None
    note: Remark = ""
    despite_verdict: bool = False

    def as_grade(self) -> Grade:
        """Return the grade as the model knows it."""
        return Grade(
            fresh_chain=self.fresh_chain,
            verified_by=self.verified_by,
            warm=self.warm,
            phasers_parked=self.phasers_parked,
            sensor=self.sensor,
            note=self.note,
        )


@router.get("/visits/{visit_id}")
def show_visit(desk: AtDesk, visit_id: Number) -> OneVisit:
    """Show a visit with all that belongs to it."""
    return one_visit(desk.store, *doing.visit_file(desk.store, visit_id))


@router.post("/visits/{visit_id}/facts", status_code=201)
def add_visit_fact(desk: AtDesk, visit_id: Number, asked: FactAsked) -> KeptFact:
    """Add a fact to a visit, or put one right."""
    job_id = desk.store.jobs.visit(visit_id).job_id
    return desk.store.jobs.add_fact(
        asked.as_fact(), job_id=job_id, visit_id=visit_id, replaces=asked.replaces
    )


@router.post("/visits/{visit_id}/recordings", status_code=202, responses=UNREADABLE)
def record(desk: AtDesk, visit_id: Number, asked: RecordingsAsked) -> Work:
    """Measure uploads as recordings of a visit, keep both, and compare where that can be."""
    return doing.record(
        desk,
        visit_id,
        asked.uploads,
        purpose=asked.purpose,
        crank=asked.crank,
        cams=asked.cams,
        interval_s=asked.interval_s,
    )


@router.post("/visits/{visit_id}/recordings/{sha256}/measure", status_code=202)
def measure_again(
    desk: AtDesk, visit_id: Number, sha256: Annotated[Sha256, Path()], asked: RolesAsked
) -> Work:
    """Measure a kept recording again with other roles; the earlier measurement stays."""
    return doing.measure_again(
        desk,
        visit_id,
        sha256,
        crank=asked.crank,
        cams=asked.cams,
        interval_s=asked.interval_s,
    )


@router.post("/visits/{visit_id}/comparisons", status_code=202)
def compare(desk: AtDesk, visit_id: Number, asked: CompareAsked) -> Work:
    """Compare a measured recording of a visit, the newest if none is named."""
    return doing.compare(
        desk,
        visit_id,
        sha256=asked.recording,
        family=asked.family,
        known_good_ids=asked.known_goods,
        service_limit_deg=asked.service_limit_deg,
    )


@router.post("/visits/{visit_id}/known-good", status_code=201)
def add_known_good(desk: AtDesk, visit_id: Number, asked: KnownGoodAsked) -> KnownGood:
    """Put the visit's newest measurement on the shelf."""
    file, visit = doing.visit_file(desk.store, visit_id)
    return shelve_visit(
        desk.store,
        file,
        visit,
        family=asked.family,
        grade=asked.as_grade(),
        conditions=asked.conditions,
        measured_by=asked.measured_by,
        despite_verdict=asked.despite_verdict,
    )
