"""Whether the server is well."""

from __future__ import annotations

from fastapi import APIRouter
from pydantic import BaseModel

from crankwise import __version__

router = APIRouter(prefix="/api", tags=["server"])


class Health(BaseModel):
    """The server answers, and of which version it is."""

    status: str
    version: str


@router.get("/health")
def health() -> Health:
    """Say that the server answers."""
    return Health(status="ok", version=__version__)
