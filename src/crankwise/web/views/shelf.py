"""What the pages of the known-good shelf show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from crankwise.model.shelf import FamilyStatistics, FamilySummary, KnownGoodRow
    from crankwise.store import Store

_ROWS: Final = 100


@dataclass(frozen=True, slots=True)
class ShelfView:
    """The shelf: its families, and a page of the known-goods that were asked for."""

    families: tuple[FamilySummary, ...]
    rows: tuple[KnownGoodRow, ...]
    wheels: tuple[str, ...]
    family: str
    wheel: str
    retired: bool
    page: int
    is_more: bool


@dataclass(frozen=True, slots=True)
class FamilyView:
    """One family: what its known-goods say together, for each pattern of wheels and targets."""

    name: str
    statistics: tuple[FamilyStatistics, ...]
    rows: tuple[KnownGoodRow, ...]


def shelf_view(store: Store, *, family: str, wheel: str, retired: bool, page: int) -> ShelfView:
    """Return a page of the shelf, the newest first."""
    families = store.shelf.families()
    known = {item.name for item in families}
    rows = store.shelf.list(
        family=family if family in known else None,
        wheel=wheel or None,
        include_retired=retired,
        limit=_ROWS + 1,
        offset=(page - 1) * _ROWS,
    )
    return ShelfView(
        families=families,
        rows=rows[:_ROWS],
        wheels=tuple(sorted({name for item in families for name in item.wheels})),
        family=family,
        wheel=wheel,
        retired=retired,
        page=page,
        is_more=len(rows) > _ROWS,
    )


def family_view(store: Store, name: str) -> FamilyView:
    """Return what the known-goods of a family say together; raises NotFoundError without it."""
    rows = store.shelf.list(family=name, include_retired=True)
    return FamilyView(name, store.shelf.statistics(name, policy=store.shop.policy()), rows)
