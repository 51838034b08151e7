"""Reports on a visit, made when they are asked for, in the language of the page."""

from __future__ import annotations

import re
from typing import Annotated, Final

from fastapi import APIRouter, Path, Query, Response

from crankwise.language import current
from crankwise.report.making import Form, Page, Reader, Wish, visit_report
from crankwise.web import doing
from crankwise.web.desk import AtDesk

router = APIRouter(include_in_schema=False)

_MOST_CHARS: Final = 60
"""Of a vehicle's name in a file's name, so that every system takes it."""
_TYPES: Final = {
    "pdf": "application/pdf",
    "html": "text/html; charset=utf-8",
    "csv": "text/csv; charset=utf-8",
    "json": "application/json",
}
# A report brings its own styles and pictures, and nothing that runs.
_CLOSED: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; "
    "frame-ancestors 'none'"
)


@router.get("/visits/{visit_id}/report.{form}")
def report(
    desk: AtDesk,
    visit_id: Annotated[int, Path(ge=1, le=2**31 - 1)],
    form: Form,
    reader: Annotated[Reader, Query()] = "owner",
    page: Annotated[Page, Query()] = "report",
) -> Response:
    """Give the owner's report, the technician's record, or one page, as PDF, page or numbers."""
    file, visit = doing.visit_file(desk.store, visit_id)
    wish = Wish(form=form, reader=reader, page=page, language=current())
    data = desk.memory.get(
        ("report", visit_id, wish), lambda: visit_report(desk.store, file, visit, wish)
    )
    what = page if page != "report" else {"owner": "report", "technician": "record"}[reader]
    name = f"{_plain(file.vehicle.label)}-{visit.visit.date}-{what}.{form}"
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    if form == "html":
        headers["Content-Security-Policy"] = _CLOSED
    return Response(data, media_type=_TYPES[form], headers=headers)


def _plain(label: str) -> str:
    """Make a file's name of a vehicle's.

    >>> _plain("Van 3 (blue)"), _plain("Лада")
    ('Van-3-blue', 'vehicle')
    >>> len(_plain("long " * 40))
    59
    """
    return re.sub(r"[^A-Za-z0-9]+", "-", label)[:_MOST_CHARS].strip("-") or "vehicle"
