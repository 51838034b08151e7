"""Take checked values out of TOML tables; every complaint names file, table, key and rule."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any, Final, TypeVar

from crankwise.errors import UnreadableError

if TYPE_CHECKING:
    from collections.abc import Mapping

Word = TypeVar("Word", bound=str)

MOST_TEXT: Final = 50_000
"""Characters of a whole file; one that an engine needs has some 3,000."""
_MOST_LINE: Final = 2_500
"""A key of many dots on one line takes Python's reader of TOML its length squared."""
_MOST_WORDS: Final = 2_000

_AS_GOOD_AS: Final = 1e-6
"""Lengths and angles so near a bound are as good as on it; smaller ones vanish in a product."""


class Table:
    """One table of a file.

    Each method takes one key; :meth:`finish` then refuses the keys that nobody took.

    Parameters
    ----------
    values : Mapping of str to Any
        As ``tomllib`` gives it.
    where : str
        File and table, for messages.
    heading : str
        Name of the table as it stands in headings, such as ``drive.span``; empty for the file.
    """

    def __init__(self, values: Mapping[str, Any], *, where: str, heading: str = "") -> None:
        self.where = where
        self._heading = heading
        self._values = values
        self._allowed: list[str] = []

    @classmethod
    def of_text(cls, text: str, *, where: str) -> Table:
        """Read a whole file.

        Raises
        ------
        UnreadableError
            It is no TOML, or larger than any file of the kind.
        """
        longest = max(map(len, text.splitlines()), default=0)
        if len(text) > MOST_TEXT or longest > _MOST_LINE:
            raise UnreadableError(
                f"{where}: not valid TOML (longer than {MOST_TEXT} characters, or a line longer "
                f"than {_MOST_LINE}); mend that line"
            )
        try:
            return cls(tomllib.loads(text), where=where)
        except (ValueError, RecursionError) as error:
            raise UnreadableError(f"{where}: not valid TOML ({error}); mend that line") from error

    def refuse(self, rule: str) -> UnreadableError:
        """Make the error for this table; the caller raises it."""
        return UnreadableError(f"{self.where}: {rule}")

    def text(self, key: str) -> str:
        """Text without blanks around it; empty if the key is absent."""
        value = self._take(key)
        if value is None:
            return ""
        if not isinstance(value, str) or not value.strip():
            raise self._wrong(key, value, "text between quotation marks")
        if len(value) > _MOST_WORDS:
            raise self.refuse(f"'{key}' must be a text of {_MOST_WORDS} characters at most")
        return value.strip()

    def choice(self, key: str, words: tuple[Word, ...]) -> Word | None:
        """One of some words; ``None`` if the key is absent."""
        value = self._take(key)
        if value is None:
            return None
        for word in words:
            if value == word:
                return word
        raise self._wrong(key, value, "one of " + ", ".join(f'"{word}"' for word in words))

    def flag(self, key: str, *, absent: bool) -> bool:
        """Return ``true`` or ``false``; ``absent`` if the key is absent."""
        value = self._take(key)
        if value is None:
            return absent
        if not isinstance(value, bool):
            raise self._wrong(key, value, "true or false")
        return value

    def whole(self, key: str, *, least: int, most: int) -> int | None:
        """Whole number from ``least`` to ``most``; ``None`` if the key is absent."""
        value = self._take(key)
        if value is None:
            return None
        if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
            raise self._wrong(key, value, f"a whole number from {least} to {most}")
        return value

    def number(self, key: str, *, above: float, most: float) -> float | None:
        """Return a number above ``above`` and at most ``most``; ``None`` if the key is absent."""
        value = self._take(key)
        if value is None:
            return None
        if not _is_number(value) or not above + _AS_GOOD_AS < value <= most:
            raise self._wrong(key, value, f"a number above {above:g} and at most {most:g}")
        return float(value)

    def angle(self, key: str, *, below: float) -> float | None:
        """Return a number from 0 to below ``below``; ``None`` if the key is absent."""
        value = self._take(key)
        if value is None:
            return None
        if not _is_number(value) or not 0 <= value < below:
            raise self._wrong(key, value, f"degrees from 0 to below {below:g}")
        return float(value)

    def words(self, key: str) -> tuple[str, ...]:
        """Return a list of texts; empty if the key is absent."""
        value = self._take(key)
        if value is None:
            return ()
        if not isinstance(value, list) or not all(isinstance(v, str) and v for v in value):
            raise self._wrong(key, value, 'a list of texts such as ["intake", "exhaust"]')
        return tuple(value)

    def wholes(self, key: str) -> tuple[int, ...]:
        """Return a list of whole numbers; empty if the key is absent."""
        value = self._take(key)
        if value is None:
            return ()
        if not isinstance(value, list) or not all(type(v) is int for v in value):
            raise self._wrong(key, value, "a list of whole numbers such as [1, 3, 4, 2]")
        return tuple(value)

    def table(self, key: str) -> Table | None:
        """Return the table below ``[key]``; ``None`` if it is absent."""
        value = self._take(key)
        if value is None:
            return None
        heading = self._below(key)
        if not isinstance(value, dict):
            raise self._wrong(key, value, f"a table, written [{heading}]")
        return Table(value, where=f"{self.where}, [{heading}]", heading=heading)

    def tables(self, key: str, *, named_by: str) -> list[Table]:
        """Tables below ``[[key]]``, each called by its number and its ``named_by``."""
        value = self._take(key)
        if value is None:
            return []
        heading = self._below(key)
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            raise self._wrong(key, value, f"a list of tables, each written [[{heading}]]")
        return [
            Table(
                entry,
                where=f"{self.where}, [[{heading}]] {number}{_label(entry.get(named_by))}",
                heading=heading,
            )
            for number, entry in enumerate(value, start=1)
        ]

    def finish(self) -> None:
        """Refuse keys that were not taken."""
        for key in self._values:
            if key not in self._allowed:
                allowed = ", ".join(self._allowed)
                raise self.refuse(f"unknown key '{key}'; allowed are {allowed}")

    def _below(self, key: str) -> str:
        return f"{self._heading}.{key}" if self._heading else key

    def _take(self, key: str) -> Any:
        self._allowed.append(key)
        return self._values.get(key)

    def _wrong(self, key: str, value: object, rule: str) -> UnreadableError:
        return self.refuse(f"'{key}' must be {rule}, not {_shown(value)}")


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _shown(value: object) -> str:
    shown = str(value).lower() if isinstance(value, bool) else repr(value)
    return shown if len(shown) <= 60 else f"{shown[:57]}..."


def _label(name: object) -> str:
    return f" '{name}'" if isinstance(name, str) else ""
