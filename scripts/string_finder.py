"""Find in a module's syntax tree the strings that people read.

f-strings become messages with numbered places; a choice between two constants inside one makes two
messages, and a place whose value is a constant of the module holds it.
"""  # noqa: INP001  a script, not a package

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Sequence
from itertools import product
from typing import Final

OURS: Final = {
    "UsageError", "NotFoundError", "UnreadableError", "NotMeasurableError", "MissingPackageError",
}  # fmt: skip
"""Errors that reach people."""

FOR_MACHINES: Final = {
    "compile", "match", "fullmatch", "search", "sub", "split", "startswith", "endswith",
    "removeprefix", "removesuffix", "partition", "rpartition", "replace", "encode", "find",
    "text", "execute", "exec_driver_sql", "getattr", "import_module", "filterwarnings", "TypeVar",
    "Index", "Option", "Argument", "Literal", "debug", "info", "warning", "exception",
}  # fmt: skip
"""Calls whose arguments nobody reads."""

_MOST_ALTERNATIVES: Final = 8
_OUTSIDE: Final = re.compile(r"^[\s;,:]+|[\s;,:]+$")
_PLACE: Final = re.compile(r"\{\w+\}")
_WORD: Final = re.compile(r"[a-z][a-z'-]+")


Text = tuple[str | None, ...]
"""Pieces of a string; None is a place."""


class Finder(ast.NodeVisitor):
    """Collects the messages of one module, in the order in which they stand."""

    def __init__(self, tree: ast.Module) -> None:
        self.tree = tree
        self.constants = dict(_string_constants(tree))
        self.found: list[str] = []

    def visit_Constant(self, node: ast.Constant) -> None:
        """Take a string by itself."""
        self._take(node)

    def visit_JoinedStr(self, node: ast.JoinedStr) -> None:
        """Take an f-string."""
        self._take(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        """Take strings put together by a plus sign."""
        self._take(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        """Take words that a condition chooses from, single ones as well."""
        self._take(node, single_words=True)

    def visit_Call(self, node: ast.Call) -> None:
        """Pass over what is for machines; a filled text is a message with its places."""
        name = called(node)
        if name == "format" and isinstance(node.func, ast.Attribute):
            self.visit(node.func.value)
        if name not in FOR_MACHINES:
            self.generic_visit(node)

    def visit_Raise(self, node: ast.Raise) -> None:
        """Errors of ours are for people, others for programmers."""
        name = called(node.exc) if isinstance(node.exc, ast.Call) else ""
        if name in OURS or not name.endswith(("Error", "Exit", "Exception")):
            self.generic_visit(node)

    def visit_Dict(self, node: ast.Dict) -> None:
        """Keys are for machines."""
        for value in node.values:
            self.visit(value)

    def visit_Subscript(self, node: ast.Subscript) -> None:
        """Keys and types are for machines."""
        self.visit(node.value)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        """Pass over the type."""
        if node.value is not None:
            self.visit(node.value)

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        """Pass over decorators, types and the docstring."""
        for default in (*node.args.defaults, *node.args.kw_defaults):
            if default is not None:
                self.visit(default)
        for statement in node.body:
            self.visit(statement)

    def visit_Expr(self, node: ast.Expr) -> None:
        """Pass over docstrings."""
        if not isinstance(node.value, ast.Constant):
            self.visit(node.value)

    def visit_Compare(self, node: ast.Compare) -> None:
        """What is compared with is for machines."""

    def visit_Assert(self, node: ast.Assert) -> None:
        """For programmers."""

    def _take(self, node: ast.expr, *, single_words: bool = False) -> None:
        rest: list[ast.expr] = []
        texts = self._texts(node, rest)
        if texts is None or len(texts) > _MOST_ALTERNATIVES:
            self.generic_visit(node)
            return
        for pieces in texts:
            text = _numbered(pieces)
            if _is_message(text) or (single_words and _WORD.fullmatch(text)):
                self.found.append(text)
        for inner in rest:
            self.visit(inner)

    def _texts(self, node: ast.expr, rest: list[ast.expr]) -> list[Text] | None:
        """All that a string can be; None if it is no string. What fills places joins ``rest``."""
        found: list[Text] | None = None
        match node:
            case ast.Constant(value=str(text)):
                found = [(text,)]
            case ast.Name(id=name) if name in self.constants:
                found = [(self.constants[name],)]
            case ast.JoinedStr(values=values):
                found = _each([self._texts(value, rest) or [] for value in values])
            case ast.FormattedValue(value=ast.IfExp() | ast.Name() as inner, format_spec=None):
                found = self._texts(inner, rest) or self._place(inner, rest)
            case ast.FormattedValue(value=inner):
                found = self._place(inner, rest)
            case ast.BinOp(left=one, op=ast.Add(), right=other):
                both = [(side, self._texts(side, rest)) for side in (one, other)]
                if any(texts for _, texts in both):
                    found = _each([texts or self._place(side, rest) for side, texts in both])
            case ast.IfExp(body=one, orelse=other):
                ways = self._texts(one, rest), self._texts(other, rest)
                found = None if None in ways else [text for texts in ways for text in texts or ()]
        return found

    def _place(self, node: ast.expr, rest: list[ast.expr]) -> list[Text]:
        rest.append(node)
        return [(None,)]


def _each(parts: Sequence[list[Text]]) -> list[Text]:
    return [tuple(piece for text in texts for piece in text) for texts in product(*parts)]


def _numbered(pieces: Text) -> str:
    """Put a text together with its places numbered, without what joins it to others."""
    number = 0
    text = ""
    for piece in pieces:
        number += piece is None
        text += f"{{{number}}}" if piece is None else piece
    return trimmed(text)


def trimmed(text: str) -> str:
    """Take off what joins a text to others.

    >>> trimmed("; and the rest: ")
    'and the rest'
    """
    return _OUTSIDE.sub("", text)


def _is_message(text: str) -> bool:
    words = _PLACE.sub("", text)
    return " " in text.strip() and re.search(r"[^\W\d_]{2}", words) is not None


def _string_constants(tree: ast.Module) -> Iterator[tuple[str, str]]:
    for node in tree.body:
        match node:
            case (
                ast.Assign(targets=[ast.Name(id=name)], value=ast.Constant(value=str(text)))
                | ast.AnnAssign(target=ast.Name(id=name), value=ast.Constant(value=str(text)))
            ):
                yield name, text


def called(node: ast.expr | None) -> str:
    """Name of what is called."""
    if not isinstance(node, ast.Call):
        return ""
    function = node.func
    return function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")
