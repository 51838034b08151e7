"""Bring the catalogues of all languages up to the messages in the source.

Messages that are new come without a translation, those that are gone leave, and translations are
kept. Run it after changing what people read, then translate what it names:

    .venv/bin/python scripts/write_catalogue.py
"""  # noqa: INP001  a script, not a package

from __future__ import annotations

from collections.abc import Iterable, Iterator
from textwrap import wrap
from typing import Final

from messages import SRC, Found, all_messages

from crankwise.language import LANGUAGES
from crankwise.language.po import Message, read_po

FOLDER: Final = SRC / "language"
_WIDTH: Final = 96
_ESCAPES: Final = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t"}


def main() -> None:
    """Write every catalogue and say what is to be translated."""
    found = all_messages()
    for code in LANGUAGES:
        path = FOLDER / f"{code}.po"
        if code == "en":
            continue
        kept = list(read_po(path.read_text(encoding="utf-8"))) if path.exists() else []
        merged = merge(found, kept)
        path.write_text(as_po(merged, header(kept, code)), encoding="utf-8")
        open_ones = [message.text for message in merged if not message.forms]
        print(f"{path.name}: {len(merged)} messages, {len(open_ones)} to be translated")
        for text in open_ones:
            print(f"  {text}")


def merge(found: Iterable[Found], kept: Iterable[Message]) -> list[Message]:
    """Messages of the source, in its order, with the translations there are."""
    forms = {(message.text, message.plural): message.forms for message in kept}
    origins: dict[str, list[str]] = {}
    plurals: dict[str, str] = {}
    for item in found:
        places = origins.setdefault(item.text, [])
        if item.origin not in places:
            places.append(item.origin)
        plurals[item.text] = item.plural or plurals.get(item.text, "")
    return [
        Message(text, plurals[text], forms.get((text, plurals[text]), ()), tuple(places))
        for text, places in origins.items()
    ]


def header(kept: Iterable[Message], code: str) -> str:
    """Head of a catalogue, as it stood or a new one."""
    for message in kept:
        if not message.text:
            return message.forms[0]
    return (
        "Project-Id-Version: crankwise\n"
        f"Language: {code}\n"
        "MIME-Version: 1.0\n"
        "Content-Type: text/plain; charset=UTF-8\n"
        "Content-Transfer-Encoding: 8bit\n"
        "Plural-Forms: nplurals=2; plural=(n != 1);\n"
    )


def as_po(messages: Iterable[Message], head: str) -> str:
    """Write a catalogue as gettext does; origins without line numbers, so that little changes."""
    blocks = [Message("", forms=(head,)), *messages]
    return "\n".join("\n".join(_block(message)) + "\n" for message in blocks)


def _block(message: Message) -> Iterator[str]:
    for origin in message.origins:
        yield f"#: {origin}"
    yield from _keyword("msgid", message.text)
    if not message.plural:
        yield from _keyword("msgstr", message.forms[0] if message.forms else "")
        return
    yield from _keyword("msgid_plural", message.plural)
    for number, form in enumerate(message.forms or ("", "")):
        yield from _keyword(f"msgstr[{number}]", form)


def _keyword(name: str, text: str) -> Iterator[str]:
    """A keyword with its words, on lines of their own where they are many."""
    lines = [part for line in text.splitlines(keepends=True) for part in _wrapped(line)]
    if len(lines) < 2 and len(name) + len(text) + 3 <= _WIDTH:
        yield f'{name} "{_escaped(text)}"'
        return
    yield f'{name} ""'
    yield from (f'"{_escaped(line)}"' for line in lines)


def _wrapped(line: str) -> list[str]:
    parts = wrap(
        line, _WIDTH, drop_whitespace=False, break_long_words=False, break_on_hyphens=False
    )
    return parts if "".join(parts) == line else [line]


def _escaped(text: str) -> str:
    return "".join(_ESCAPES.get(char, char) for char in text)


if __name__ == "__main__":
    main()
