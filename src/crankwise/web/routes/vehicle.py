"""The page of a vehicle, and the beginning of a visit."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Path, Query, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from crankwise.errors import UsageError
from crankwise.language import say
from crankwise.model.job import Complaint, MileageUnit, VehicleDetails
from crankwise.picture.history_view import history_view
from crankwise.web import doing
from crankwise.web.desk import AtDesk, Desk
from crankwise.web.forms import mileage, optional, words
from crankwise.web.pages import render
from crankwise.web.views.new_visit import new_visit_view
from crankwise.web.views.vehicle import VehicleView, vehicle_view
from crankwise.workshop.finding import jobs_of_vehicle
from crankwise.workshop.opening import name_family, open_job

router = APIRouter(include_in_schema=False)
JobId = Annotated[int, Path(ge=1, le=2**31 - 1)]
Line = Annotated[str, Form(max_length=4000)]


def _seen(desk: Desk, job_id: int) -> VehicleView:
    return desk.memory.get(("vehicle", job_id), lambda: vehicle_view(desk.store, job_id))


@router.get("/vehicles/{job_id}")
def vehicle(request: Request, desk: AtDesk, job_id: JobId) -> HTMLResponse:
    """Show a vehicle's visits and its history."""
    return render(request, "vehicle.html", _seen(desk, job_id))


@router.get("/vehicles/{job_id}/history.svg")
def history_picture(desk: AtDesk, job_id: JobId) -> Response:
    """Draw the shifts of a vehicle over its mileage."""
    view = _seen(desk, job_id)
    if view.history is None:
        raise UsageError(say("there is no history of this vehicle yet"))
    history = view.history
    drawn = desk.memory.get(("history", job_id), lambda: history_view(history))
    return Response(drawn, media_type="image/svg+xml")


@router.post("/vehicles/{job_id}/details")
def keep_details(
    desk: AtDesk,
    *,
    job_id: JobId,
    vin: Line = "",
    plate: Line = "",
    customer: Line = "",
    family: Line = "",
) -> RedirectResponse:
    """Keep what is private about a vehicle, and its engine family where it had none."""
    file = desk.store.jobs.file(job_id)
    if named := optional(family):
        name_family(desk.store, file, named)
    details = VehicleDetails(optional(vin), optional(plate), optional(customer))
    desk.store.jobs.update_vehicle(file.vehicle.id, details)
    return RedirectResponse(f"/vehicles/{job_id}", status_code=303)


@router.post("/vehicles/{job_id}/forget")
def forget_details(desk: AtDesk, job_id: JobId, why: Line) -> RedirectResponse:
    """Delete what is private about a vehicle, past details too."""
    vehicle_id = desk.store.jobs.file(job_id).vehicle.id
    desk.store.jobs.forget_details(vehicle_id, why=words(why, what=say("reason")))
    return RedirectResponse(f"/vehicles/{job_id}", status_code=303)


@router.get("/visits/new")
def new_visit(
    request: Request,
    desk: AtDesk,
    vehicle: Annotated[int, Query(ge=0, le=2**31 - 1)] = 0,
    upload: Annotated[list[str], Query(max_length=50)] = [],  # noqa: B006  as FastAPI reads it
) -> HTMLResponse:
    """Ask which vehicle a visit is about."""
    return render(request, "new_visit.html", new_visit_view(desk, job_id=vehicle, uploads=upload))


@router.post("/visits")
def begin_visit(
    desk: AtDesk,
    *,
    vehicle: Line,
    date: Line,
    family: Line = "",
    mileage_text: Annotated[str, Form(alias="mileage", max_length=40)] = "",
    unit: Annotated[MileageUnit | None, Form()] = None,
    complaint: Line = "",
    upload: Annotated[list[str], Form(max_length=50)] = [],  # noqa: B006  as FastAPI reads it
) -> RedirectResponse:
    """Begin a visit, and the vehicle's file if it is a new one; recordings are measured at once."""
    label = words(vehicle, what=say("vehicle"))
    profile = desk.store.shop.profile()
    value, counted = mileage(mileage_text, unit or profile.mileage_unit)
    for identifier in upload:
        doing.refuse_others(desk, identifier)
    there = jobs_of_vehicle(desk.store, label)
    named = optional(family)
    file = there[0] if there else open_job(
        desk.store, label, family=named, title="", workshop=profile.name or None,
        details=VehicleDetails(),
    )  # fmt: skip
    if there and named:
        name_family(desk.store, file, named)
    visit = desk.store.jobs.add_visit(
        file.job.id, date=date.strip(), mileage=value, mileage_unit=counted
    )
    if optional(complaint):
        said = Complaint(words(complaint, what=say("complaint")))
        desk.store.jobs.add_fact(said, job_id=file.job.id, visit_id=visit.id)
    if upload:
        doing.record(desk, visit.id, upload, purpose="diagnosis")
    return RedirectResponse(f"/visits/{visit.id}", status_code=303)
