"""Common files that are no recordings, by their signatures, so that a refusal can name them."""

from __future__ import annotations

import re

_OURS = re.compile(rb'\s*\{\s*"format":\s*"crankwise\.([a-z]+)')
_JSON = re.compile(rb'\s*\{\s*"')
_SIGNATURES = (
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"%PDF", "a PDF document"),
    (b"{\\rtf", "a text document"),
    (b"\xd0\xcf\x11\xe0", "an old office document or spreadsheet"),
    (b"\x7fELF", "a program"),
    (b"SQLite format 3", "a database"),
)
_RESULTS = {b"measurement": "a saved measurement", b"comparison": "a saved comparison"}


def what_else(head: bytes) -> str | None:
    r"""Say what a file is, if it begins like one of a few common kinds.

    >>> what_else(b"%PDF-1.7")
    'a PDF document'
    >>> what_else(b'{\n  "format": "crankwise.measurement/1"')
    'a saved measurement'
    """
    ours = _OURS.match(head)
    if ours:
        return _RESULTS.get(ours[1], "a file that Crankwise has written")
    if _JSON.match(head):
        return "a JSON document"
    return next((what for mark, what in _SIGNATURES if head.startswith(mark)), None)
