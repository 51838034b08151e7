"""Sentences with places, and finding the one that a given sentence was made from.

The core fills its sentences before anybody knows which language they will be read in, and stored
documents keep them filled. So a sentence is led back to the message it was made from: the literal
parts are looked for from left to right, and what stands between them are the values.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

_PLACE: Final = re.compile(r"\{(\w+)\}")
_WORD: Final = re.compile(r"[^\W\d_]+")
_CLAUSES: Final = re.compile(r"[.;:] |[.;:,]$|, and ")
_BRACKETS: Final = re.compile(r"\([^()]*\)")
_JOINTS: Final = tuple(" ;,:(")  # a value that begins so is a tail, joined to the message
_QUOTES: Final = "'\"‘’‚“”„`"
_EMPTY_WORDS: Final = frozenset(
    {
        "a", "an", "and", "are", "as", "at", "but", "by", "for", "from", "in", "is", "it", "its",
        "no", "not", "of", "on", "or", "than", "that", "the", "then", "this", "to", "was", "were",
        "with", "mm", "km", "rpm", "ms", "intake", "exhaust", "cam",
    }
)  # fmt: skip
_SAYS_MUCH, _MOST_WORDS_OF_A_NAME = 3, 5


@dataclass(frozen=True, slots=True)
class Template:
    """A message with places, and what it is in another language.

    Attributes
    ----------
    literals : tuple of str
        Text before, between and after the places.
    places : tuple of str
        Names of the places, in order.
    answer : tuple of str
        The translation: text and name of a place in turn, text first and last.
    verbatim : frozenset of str
        Places between quotation marks: names and words of others, to be left as they are.
    open : frozenset of str
        Places that may hold clauses or sentences; what stands in others is no more than a phrase.
    glued : frozenset of str
        Places that touch a letter or a hyphen, and so hold no blank.
    weight : int
        Letters that are not in places: the more, the surer the match.
    content : int
        Words among them that mean something by themselves.
    """

    literals: tuple[str, ...]
    places: tuple[str, ...]
    answer: tuple[str, ...]
    verbatim: frozenset[str]
    open: frozenset[str]
    glued: frozenset[str]
    weight: int
    content: int

    def match(self, text: str) -> dict[str, str] | None:
        """Return what stands in each place if the text was made from this message.

        >>> template("{1} rpm ({2} to {3})", "").match("700 rpm (690 to 712)")
        {'1': '700', '2': '690', '3': '712'}
        """
        first, last = self.literals[0], self.literals[-1]
        end = len(text) - len(last)
        if end < len(first) or not text.startswith(first) or not text.endswith(last):
            return None
        at, found = len(first), []
        for literal in self.literals[1:-1]:
            next_at = text.find(literal, at, end)
            if next_at < 0:
                return None
            found.append(text[at:next_at])
            at = next_at + len(literal)
        found.append(text[at:end])
        values = dict(zip(self.places, found, strict=True))
        return None if any(self._is_too_much(place, values[place]) for place in values) else values

    def _is_too_much(self, place: str, value: str) -> bool:
        if place in self.verbatim or place in self.open or value[:1] in _JOINTS:
            return False
        outside = _BRACKETS.sub("", value)
        return (" " in value and place in self.glued) or _CLAUSES.search(outside) is not None

    def fill(self, values: Mapping[str, str]) -> str:
        """Return the translation with its places filled; braces within values mean nothing."""
        return "".join(
            values[part] if number % 2 else part for number, part in enumerate(self.answer)
        )

    def allows(self, value: str) -> bool:
        """Whether a value that nobody can translate may stand in a place.

        A message of many words is surely meant; one of few words only if the value looks like a
        name, and one of none not at all.
        """
        if self.content >= _SAYS_MUCH:
            return True
        longest = max(len(name.split()) for name in value.split(", "))
        return self.content > 0 and longest <= _MOST_WORDS_OF_A_NAME


def has_places(text: str) -> bool:
    """Whether a message has places to fill."""
    return _PLACE.search(text) is not None


def places_of(text: str) -> list[str]:
    """Names of the places of a message, in order."""
    return _PLACE.findall(text)


def template(text: str, answer: str) -> Template:
    """Take a message and its translation apart.

    >>> sorted(template("Known-good {1}: {2}", "").open)
    ['2']
    """
    pieces, translated = _PLACE.split(text), _PLACE.split(answer)
    words = _WORD.findall(" ".join(pieces[::2]).lower())
    return Template(
        literals=tuple(pieces[::2]),
        places=tuple(pieces[1::2]),
        answer=tuple(translated),
        verbatim=frozenset(_quoted(pieces)) | frozenset(_quoted(translated)),
        open=frozenset(_open(pieces)),
        glued=frozenset(_glued(pieces)),
        weight=sum(len(word) for word in words),
        content=sum(len(word) > 1 and word not in _EMPTY_WORDS for word in words),
    )


def _quoted(pieces: list[str]) -> Iterator[str]:
    for number in range(1, len(pieces), 2):
        before, after = pieces[number - 1][-1:], pieces[number + 1][:1]
        if before and after and before in _QUOTES and after in _QUOTES:
            yield pieces[number]


def _open(pieces: list[str]) -> Iterator[str]:
    """Places that stand after a colon, in brackets, or as a sentence or clause by themselves."""
    for number in range(1, len(pieces), 2):
        before, after = pieces[number - 1], pieces[number + 1]
        begins = not before and (after.startswith((". ", "; ")) or after[:2].strip().isupper())
        if begins or before.endswith((": ", "(", ". ")):
            yield pieces[number]


def _glued(pieces: list[str]) -> Iterator[str]:
    """Places that are only a part of a word."""
    for number in range(1, len(pieces), 2):
        before, after = pieces[number - 1][-1:], pieces[number + 1][:1]
        if before.isalnum() or before == "-" or after.isalnum() or after == "-":
            yield pieces[number]


class Index:
    """Templates by the rarest word of each, so that a sentence is tried against few of them."""

    def __init__(self, templates: Iterable[Template]) -> None:
        needed = {made: _whole_words(made) for made in templates}
        common = Counter(word for words in needed.values() for word in words)
        self._by_word: dict[str, list[tuple[Template, frozenset[str]]]] = {}
        for made, words in sorted(needed.items(), key=lambda item: -item[0].weight):
            rarest = min(words, key=lambda word: (common[word], -len(word), word), default="")
            self._by_word.setdefault(rarest, []).append((made, words))

    def candidates(self, text: str) -> list[Template]:
        """Templates all of whose words are in a text, those that say most first."""
        words = {"", *_WORD.findall(text)}
        found = [
            made
            for word in words
            for made, needed in self._by_word.get(word, ())
            if needed <= words
        ]
        return sorted(found, key=lambda made: (-made.weight, made.literals))


def _whole_words(made: Template) -> frozenset[str]:
    """Words of a template that no place touches, as they stand."""
    words: set[str] = set()
    for number, literal in enumerate(made.literals):
        for found in _WORD.finditer(literal):
            touches_before = found.start() == 0 and number > 0
            touches_after = found.end() == len(literal) and number < len(made.literals) - 1
            if not touches_before and not touches_after:
                words.add(found[0])
    return frozenset(words)
