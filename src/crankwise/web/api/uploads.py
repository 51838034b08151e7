"""Uploads: a file's bytes as they are, streamed to disk."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Annotated, Any, Final

from fastapi import HTTPException, Path, Query, Request
from pydantic import Field
from starlette.requests import ClientDisconnect

from crankwise.web import doing
from crankwise.web.access.limits import UPLOADS
from crankwise.web.api.answers import UNREADABLE, Asked, Failure, UploadId, api_router
from crankwise.web.desk import AtDesk
from crankwise.web.uploads import DiskFullError, TooLargeError, Upload

router = api_router(tag="uploads")

_BODY: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "description": "The bytes of the file as they are.",
        "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}},
    }
}
_FAILURES: Final[dict[int | str, dict[str, Any]]] = {
    411: {"model": Failure, "description": "It does not say how long it is."},
    507: {"model": Failure, "description": "The disk of the server is full."},
}


class UploadAsked(Asked):
    """What the client calls the file."""

    name: Annotated[str, Field(min_length=1, max_length=1_000)]


@router.put(UPLOADS.removeprefix("/api"), status_code=201, openapi_extra=_BODY, responses=_FAILURES)
async def upload(request: Request, desk: AtDesk, asked: Annotated[UploadAsked, Query()]) -> Upload:
    """Send a file; its name is only a label, and its ending helps to read it.

    What is not used within a day is deleted.
    """
    length = request.headers.get("content-length", "")
    if not length.isdigit() and "transfer-encoding" not in request.headers:
        raise HTTPException(411)
    if length.isdigit() and int(length) > desk.uploads.most_bytes:
        raise HTTPException(413)
    try:
        return await desk.uploads.receive(asked.name, _chunks(request))
    except TooLargeError:
        raise HTTPException(413) from None
    except DiskFullError:
        raise HTTPException(507) from None
    except ClientDisconnect:
        # Nobody is there to read it; the part file is gone.
        raise HTTPException(400, "The upload was broken off.") from None


@router.get("/uploads/{upload_id}/channels", responses=UNREADABLE)
def channels(
    desk: AtDesk,
    upload_id: Annotated[UploadId, Path()],
    interval_s: Annotated[float | None, Query(gt=0, lt=0.1)] = None,
) -> tuple[str, ...]:
    """List the channels of a recording that could not be measured by itself."""
    return doing.channels_of(desk, upload_id, interval_s=interval_s)


@router.delete("/uploads/{upload_id}", status_code=204)
def drop(desk: AtDesk, upload_id: Annotated[UploadId, Path()]) -> None:
    """Delete an upload that is not wanted after all."""
    desk.uploads.remove(upload_id)


async def _chunks(request: Request) -> AsyncIterator[bytes]:
    async for chunk in request.stream():
        yield chunk
