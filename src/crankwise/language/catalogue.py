"""The messages of one language, read at first use."""

from __future__ import annotations

import re
from functools import cache, cached_property
from pathlib import Path
from typing import Final

from crankwise.language.po import Message, read_po
from crankwise.language.templates import Index, has_places, places_of, template

_OF_THE_CORE: Final = re.compile(r"\d|place")


class Catalogue:
    """Messages of one language.

    Attributes
    ----------
    texts : dict of str to str
        Translation of each message, for one thing where the number decides.
    many : dict of str to str
        Translation for several things, where there is one, by the message for one.
    """

    def __init__(self, messages: list[Message]) -> None:
        translated = [message for message in messages if message.text and message.forms]
        self.texts: Final = {message.text: message.forms[0] for message in translated}
        self.many: Final = {
            message.text: message.forms[-1] for message in translated if message.plural
        }

    @cached_property
    def sentences(self) -> dict[str, str]:
        """Messages without places, without the full stop at their end."""
        return {
            text.removesuffix("."): said.removesuffix(".")
            for text, said in self.texts.items()
            if not has_places(text)
        }

    @cached_property
    def index(self) -> Index:
        """Messages with places, to find the one that a sentence was made from.

        The core's have numbers in their places; those with names are filled where they are said.
        """
        return Index(
            template(text.removesuffix("."), said.removesuffix("."))
            for text, said in self.texts.items()
            if has_places(text) and all(map(_OF_THE_CORE.fullmatch, places_of(text)))
        )


@cache
def catalogue(code: str) -> Catalogue:
    """Messages of a language other than English."""
    file = Path(__file__).with_name(f"{code}.po")
    return Catalogue(list(read_po(file.read_text(encoding="utf-8"))))
