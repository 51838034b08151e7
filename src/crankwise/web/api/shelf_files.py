"""Known-goods for other workshops and from them, as files."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from fastapi import Query
from fastapi.responses import FileResponse, Response
from pydantic import Field
from starlette.background import BackgroundTask

from crankwise.model.shelf import ImportReport
from crankwise.web import doing
from crankwise.web.api.answers import UNREADABLE, Asked, KnownGoodId, Name, UploadId, api_router
from crankwise.web.desk import AtDesk

router = api_router(tag="known-goods")

_TYPES: Final = {"json": "application/json", "zip": "application/zip"}
_BINARY: Final = {"schema": {"type": "string", "format": "binary"}}
_FILE: Final[dict[int | str, dict[str, Any]]] = {
    200: {
        "description": "A known-good (.json) or a bundle of them (.zip).",
        "content": {"application/zip": _BINARY, "application/json": {}},
        "headers": {
            "X-Withheld": {
                "description": "How many are left out, as they name a vehicle or its owner.",
                "schema": {"type": "integer"},
            }
        },
    }
}


class ImportAsked(Asked):
    """The upload that holds what another workshop exported."""

    upload: UploadId


class ExportAsked(Asked):
    """What to export: these known-goods, or those of a family, or all."""

    family: Name | None = None
    id: Annotated[tuple[KnownGoodId, ...], Field(max_length=200)] = ()
    retired: bool = False
    kind: Literal["json", "zip"] = "zip"


@router.get("/exports/known-goods", response_class=Response, responses=_FILE)
def export_known_goods(desk: AtDesk, asked: Annotated[ExportAsked, Query()]) -> FileResponse:
    """Export known-goods into one file; vehicle and owner stay here."""
    folder = tempfile.TemporaryDirectory(prefix="crankwise-")
    try:
        path = Path(folder.name) / f"known-goods.{asked.kind}"
        report = desk.store.shelf.export(
            path, family=asked.family, ids=asked.id or None, include_retired=asked.retired
        )
    except BaseException:
        folder.cleanup()
        raise
    return FileResponse(
        path,
        media_type=_TYPES[asked.kind],
        filename=_name(asked),
        headers={"x-withheld": str(len(report.withheld))},
        background=BackgroundTask(folder.cleanup),
    )


def _name(asked: ExportAsked) -> str:
    """Name the file after the known-good where it is one alone."""
    alone = asked.kind == "json" and len(asked.id) == 1
    return f"{asked.id[0] if alone else 'known-goods'}.{asked.kind}"


@router.post("/imports/known-goods", responses=UNREADABLE)
def import_known_goods(desk: AtDesk, asked: ImportAsked) -> ImportReport:
    """Take known-goods from an upload; what is there already is left as it is."""
    return doing.import_known_goods(desk, asked.upload)
