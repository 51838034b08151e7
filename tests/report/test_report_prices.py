"""Prices add up to the last penny, and are written as the workshop writes them."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

import pytest
from babel.numbers import format_currency
from hypothesis import given
from hypothesis import strategies as st

from crankwise.language import using
from crankwise.model.job import Offer
from crankwise.model.shop import Profile
from crankwise.report import Wish, visit_report
from crankwise.report.prices import priced
from crankwise.report.written import Written

AMOUNTS = st.decimals(0, 100_000, places=2)
RATES = st.sampled_from([None, Decimal(0), Decimal(19), Decimal(20), Decimal("7.7")])


def offers(option="now", currency="GBP"):
    return st.builds(
        lambda low, more, rate: Offer(option, "it", low, low + more, currency, rate),
        AMOUNTS, AMOUNTS, RATES,
    )  # fmt: skip


@given(st.lists(offers(), min_size=1, max_size=6))
def test_the_total_is_the_offers_and_their_tax(some):
    (price,) = priced(some)
    for end in ("low", "high"):
        net = sum(getattr(offer, end) for offer in some)
        assert getattr(price.net, end) == net
        taxes = Decimal(0)
        for rate in {offer.tax_percent for offer in some} - {None}:
            base = sum(getattr(o, end) for o in some if o.tax_percent == rate)
            taxes += (base * rate / 100).quantize(Decimal("0.01"), ROUND_HALF_UP)
        assert getattr(price.total, end) == net + taxes
    assert price.total.low <= price.total.high


def test_options_and_currencies_are_kept_apart_in_order():
    some = [
        Offer("later", "c", Decimal(3), Decimal(3), "GBP"),
        Offer("now", "a", Decimal(1), Decimal(1), "GBP"),
        Offer("now", "b", Decimal(2), Decimal(2), "EUR"),
        Offer("watch", "d", Decimal(4), Decimal(4), "GBP", None, 120_000),
        Offer("watch", "e", Decimal(4), Decimal(4), "GBP", None, 110_000),
    ]
    found = [(p.option, p.currency, p.total.low) for p in priced(some)]
    assert found == [
        ("now", "GBP", 1), ("now", "EUR", 2), ("watch", "GBP", 8), ("later", "GBP", 3),
    ]  # fmt: skip
    assert priced(some)[2].recheck_mileage == 110_000


def test_tax_is_rounded_as_the_currency_is_paid():
    # ISO 4217: the yen has no minor unit, the dinar of Bahrain has three.
    (yen,) = priced([Offer("now", "a", Decimal(105), Decimal(105), "JPY", Decimal(10))])
    (dinar,) = priced([Offer("now", "a", Decimal("1.05"), Decimal("1.05"), "BHD", Decimal(10))])
    assert yen.taxes[0].amount.low == Decimal(11)
    assert dinar.taxes[0].amount.low == Decimal("0.105")


@pytest.mark.parametrize(
    ("number_format", "written"),
    [
        ("en-GB", "£1,234.50 to £2,000.00"),
        ("de-DE", "1.234,50\xa0£ to 2.000,00\xa0£"),
        ("fr-FR", "1\u202f234,50\xa0£GB to 2\u202f000,00\xa0£GB"),
        ("xx-YY", "£1,234.50 to £2,000.00"),
    ],
)
def test_amounts_are_written_in_the_workshops_format(number_format, written):
    with using("en"):
        found = Written(Profile(number_format=number_format))
        assert found.money(Decimal("1234.5"), Decimal(2000), "GBP") == written


def test_what_is_printed_is_what_babel_writes_of_what_decimal_adds(mended, text_of):
    text = text_of(visit_report(mended.store, mended.file, mended.file.visits[-1], Wish()))
    net_low, net_high = Decimal("186.40") + Decimal("390.05"), Decimal("186.40") + Decimal("455.15")
    vat = [(net * 20 / 100).quantize(Decimal("0.01"), ROUND_HALF_UP) for net in (net_low, net_high)]
    other = [(n * Decimal("0.077")).quantize(Decimal("0.01"), ROUND_HALF_UP)
             for n in (Decimal(1900), Decimal("3200.33"))]  # fmt: skip
    for low, high in (
        (net_low, net_high),
        vat,
        (net_low + vat[0], net_high + vat[1]),
        (Decimal(1900) + other[0], Decimal("3200.33") + other[1]),
    ):
        first, last = (format_currency(n, "GBP", locale="en_GB") for n in (low, high))
        assert f"{first} to {last}" in text
    assert "VAT 20%" in text
    assert "VAT 7.7%" in text
    assert f"Total {format_currency(Decimal(54), 'GBP', locale='en_GB')}" in text
