"""Facts of a job by kind: what each row's body is read as."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from crankwise.model.job import (
    Advice,
    CheckDone,
    Choice,
    CodesRead,
    Complaint,
    Fact,
    HookUp,
    KeptFact,
    Note,
    Offer,
    PriceItem,
    Repair,
)
from crankwise.store import codec
from crankwise.store.tables import FactRow

KINDS: Final[dict[str, type[Fact]]] = {
    "complaint": Complaint,
    "codes-read": CodesRead,
    "hook-up": HookUp,
    "check": CheckDone,
    "advice": Advice,
    "choice": Choice,
    "repair": Repair,
    "price-item": PriceItem,
    "offer": Offer,
    "note": Note,
}
_KIND_OF: Final = {kind: name for name, kind in KINDS.items()}


def kind_of(fact: Fact) -> str:
    """Name of the kind of a fact, for example ``hook-up``."""
    return _KIND_OF[type(fact)]


def kept_fact(row: FactRow) -> KeptFact:
    """A fact's row as the model knows it."""
    return KeptFact(
        id=row.id,
        kind=row.kind,
        fact=codec.load(row.body, KINDS[row.kind]),
        job_id=row.job_id,
        visit_id=row.visit_id,
        recorded_at=row.recorded_at,
        replaces=row.replaces,
    )


def in_force(facts: Iterable[KeptFact]) -> tuple[KeptFact, ...]:
    """Leave out the facts that a later one replaces."""
    ordered = tuple(facts)
    replaced = {fact.replaces for fact in ordered}
    return tuple(fact for fact in ordered if fact.id not in replaced)
