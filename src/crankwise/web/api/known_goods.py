"""The shelf of known-goods."""

from __future__ import annotations

from typing import Annotated

from fastapi import Path, Query
from pydantic import Field

from crankwise.model.shelf import FamilyStatistics, FamilySummary, KnownGood, KnownGoodRow
from crankwise.web.api.answers import Asked, KnownGoodId, Name, Words, api_router
from crankwise.web.desk import AtDesk
from crankwise.workshop.shelving import of_family

router = api_router(tag="known-goods")

AtId = Annotated[KnownGoodId, Path()]


class RetireAsked(Asked):
    """Why a known-good is taken off the shelf."""

    why: Words


class ShelfAsked(Asked):
    """Which part of the shelf to list."""

    family: Name | None = None
    wheel: Name | None = None
    retired: bool = False
    limit: Annotated[int, Field(ge=1, le=500)] = 100
    offset: Annotated[int, Field(ge=0, le=1_000_000)] = 0


@router.get("/families")
def list_families(desk: AtDesk) -> tuple[FamilySummary, ...]:
    """List the engine families that have known-goods."""
    return desk.store.shelf.families()


@router.get("/families/statistics")
def show_statistics(desk: AtDesk, family: Annotated[Name, Query()]) -> tuple[FamilyStatistics, ...]:
    """Show how healthy engines of a family differ, and which known-good stands out."""
    of_family(desk.store, family)
    return desk.store.shelf.statistics(family, policy=desk.store.shop.policy())


@router.get("/known-goods")
def list_known_goods(
    desk: AtDesk, asked: Annotated[ShelfAsked, Query()]
) -> tuple[KnownGoodRow, ...]:
    """List known-goods without their measurements, the newest first."""
    return desk.store.shelf.list(
        family=asked.family,
        wheel=asked.wheel,
        include_retired=asked.retired,
        limit=asked.limit,
        offset=asked.offset,
    )


@router.get("/known-goods/{known_good_id}")
def show_known_good(desk: AtDesk, known_good_id: AtId) -> KnownGood:
    """Show a known-good with its measurement (format ``crankwise.known-good/1``)."""
    return desk.store.shelf.get(known_good_id)


@router.post("/known-goods/{known_good_id}/retire")
def retire(desk: AtDesk, known_good_id: AtId, asked: RetireAsked) -> KnownGood:
    """Take a known-good off the shelf; it is kept, and says when and why."""
    return desk.store.shelf.retire(known_good_id, why=asked.why)
