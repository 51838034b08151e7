"""The angle view of a visit: everything but the signals, which come as levels."""

from __future__ import annotations

from typing import Annotated

from fastapi import Query

from crankwise.web import doing
from crankwise.web.api.answers import Number, Sha256, api_router
from crankwise.web.desk import AtDesk
from crankwise.web.views.angle_view import AngleView, angle_view

router = api_router(tag="visits")


@router.get("/visits/{visit_id}/angle-view")
def show_angle_view(
    desk: AtDesk, visit_id: Number, recording: Annotated[Sha256 | None, Query()] = None
) -> AngleView:
    """Show crank teeth, cam edges, shifts and limits of a recording, or the newest one."""
    file, visit = doing.visit_file(desk.store, visit_id)
    return angle_view(desk.store, visit, vehicle=file.vehicle.label, sha256=recording)
