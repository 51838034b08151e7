"""Commands of ``crankwise job`` that write down prices, and how amounts are typed."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from enum import StrEnum
from typing import Annotated, Final

import typer

from crankwise.cli.grading import whole_mileage
from crankwise.cli.job_facts import write
from crankwise.cli.job_options import JobName, VisitNumber
from crankwise.cli.options import Lang, Quiet
from crankwise.cli.storing import Where, one_line, open_for
from crankwise.errors import UsageError
from crankwise.language import say

_CURRENCY: Final = re.compile(r"[A-Z]{3}")
_NO_TAX: Final = "none"


class Which(StrEnum):
    """One of the owner's choices."""

    NOW = "now"
    WATCH = "watch"
    LATER = "later"


def price(
    ctx: typer.Context,
    name: JobName,
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What it is for.")],
    amount: Annotated[str, typer.Argument(metavar="AMOUNT", help="How much: 240 or 89.50.")],
    currency: Annotated[
        str | None,
        typer.Argument(
            metavar="CURRENCY", help="Three letters: GBP, EUR; the workshop's if not given."
        ),
    ] = None,
    *,
    visit: VisitNumber = None,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  checked when parsed
) -> None:
    """Write down one item of the price."""
    from crankwise.model.job import PriceItem  # noqa: PLC0415  keeps --help fast

    fact = PriceItem(
        one_line(text, what=say("the item")),
        amount=amount_from(amount),
        currency=_currency(ctx, store, currency),
    )
    write(ctx, name, fact, visit=visit, store=store, quiet=quiet)


def offer(
    ctx: typer.Context,
    name: JobName,
    option: Annotated[
        Which,
        typer.Argument(metavar="OPTION", help="Repair now, watch it, or repair later."),
    ],
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What is in it, in your words.")],
    amounts: Annotated[
        list[str],
        typer.Argument(
            metavar="LOW [HIGH] [CURRENCY]",
            help="From which to which price, without tax; the workshop's currency if not given.",
        ),
    ],
    *,
    tax: Annotated[
        str | None,
        typer.Option(
            "--tax", metavar="PERCENT", help="Put on top; the workshop's if not given, or none."
        ),
    ] = None,
    recheck_at: Annotated[
        str | None,
        typer.Option("--recheck-at", metavar="N", help="Mileage to measure again at."),
    ] = None,
    visit: VisitNumber = None,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  checked when parsed
) -> None:
    """Write down what one of the owner's choices costs."""
    from crankwise.model.job import Offer  # noqa: PLC0415  keeps --help fast

    if recheck_at is not None and option is not Which.WATCH:
        raise UsageError("--recheck-at goes with watch")
    low, high, currency = _range(ctx, store, amounts)
    recheck = whole_mileage(recheck_at, option="--recheck-at")[0] if recheck_at else None
    fact = Offer(
        option.value, one_line(text, what=say("the offer")), low, high, currency,
        tax_percent=_tax(ctx, store, tax), recheck_mileage=recheck,
    )  # fmt: skip
    write(ctx, name, fact, visit=visit, store=store, quiet=quiet)


def _range(
    ctx: typer.Context, where: str | None, amounts: list[str]
) -> tuple[Decimal, Decimal, str]:
    """Read ``640 720 GBP`` or ``640 GBP``; without a currency it is the workshop's."""
    if amounts and re.search(r"\d", amounts[-1]):
        amounts = [*amounts, _currency(ctx, where, None)]
    if len(amounts) not in {2, 3}:
        raise UsageError("write the price as LOW CURRENCY or LOW HIGH CURRENCY: 640 720 GBP")
    low, high = amount_from(amounts[0]), amount_from(amounts[-2])
    if not 0 <= low <= high:
        raise UsageError(f"{low} to {high} is no range of prices: the lower one comes first")
    return low, high, currency_from(amounts[-1])


def _currency(ctx: typer.Context, where: str | None, text: str | None) -> str:
    """Read a currency, or take the workshop's."""
    if text is None:
        with open_for(ctx, where) as store:
            return store.shop.profile().currency
    return currency_from(text)


def _tax(ctx: typer.Context, where: str | None, text: str | None) -> Decimal | None:
    """Read a rate of tax, or take the workshop's; none says that the price is final."""
    if text is None:
        with open_for(ctx, where) as store:
            return store.shop.profile().tax_percent
    return tax_from(text)


def tax_from(text: str) -> Decimal | None:
    """Read a rate of tax in percent, or that there is none.

    Raises
    ------
    UsageError
        It is no number from 0 to 100.
    """
    from crankwise.workshop.typed import decimal_of  # noqa: PLC0415  keeps --help fast

    if text == _NO_TAX:
        return None
    percent = decimal_of(text)
    if percent is None or not 0 <= percent <= 100:
        raise UsageError(f"{text!r} is no rate of tax: write 20, 7.7 or {_NO_TAX}")
    return percent


def amount_from(text: str) -> Decimal:
    """Read an amount of money.

    Raises
    ------
    UsageError
        It is none, or has more than two decimals.
    """
    from crankwise.workshop.typed import amount_of  # noqa: PLC0415  keeps --help fast

    amount = amount_of(text)
    if amount is None:
        raise UsageError(f"{text!r} is no amount: write 240 or 89.50")
    return amount


def currency_from(text: str) -> str:
    """Read the code of a currency.

    Raises
    ------
    UsageError
        It is no three letters.
    """
    letters = text.strip().upper()
    if not _CURRENCY.fullmatch(letters):
        raise UsageError(f"{text!r} is no currency: write its three letters, such as GBP")
    return letters


COMMANDS: Final[Mapping[str, Callable[..., None]]] = {"price": price, "offer": offer}
