"""How a report writes numbers: what was measured as its language does, amounts as the workshop.

Sentences of the core come with their numbers in the marks of the language, so the numbers beside
them have the same.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from crankwise.language import current, say, told
from crankwise.language.formats import Numbers
from crankwise.picture.words import decimals_for

if TYPE_CHECKING:
    from datetime import datetime
    from decimal import Decimal

    from crankwise.model.finding import Finding
    from crankwise.model.shop import Profile

TWO_SIDED_95: Final = 1.96
"""Standard normal, for a standard uncertainty of many degrees of freedom."""
_ROUNDED_MORE: Final = 10_000.0
_FEWEST_DECIMALS: Final = 0.095  # degrees; below this uncertainty a second decimal is written


class Written:
    """Numbers of one report, in the language that is spoken when it is begun."""

    def __init__(self, profile: Profile) -> None:
        self._measured = Numbers(replace(profile, number_format=current()))
        self._workshop = Numbers(profile)

    def number(self, value: float, places: int) -> str:
        """Write a number with fixed places; nought has no sign."""
        text = self._measured.decimal(value, places)
        return text.removeprefix("-") if round(value, places) == 0 else text

    def degrees(self, value: float, places: int | None = None) -> str:
        """Write degrees; without ``places`` with a decimal only where there is one."""
        if places is None:
            places = 0 if abs(value - round(value)) < 0.05 else 1
        return f"{self.number(value, places)}°"

    def signed(self, value: float, places: int) -> str:
        """Write degrees of a change, with its sign."""
        sign = "+" if round(value, places) > 0 else ""
        return f"{sign}{self.number(value, places)}°"

    def plain_signed(self, value: float, places: int) -> str:
        """Write a number without unit, with its sign."""
        return self.signed(value, places).removesuffix("°")

    def change(self, value: float, uncertainty: float) -> str:
        """Write a change with its sign and its expanded uncertainty, as exactly as is known."""
        places = decimals_for(uncertainty)
        return f"{self.signed(value, places)} ± {self.margin(uncertainty, places)}"

    def size(self, value: float, uncertainty: float) -> str:
        """Write how large a change is, as briefly as its uncertainty allows."""
        places = 1 if uncertainty >= _FEWEST_DECIMALS else 2
        return f"{self.degrees(abs(value), places)} ± {self.margin(uncertainty, places)}"

    def angle(self, value: float, uncertainty: float) -> str:
        """Write an angle of the cycle with its expanded uncertainty; 720° is 0°."""
        places = decimals_for(uncertainty)
        shown = round(value, places) % 720.0
        return f"{self.degrees(shown, places)} ± {self.margin(uncertainty, places)}"

    def margin(self, uncertainty: float, places: int) -> str:
        """Write an uncertainty, rounded up so that no more is promised than was measured."""
        scale = 10**places
        return self.degrees(math.ceil(round(uncertainty * scale, 6)) / scale, places)

    def bounds(self, low: float, high: float, places: int = 1) -> str:
        """Write between which changes something lies."""
        return say("{low} to {high}", low=self.signed(low, places), high=self.signed(high, places))

    def share(self, probability: float) -> str:
        """Write a probability in percent, never as nought or certain, which nothing measured is."""
        if probability < 0.01:
            return f"< {self._measured.percent(0.01)}"
        return (
            f"> {self._measured.percent(0.99)}"
            if probability > 0.99
            else self._measured.percent(probability)
        )

    def percent(self, percent: Decimal) -> str:
        """Write a rate of tax, with as many decimals as it has."""
        return self._workshop.rate(percent)

    def money(self, low: Decimal, high: Decimal, currency: str) -> str:
        """Write an amount, or from which to which it may be."""
        first = self._workshop.money(low, currency)
        if low == high:
            return first
        return say("{low} to {high}", low=first, high=self._workshop.money(high, currency))

    def mileage(self, value: float | None, unit: str | None) -> str:
        """Write a mileage with its unit; nothing where there is none."""
        return self._measured.mileage(value, unit)

    def about(self, distance: float, unit: str) -> str:
        """Round a distance to what a forecast is good for."""
        step = 1000.0 if distance >= _ROUNDED_MORE else 100.0
        return self.mileage(step * round(distance / step), unit)

    def day(self, value: str) -> str:
        """Write an ISO day; nothing where there is none."""
        return self._workshop.day(value) if value else ""

    def moment(self, value: datetime) -> str:
        """Write a day with its time, UTC, so that it is the same on every computer."""
        return f"{self._workshop.day(value.date())}, {value:%H:%M} UTC"


def findings_lines(findings: tuple[Finding, ...]) -> tuple[str, ...]:
    """Write findings, the worst first, each with its level."""
    order = ("fault", "caution", "note")
    ranked = sorted(findings, key=lambda finding: order.index(finding.level))
    return tuple(f"{told(finding.level)}: {told(finding.text)}" for finding in ranked)
