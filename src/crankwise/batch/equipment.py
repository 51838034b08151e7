"""What a worker is given once, whatever it measures: a plan may hold hundreds of known-goods."""

from __future__ import annotations

from typing import TYPE_CHECKING

from distributed import WorkerPlugin

if TYPE_CHECKING:
    from crankwise.batch.plan import Plan


class Equipment(WorkerPlugin):
    """A plan kept by each worker of a cluster, also by those that start later."""

    def __init__(self, plan: Plan, name: str) -> None:
        self.plan = plan
        self.name = name
