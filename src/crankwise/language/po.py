"""Message catalogues as GNU gettext writes them, read without any package.

Layout: GNU gettext manual, section "The Format of PO Files". Contexts are not used here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

_KEYWORD: Final = re.compile(r'(msgid_plural|msgid|msgstr)(?:\[(\d)\])?\s+(".*")$')
_ESCAPED: Final = re.compile(r"\\(.)")
_MEANT: Final = {"n": "\n", "t": "\t", "r": "\r"}


@dataclass(frozen=True, slots=True)
class Message:
    """One message.

    Attributes
    ----------
    text, plural : str
        As it stands in the source; ``plural`` is empty where there is only one form.
    forms : tuple of str
        Translations: the only one, or that for one and that for many. Empty where there is none.
    origins : tuple of str
        Files of the source that hold it.
    """

    text: str
    plural: str = ""
    forms: tuple[str, ...] = ()
    origins: tuple[str, ...] = ()


def read_po(text: str) -> Iterator[Message]:
    r"""Yield the messages of a catalogue, its header first.

    Obsolete messages are passed over, and so are translations marked ``fuzzy``, which nobody has
    looked at.

    Raises
    ------
    ValueError
        A line is none of the format.

    >>> next(read_po('#: a.py\nmsgid "tooth"\nmsgstr ""\n"Zahn"\n'))
    Message(text='tooth', plural='', forms=('Zahn',), origins=('a.py',))
    """
    for block in re.split(r"\n\s*\n", text):
        lines = [line.strip() for line in block.splitlines() if not line.startswith("#~")]
        fields = _fields([line for line in lines if line and line[0] != "#"])
        if "msgid" not in fields:
            continue
        flags = " ".join(line for line in lines if line.startswith("#,"))
        forms = tuple(words for key, words in fields.items() if key.startswith("msgstr"))
        is_usable = all(forms) and "fuzzy" not in flags
        yield Message(
            text=fields["msgid"],
            plural=fields.get("msgid_plural", ""),
            forms=forms if is_usable else (),
            origins=tuple(line[2:].strip() for line in lines if line.startswith("#:")),
        )


def _fields(lines: list[str]) -> dict[str, str]:
    """Words of each keyword of one message, in their order."""
    fields: dict[str, str] = {}
    key = ""
    for line in lines:
        found = _KEYWORD.match(line)
        if found:
            key = found[1] + (found[2] or "")
            fields[key] = _unquoted(found[3])
        elif key and line[0] == line[-1] == '"':
            fields[key] += _unquoted(line)
        else:
            raise ValueError(f"this is no line of a catalogue: {line}")
    return fields


def _unquoted(quoted: str) -> str:
    return _ESCAPED.sub(lambda found: _MEANT.get(found[1], found[1]), quoted[1:-1])
