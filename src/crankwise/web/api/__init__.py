"""The HTTP API: what the screens show, for the pages themselves and for other programs.

Its description is at ``/api/openapi.json``. Every route here answers errors as
``{"error": "..."}`` in one line that says what to do.
"""

from __future__ import annotations

from typing import Final

from crankwise.web.api import (
    angle_view,
    engines,
    jobs,
    known_goods,
    levels,
    results,
    shelf_files,
    uploads,
    visits,
    works,
    workshop,
)

ROUTERS: Final = tuple(
    part.router
    for part in (
        jobs, visits, angle_view, uploads, works, results, levels, shelf_files, known_goods,
        engines, workshop,
    )
)  # fmt: skip
