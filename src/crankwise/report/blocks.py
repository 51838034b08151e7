"""What a page is made of: plain text in a few kinds of block, the same for PDF and HTML.

Words and numbers are final here. A template only places them, and a text from outside stays text:
no block carries markup, but for the pictures, which this package draws itself.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass
from typing import Any, ClassVar, Literal

from crankwise.model.comparison import Level
from crankwise.model.shop import Paper

Tone = Literal["body", "lead", "small"]


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph; ``lead`` opens a section, ``small`` is what stands in the margin of a matter."""

    kind: ClassVar[str] = "paragraph"
    text: str
    tone: Tone = "body"


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading inside a section."""

    kind: ClassVar[str] = "heading"
    text: str


@dataclass(frozen=True, slots=True)
class Bullets:
    """Sentences, each by itself."""

    kind: ClassVar[str] = "bullets"
    lines: tuple[str, ...]
    tone: Tone = "body"


@dataclass(frozen=True, slots=True)
class Facts:
    """Names with what they are, in pairs."""

    kind: ClassVar[str] = "facts"
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table.

    Attributes
    ----------
    head : tuple of str
    rows : tuple of tuple of str
        Each as long as the head; an empty cell of a table with ``blank`` is to be written in.
    numbers : tuple of int
        Columns set flush right.
    wide : tuple of int
        Columns that share the room that is left.
    blank : bool
        Rows are high enough to be written in by hand.
    """

    kind: ClassVar[str] = "table"
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[int, ...] = ()
    wide: tuple[int, ...] = ()
    blank: bool = False


@dataclass(frozen=True, slots=True)
class Figure:
    """A picture.

    Attributes
    ----------
    svg : str
        A whole SVG file of our own.
    alt : str
        What it shows, in words.
    caption : str
    width_percent : int
        Share of the width of the text.
    """

    kind: ClassVar[str] = "figure"
    svg: str
    alt: str
    caption: str = ""
    width_percent: int = 100


@dataclass(frozen=True, slots=True)
class Result:
    """The one sentence that a page is about, with its number beside it.

    Attributes
    ----------
    level : Level
    word : str
        The verdict's word, shown with its sign.
    sign : str
        The sign as an SVG file.
    sentence : str
    amount, about : str
        The number with its uncertainty, and what it is of; empty where there is none.
    now : str
        How it stands since, where that is another matter.
    """

    kind: ClassVar[str] = "result"
    level: Level
    word: str
    sign: str
    sentence: str
    amount: str = ""
    about: str = ""
    now: str = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """One choice with its price.

    Attributes
    ----------
    title : str
    lines : tuple of str
        What is in it.
    prices : tuple of tuple of str
        What each amount is for, and the amount; the last one is the total.
    notes : tuple of str
        What else to know of it.
    """

    title: str
    lines: tuple[str, ...]
    prices: tuple[tuple[str, str], ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Choices:
    """Choices, one below the other."""

    kind: ClassVar[str] = "choices"
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True)
class Caution:
    """What to mind, set apart from the rest."""

    kind: ClassVar[str] = "caution"
    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Task:
    """Something to do, with a box to tick; ``room`` asks for a line to write on."""

    text: str
    detail: str = ""
    is_done: bool = False
    room: bool = False


@dataclass(frozen=True, slots=True)
class Tasks:
    """Things to do, in their order."""

    kind: ClassVar[str] = "tasks"
    tasks: tuple[Task, ...]


@dataclass(frozen=True, slots=True)
class Blanks:
    """Names with what is known, and lines to write on where nothing is."""

    kind: ClassVar[str] = "blanks"
    rows: tuple[tuple[str, str], ...]


Block = (
    Paragraph
    | Heading
    | Bullets
    | Facts
    | Table
    | Figure
    | Result
    | Choices
    | Caution
    | Tasks
    | Blanks
)


@dataclass(frozen=True, slots=True)
class Section:
    """Blocks under a heading; ``together`` keeps them on one page: only for what is short."""

    kind: ClassVar[str] = "section"
    title: str
    blocks: tuple[Block, ...]
    together: bool = False


@dataclass(frozen=True, slots=True)
class Pair:
    """Two sections side by side."""

    kind: ClassVar[str] = "pair"
    left: Section
    right: Section


@dataclass(frozen=True, slots=True)
class Letterhead:
    """Who wrote it: name, lines of the address, the logo as a data address, empty without one."""

    name: str
    contact: tuple[str, ...]
    logo: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One page, or as many as it takes, with a title of its own.

    Attributes
    ----------
    title : str
    subject : str
        What it is about: the vehicle.
    facts : tuple of tuple of str
        Vehicle, day and mileage, in pairs.
    opening : tuple of Block
        What stands before the first heading.
    sections : tuple of Section or Pair
    closing : str
        Last words.
    """

    title: str
    subject: str
    facts: tuple[tuple[str, str], ...]
    opening: tuple[Block, ...]
    sections: tuple[Section | Pair, ...]
    closing: str = ""


@dataclass(frozen=True, slots=True)
class Attachment:
    """A file inside the file: a document that a program can read."""

    name: str
    text: str
    description: str


@dataclass(frozen=True, slots=True)
class Document:
    """Sheets to be printed together.

    Attributes
    ----------
    title : str
    language : str
        Code such as ``en``.
    paper : {"A4", "Letter"}
    day : str
        ISO 8601; the file's date. Empty where none is known.
    footer, page_words : str
        Foot of every page, and how it is numbered, with the places ``{page}`` and ``{pages}``.
    letterhead : Letterhead
    sheets : tuple of Sheet
    attachments : tuple of Attachment
    """

    title: str
    language: str
    paper: Paper
    day: str
    footer: str
    page_words: str
    letterhead: Letterhead
    sheets: tuple[Sheet, ...]
    attachments: tuple[Attachment, ...] = ()


def values(part: Any) -> Any:
    """Turn blocks into plain values for a template, each with its kind.

    >>> values(Paragraph("Hello."))
    {'kind': 'paragraph', 'text': 'Hello.', 'tone': 'body'}
    """
    if is_dataclass(part):
        own = {field.name: values(getattr(part, field.name)) for field in fields(part)}
        kind = getattr(part, "kind", None)
        return {"kind": kind, **own} if kind else own
    if isinstance(part, tuple):
        return [values(item) for item in part]
    return part
