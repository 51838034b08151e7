"""What the pages of engines show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from crankwise.model.engine import Engine
    from crankwise.store import Store
    from crankwise.web.engine_form import Filled


@dataclass(frozen=True, slots=True)
class EngineRow:
    """An engine by the name of its file, and whether the workshop wrote it."""

    name: str
    engine: Engine
    is_own: bool


@dataclass(frozen=True, slots=True)
class EnginesView:
    """Every engine file."""

    rows: tuple[EngineRow, ...]


@dataclass(frozen=True, slots=True)
class EditView:
    """The form of an engine file; ``error`` and ``at``: what is wrong, and at which field."""

    name: str
    form: Filled
    error: str = ""
    at: str = ""


def engines_view(store: Store) -> EnginesView:
    """List engines, the workshop's own first."""
    own = {kept.name for kept in store.shop.engine_files()}
    rows = [EngineRow(name, engine, name in own) for name, engine in store.shop.engines().items()]
    return EnginesView(tuple(sorted(rows, key=lambda row: (not row.is_own, row.name))))
