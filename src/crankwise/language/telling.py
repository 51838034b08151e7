"""Telling a sentence of the core in another language.

A sentence is looked up as a whole, then among the messages with places, whose values are told in
turn. What is put together from several sentences or is a list is taken apart. What can't be led
back to messages stays as it is, whole: English is better than half a translation.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from crankwise.language.catalogue import catalogue
from crankwise.language.numbers import MARKS, is_number, written

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from crankwise.language.catalogue import Catalogue
    from crankwise.language.templates import Template

_KEPT: Final = 16384
_MOST_PIECES, _MOST_TOGETHER = 40, 5
_DEEPEST: Final = 8
_LONGEST: Final = 4000
_SENTENCE_END: Final = re.compile(r"(?<=[.!?])(\s+)(?=[A-Z0-9\"'(])")
_JOINT: Final = re.compile(r"(; |, and the |, and |, or |, | and the | and | or | \+ | · )")
_BETWEEN: Final = " \t\n;,:"
_QUOTED: Final = re.compile(r"(['\"]).*\1", re.DOTALL)
_NAME: Final = re.compile(r"(?=\S*\w)(?=\S*[\d./\\_])\S+")
_WORDS_AMONG_NUMBERS: Final = re.compile(r"[A-Za-z]+")
_MOST_WORDS_OF_A_NAME: Final = 8


@dataclass(frozen=True, slots=True)
class _Told:
    """A text in another language, and the parts of it that could not be led back to messages."""

    text: str
    unknown: tuple[str, ...] = ()

    @property
    def lacks(self) -> int:
        """Letters that are not understood."""
        return sum(len(part) for part in self.unknown)


def tell(code: str, text: str) -> str:
    """Return a text of the core in a language; what is not understood stays as it is."""
    return _tell(code, text, 0).text


def not_understood(code: str, text: str) -> tuple[str, ...]:
    """Parts of a text that stay as they are, names for one."""
    return _tell(code, text, 0).unknown


@lru_cache(maxsize=_KEPT)
def _tell(code: str, text: str, depth: int) -> _Told:
    """Tell one or several sentences, or a value in the place of one."""
    if depth > _DEEPEST or len(text) > _LONGEST:
        return _Told(text, unknown=(text,))
    start = len(text) - len(text.lstrip(_BETWEEN))
    inner, after = _cut(text[start:])
    if not inner:
        return _Told(text)
    told = _Teller(code, catalogue(code), depth).best(inner)
    return _Told(f"{text[:start]}{told.text}{after}", told.unknown)


@dataclass(frozen=True, slots=True)
class _Teller:
    """One level of a text that is taken apart."""

    code: str
    book: Catalogue
    depth: int

    def best(self, text: str) -> _Told:
        """Tell a text in the way that leaves least of it unknown."""
        best = _Told(text, unknown=(text,))
        for way in (self.message, self.joined, self.named, self.sentences):
            told = way(text)
            if told is not None and told.lacks < best.lacks:
                best = told
            if not best.unknown:
                break
        return best

    def part(self, text: str) -> _Told:
        """Tell a part of the text."""
        return _tell(self.code, text, self.depth + 1)

    def message(self, text: str) -> _Told | None:
        """Tell a text as one message, a number or a name; None if it is none of them."""
        lowered = text[:1].lower() + text[1:]
        said = self.book.sentences.get(text)
        if said is None and lowered in self.book.sentences:
            said = _raised(self.book.sentences[lowered])
        if said is not None:
            return _Told(said)
        if is_number(text):
            return _Told(written(self._words_among_numbers(text), MARKS[self.code]))
        told = self._by_template(text)
        if (told is None or told.unknown) and lowered != text:
            other = self._by_template(lowered)
            if other is not None and (told is None or other.lacks < told.lacks):
                told = _Told(_raised(other.text), other.unknown)
        is_name = _QUOTED.fullmatch(text) or _NAME.fullmatch(text)
        return _Told(text) if told is None and is_name else told

    def _words_among_numbers(self, text: str) -> str:
        return _WORDS_AMONG_NUMBERS.sub(lambda word: self.book.texts.get(word[0], word[0]), text)

    def _by_template(self, text: str) -> _Told | None:
        """Tell a text by the message it was made from that leaves least of it unknown."""
        best = None
        for template in self.book.index.candidates(text):
            values = template.match(text)
            told = None if values is None else self._filled(template, values)
            if told is not None and (best is None or told.lacks < best.lacks):
                best = told
            if best is not None and not best.unknown:
                break
        return best

    def _filled(self, template: Template, values: dict[str, str]) -> _Told | None:
        """Fill a message; None if it does not allow a value that nobody can translate."""
        told = {
            place: _Told(value) if place in template.verbatim else self.part(value)
            for place, value in values.items()
        }
        if not all(not part.unknown or template.allows(values[p]) for p, part in told.items()):
            return None
        words = template.fill({place: part.text for place, part in told.items()})
        return _Told(words, _all_unknown(told.values()))

    def joined(self, text: str) -> _Told | None:
        """Tell a list or several clauses, if every one of them is known; brackets after one too."""
        head, bracket, rest = text.rpartition(" (")
        if bracket and rest.endswith(")"):
            parts = [self.part(head), self.part(rest[:-1])]
            if not any(part.unknown for part in parts):
                return _Told(f"{parts[0].text} ({parts[1].text})")
        pieces = _JOINT.split(text)
        if len(pieces) < 3 or len(pieces) > 2 * _MOST_PIECES:
            return None
        words = ""
        for part in self._longest(pieces):
            if part.unknown:
                return None
            words += part.text
        return _Told(words)

    def named(self, text: str) -> _Told | None:
        """Tell what follows the name of something: ``van.csv: no cam was measured``."""
        name, colon, rest = text.partition(": ")
        if not colon:
            return None
        told, said = self.part(name), self.part(rest)
        is_name = " " in rest and len(name.split()) <= _MOST_WORDS_OF_A_NAME
        if said.unknown or (told.unknown and not is_name):
            return None
        return _Told(f"{told.text}: {said.text}", told.unknown)

    def sentences(self, text: str) -> _Told | None:
        """Tell sentence after sentence; those that are not understood stay."""
        pieces = _SENTENCE_END.split(text)
        if len(pieces) < 3 or len(pieces) > 2 * _MOST_PIECES:
            return None
        parts = list(self._longest(pieces))
        return _Told("".join(part.text for part in parts), _all_unknown(parts))

    def _longest(self, pieces: Sequence[str]) -> Iterator[_Told]:
        """Tell pieces and what joins them, as many together as make one message."""
        at = 0
        while at < len(pieces):
            ends = range(min(len(pieces), at + 2 * _MOST_TOGETHER - 1), at + 1, -2)
            tried = ((end, self._together("".join(pieces[at:end]))) for end in ends)
            end, told = next((found for found in tried if found[1] is not None), (at + 1, None))
            yield told or self.part(pieces[at])
            if end < len(pieces):
                yield _Told(self.book.texts.get(pieces[end], pieces[end]))
            at = end + 1

    def _together(self, text: str) -> _Told | None:
        """Tell several pieces if they make one message."""
        inner, after = _cut(text)
        told = self.message(inner)
        return None if told is None or told.unknown else _Told(told.text + after)


def _cut(text: str) -> tuple[str, str]:
    """Take the full stop and what joins a part to the next off the end of a text."""
    inner = text.rstrip(_BETWEEN).removesuffix(".")
    return inner, text[len(inner) :]


def _all_unknown(parts: Iterable[_Told]) -> tuple[str, ...]:
    return tuple(unknown for part in parts for unknown in part.unknown)


def _raised(text: str) -> str:
    return text[:1].upper() + text[1:]
