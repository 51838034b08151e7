"""What every route works with: the store, work in progress, uploads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import Depends, Request

from crankwise.store import Store
from crankwise.web.levelling import Levelling
from crankwise.web.memory import Memory
from crankwise.web.settings import Settings
from crankwise.web.uploads import Uploads
from crankwise.web.watching import Watching
from crankwise.web.works import Works


@dataclass(frozen=True, slots=True)
class Desk:
    """One server's tools.

    Attributes
    ----------
    settings : Settings
    store : Store
    works : Works
    uploads : Uploads
    memory : Memory
    watching : Watching
    """

    settings: Settings
    store: Store
    works: Works
    uploads: Uploads
    memory: Memory
    levelling: Levelling
    watching: Watching


def desk_of(request: Request) -> Desk:
    """Return the desk of the server that got a request."""
    desk: Desk = request.app.state.desk
    return desk


AtDesk = Annotated[Desk, Depends(desk_of)]
