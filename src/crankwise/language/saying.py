"""The two ways into a language: our own texts, and the sentences of the core."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Final

from crankwise.language.current import SOURCE, current

if TYPE_CHECKING:
    from crankwise.language.catalogue import Catalogue

_NUMBERS: Final = (int, float, Decimal)


def message(text: str) -> str:
    """Mark a text that stands in a table and is said later, so that catalogues hold it.

    >>> labels = {"pin": message("Pin"), "wire": message("Wire")}
    >>> say(labels["pin"])
    'Pin'
    """
    return text


def say(text: str, **values: object) -> str:
    """Return a text of ours in the language spoken, with its ``{places}`` filled.

    Numbers are written as the language does; what is text already, such as what :func:`told` gave,
    is taken as it is. A text that is not in the catalogue stays English.

    >>> say("{count} of {all} files", count=2, all=3)
    '2 of 3 files'
    """
    code = current()
    if code != SOURCE:
        text = _book(code).texts.get(text, text)
    return _filled(text, code, values)


def say_many(one: str, many: str, count: int, **values: object) -> str:
    """Return a text of ours for a number of things; ``{count}`` is their number.

    >>> say_many("{count} tooth", "{count} teeth", 1), say_many("{count} tooth", "{count} teeth", 2)
    ('1 tooth', '2 teeth')
    """
    code = current()
    text = one if count == 1 else many
    if code != SOURCE:
        book = _book(code)
        text = book.texts.get(one, text) if count == 1 else book.many.get(one, text)
    return _filled(text, code, {"count": count, **values})


def told(sentence: str) -> str:
    """Return what the core says in the language spoken: a sentence, several, or a word.

    What is not understood stays English, whole.

    >>> from crankwise.language.current import using
    >>> with using("de"):
    ...     told("Intake cam: 5.4 teeth after the gap, known-good 5.3; it comes 0.6° ± 0.1° later.")
    'Einlassnockenwelle: 5,4 Zähne nach der Zahnlücke, Gutmuster 5,3; sie kommt 0,6° ± 0,1° später.'
    """
    code = current()
    if code == SOURCE or not sentence:
        return sentence
    from crankwise.language.telling import tell  # noqa: PLC0415  English needs none of it

    return tell(code, sentence)


def _book(code: str) -> Catalogue:
    from crankwise.language.catalogue import catalogue  # noqa: PLC0415  as above

    return catalogue(code)


def _filled(text: str, code: str, values: dict[str, object]) -> str:
    if not values:
        return text
    if code != SOURCE:
        from crankwise.language.numbers import MARKS, written  # noqa: PLC0415  as above

        values = {
            place: written(str(value), MARKS[code]) if isinstance(value, _NUMBERS) else value
            for place, value in values.items()
        }
    return text.format(**values)
