"""Options that the commands of a job share."""

from __future__ import annotations

from typing import Annotated

import typer

from crankwise.cli import complete

JobName = Annotated[
    str,
    typer.Argument(
        metavar="JOB",
        help="Name of the vehicle, or number of the job.",
        autocompletion=complete.jobs,
    ),
]
VisitNumber = Annotated[
    int | None,
    typer.Option("--visit", metavar="N", min=1, help="Which visit; the newest if not given."),
]
