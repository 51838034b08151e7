"""What each of the owner's choices costs: offers added up, taxes put on top, all in decimals."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import TYPE_CHECKING, Final, get_args

from babel.numbers import get_currency_precision

from crankwise.model.job import Option

if TYPE_CHECKING:
    from collections.abc import Iterable

    from crankwise.model.job import Offer

OPTIONS: Final[tuple[Option, ...]] = get_args(Option)
"""In the order in which they are told."""


@dataclass(frozen=True, slots=True)
class Amount:
    """A range of amounts; alike where it is one figure."""

    low: Decimal
    high: Decimal

    def plus(self, other: Amount) -> Amount:
        """Add another."""
        return Amount(self.low + other.low, self.high + other.high)


@dataclass(frozen=True, slots=True)
class Tax:
    """Tax at one rate."""

    percent: Decimal
    amount: Amount


@dataclass(frozen=True, slots=True)
class Price:
    """One option's offers in one currency.

    Attributes
    ----------
    option : {"now", "watch", "later"}
    currency : str
    offers : tuple of Offer
    net : Amount
        Sum of the offers as they are written.
    taxes : tuple of Tax
        On top of it, by rate; none where the offers are final.
    total : Amount
    recheck_mileage : float or None
        The earliest at which to measure again.
    """

    option: Option
    currency: str
    offers: tuple[Offer, ...]
    net: Amount
    taxes: tuple[Tax, ...]
    total: Amount
    recheck_mileage: float | None


def priced(offers: Iterable[Offer]) -> tuple[Price, ...]:
    """Add up the offers of each option, in the order now, watch, later.

    >>> from crankwise.model.job import Offer
    >>> kit = Offer("now", "chain kit", Decimal("186.40"), Decimal("186.40"), "GBP", Decimal(20))
    >>> work = Offer("now", "labour", Decimal(390), Decimal(455), "GBP", Decimal(20))
    >>> total = priced([kit, work])[0].total
    >>> str(total.low), str(total.high)
    ('691.68', '769.68')
    """
    groups: dict[tuple[Option, str], list[Offer]] = defaultdict(list)
    for offer in offers:
        groups[offer.option, offer.currency].append(offer)
    ordered = sorted(groups.items(), key=lambda group: OPTIONS.index(group[0][0]))
    return tuple(_price(option, currency, some) for (option, currency), some in ordered)


def _price(option: Option, currency: str, offers: list[Offer]) -> Price:
    net = _sum(Amount(offer.low, offer.high) for offer in offers)
    taxes = tuple(_taxes(currency, offers))
    rechecks = [offer.recheck_mileage for offer in offers if offer.recheck_mileage is not None]
    return Price(
        option, currency, tuple(offers), net, taxes, _sum([net, *(tax.amount for tax in taxes)]),
        min(rechecks, default=None),
    )  # fmt: skip


def _taxes(currency: str, offers: list[Offer]) -> Iterable[Tax]:
    """Tax at each rate on the sum of what it is put on, rounded as amounts are paid."""
    smallest = Decimal(1).scaleb(-get_currency_precision(currency))
    rates = sorted({offer.tax_percent for offer in offers if offer.tax_percent is not None})
    for rate in rates:
        taxed = _sum(Amount(o.low, o.high) for o in offers if o.tax_percent == rate)
        low, high = (
            (amount * rate / 100).quantize(smallest, ROUND_HALF_UP)
            for amount in (taxed.low, taxed.high)
        )
        yield Tax(rate, Amount(low, high))


def _sum(amounts: Iterable[Amount]) -> Amount:
    total = Amount(Decimal(0), Decimal(0))
    for amount in amounts:
        total = total.plus(amount)
    return total
