"""Numbers, amounts, dates and mileages as the workshop writes them."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_datetime
from babel.numbers import format_currency, format_decimal, format_percent

from crankwise.language import current, told
from crankwise.model.shop import Profile

_FALLBACK = "en-GB"


class Numbers:
    """Formats of one workshop's locale; month names follow the language of the page."""

    def __init__(self, profile: Profile) -> None:
        self._profile = profile
        language = current()
        self._locale = locale_of(profile.number_format)
        same = self._locale.language == language
        words = _FALLBACK if language == "en" else language
        self._words = self._locale if same else Locale.parse(words, sep="-")

    def decimal(self, value: float, places: int = 1) -> str:
        """Write a number with fixed places, such as ``1,234.5``."""
        pattern = "#,##0" + ("." + "0" * places if places else "")
        return format_decimal(value, format=pattern, locale=self._locale)

    def percent(self, share: float) -> str:
        """Write a share in whole percent, such as ``86%``."""
        return format_percent(share, locale=self._locale)

    def rate(self, percent: Decimal) -> str:
        """Write a percentage with as many decimals as it has, such as ``7.7%``."""
        return format_percent(percent / 100, locale=self._locale, decimal_quantization=False)

    def mileage(self, value: float | None, unit: str | None) -> str:
        """Write a mileage with its unit; nothing where there is none.

        Unless the workshop chose a format, the page's language does: under German words,
        121,800 km would be read as 121.8 km.
        """
        if value is None:
            return ""
        chose = self._profile.number_format != Profile().number_format
        locale = self._locale if chose else self._words
        number = format_decimal(value, format="#,##0", locale=locale)
        return f"{number}\u202f{told(unit or self._profile.mileage_unit)}"

    def money(self, amount: Decimal, currency: str) -> str:
        """Write an amount with its currency, such as ``£186.40``."""
        return format_currency(amount, currency, locale=self._locale)

    def day(self, value: str | date) -> str:
        """Write a day, such as ``20 Jan 2026``; what is no day stays as it is."""
        try:
            found = date.fromisoformat(value) if isinstance(value, str) else value
        except ValueError:
            return str(value)
        return format_date(found, format="medium", locale=self._words)

    def moment(self, value: datetime) -> str:
        """Write a day with the time on this computer's clock."""
        return format_datetime(value.astimezone(), format="short", locale=self._words)


def is_locale(name: str) -> bool:
    """Whether a name is that of a locale that is known."""
    try:
        Locale.parse(name, sep="-")
    except (ValueError, UnknownLocaleError):
        return False
    return True


def locale_of(name: str) -> Locale:
    """Return the locale of a name such as ``de-DE``; British English where it is not known."""
    return Locale.parse(name if is_locale(name) else _FALLBACK, sep="-")
