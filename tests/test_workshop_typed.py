"""What people type: mileages, amounts and days in the ways of their country."""

from __future__ import annotations

import pytest

from crankwise.errors import UsageError
from crankwise.workshop.typed import amount_of, day_of, mileage_of


@pytest.mark.parametrize(
    "text", ["98400", "98.400", "98,400", "98 400", "98'400", "98\u202f400", " 98400 "]
)
def test_thousands_may_be_grouped_in_any_way(text: str) -> None:
    assert mileage_of(text) == (98400.0, None)
    assert mileage_of(f"{text.strip()} km") == (98400.0, "km")
    assert mileage_of(f"{text.strip()}mi") == (98400.0, "miles")


@pytest.mark.parametrize("text", ["98.4", "58900,5", "-5", "many", "", "9840012345", "1.23.4"])
def test_a_mileage_that_may_be_misread_is_none(text: str) -> None:
    assert mileage_of(text) is None


@pytest.mark.parametrize("text", ["1.240,00", "1,240.00", "1240", "£1240", "1 240,0 €"])
def test_amounts_are_read_with_either_mark(text: str) -> None:
    assert str(amount_of(text)) == "1240.00"


def test_a_day_is_read_where_only_one_can_be_meant() -> None:
    assert day_of("20.11.2026") == day_of("20/11/2026") == day_of("11/20/2026") == "2026-11-20"
    assert day_of("03.04.2026") == "2026-04-03"
    assert day_of("4/4/2026") == "2026-04-04"
    assert day_of("31.02.2026") is day_of("yesterday") is None
    with pytest.raises(UsageError, match="2026-03-04 or 2026-04-03: write it so"):
        day_of("03/04/2026")
