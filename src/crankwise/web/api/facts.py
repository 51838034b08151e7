"""Facts of a visit or a job as a request brings them, told apart by their ``kind``."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Final, Literal

from pydantic import Field, StringConstraints

from crankwise.model import job
from crankwise.store.facts import KINDS
from crankwise.web.api.answers import Asked, Id, Mileage, Remark, Text, Words

_MOST_AMOUNT: Final = Decimal(1_000_000)
Amount = Annotated[Decimal, Field(ge=-_MOST_AMOUNT, le=_MOST_AMOUNT, decimal_places=2)]
Price = Annotated[Decimal, Field(ge=0, le=_MOST_AMOUNT, decimal_places=2)]
Percent = Annotated[Decimal, Field(ge=0, le=100, decimal_places=2)]
Currency = Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]
Code = Annotated[str, StringConstraints(pattern=r"^[A-Z][0-9A-F]{4}(-[0-9A-F]{2})?$")]


class NewComplaint(Asked):
    """What the customer says; an empty text says that there is no complaint."""

    kind: Literal["complaint"]
    text: Remark


class NewCodesRead(Asked):
    """Trouble codes read; none is a fact too."""

    kind: Literal["codes-read"]
    codes: Annotated[tuple[Code, ...], Field(max_length=50)]
    note: Remark = ""


class NewHookUp(Asked):
    """How one signal was reached, and what was unplugged for it."""

    kind: Literal["hook-up"]
    signal: Words
    connector: Remark = ""
    pin: Remark = ""
    wire: Remark = ""
    probed_at: Remark = ""
    unplugged: Remark = ""
    puncture_sealed: bool | None = None


class NewCheckDone(Asked):
    """A check before or after the recording."""

    kind: Literal["check"]
    when: Literal["before", "after"]
    name: Words
    done: bool
    note: Remark = ""


class NewAdvice(Asked):
    """What the workshop advised."""

    kind: Literal["advice"]
    text: Words


class NewChoice(Asked):
    """What the owner chose, and whether that is the repair advised."""

    kind: Literal["choice"]
    text: Words
    accepted: bool


class NewRepair(Asked):
    """A repair that was done; a new chain begins the history anew."""

    kind: Literal["repair"]
    text: Words
    chain_replaced: bool
    mileage: Mileage | None = None


class NewPriceItem(Asked):
    """A line of the bill."""

    kind: Literal["price-item"]
    text: Words
    amount: Amount
    currency: Currency


class NewOffer(Asked):
    """What one of the owner's choices costs, without tax."""

    kind: Literal["offer"]
    option: job.Option
    text: Words
    low: Price
    high: Price
    currency: Currency
    tax_percent: Percent | None = None
    recheck_mileage: Mileage | None = None


class NewNote(Asked):
    """Anything else worth keeping."""

    kind: Literal["note"]
    text: Text


NewFact = Annotated[
    NewComplaint | NewCodesRead | NewHookUp | NewCheckDone | NewAdvice | NewChoice | NewRepair
    | NewPriceItem | NewOffer | NewNote,
    Field(discriminator="kind"),
]  # fmt: skip


class FactAsked(Asked):
    """A fact to add; ``replaces`` is the number of the fact that was wrong and stays recorded."""

    fact: NewFact
    replaces: Id | None = None

    def as_fact(self) -> job.Fact:
        """Return the fact as the model knows it."""
        values = {name: getattr(self.fact, name) for name in type(self.fact).model_fields}
        return KINDS[values.pop("kind")](**values)
