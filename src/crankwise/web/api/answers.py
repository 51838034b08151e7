"""What every route of the API shares: how errors look, and what ids and texts may be."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, Path, Security
from fastapi.security import HTTPBearer
from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints

_KEY: Final = HTTPBearer(
    scheme_name="key",
    description=(
        "Key for another program, made on the workshop's page. Pages use the cookie of their "
        "session instead, with the header X-CSRF-Token for every change."
    ),
    auto_error=False,
)
_MOST_ID: Final = 2**31 - 1  # of an INTEGER in PostgreSQL


class Failure(BaseModel):
    """What went wrong, in one line that says what to do."""

    error: str


class Asked(BaseModel):
    """Base of what a request brings: a field that is not known is an error, not passed over."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def _described(words: str) -> dict[str, Any]:
    return {"model": Failure, "description": words}


_ANY: Final[dict[int | str, dict[str, Any]]] = {
    400: _described("The request makes no sense."),
    401: _described("Neither a key nor a session."),
    403: _described("A change without the token of the page's session."),
    404: _described("Something asked for is not there."),
    413: _described("The request is too large."),
    422: _described("A value is missing or wrong, or a recording can't be measured."),
}
UNREADABLE: Final[dict[int | str, dict[str, Any]]] = {415: _described("The file can't be read.")}
"""Further answer of routes that read a file or a text of the workshop's own."""

BESIDE_EVENTS: Final[dict[int | str, dict[str, Any]]] = {
    status: {
        "description": answer["description"],
        "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Failure"}}},
    }
    for status, answer in _ANY.items()
}
"""Failures of a route that else answers with events; they are JSON as everywhere."""


def api_router(*, tag: str) -> APIRouter:
    """Make a router under ``/api`` whose routes declare what any of them may answer."""
    return APIRouter(
        prefix="/api",
        tags=[tag],
        dependencies=[Security(_KEY)],
        responses=_ANY,
    )


def _one_line(text: str) -> str:
    if not text.isprintable():
        raise ValueError("control characters are not allowed here")
    return text


def _lines(text: str) -> str:
    if not all(char.isprintable() or char in "\t\n\r" for char in text):
        raise ValueError("control characters are not allowed here")
    return text


Number = Annotated[int, Path(ge=1, le=_MOST_ID)]
Id = Annotated[int, Field(ge=1, le=_MOST_ID)]
Sha256 = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
UploadId = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{32}$")]
KnownGoodId = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{16}$")]
Name = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=120),
    AfterValidator(_one_line),
]
Words = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=500),
    AfterValidator(_one_line),
]
Remark = Annotated[
    str, StringConstraints(strip_whitespace=True, max_length=500), AfterValidator(_one_line)
]
Text = Annotated[
    str, StringConstraints(strip_whitespace=True, max_length=4_000), AfterValidator(_lines)
]
Mileage = Annotated[float, Field(ge=0, le=10_000_000)]
Day = Annotated[str, StringConstraints(pattern=r"^\d{4}-\d{2}-\d{2}$")]
"""A day, such as ``2026-03-01``."""
