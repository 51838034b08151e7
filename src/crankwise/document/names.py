"""Names of files that every system takes."""

from __future__ import annotations

import re
import unicodedata
from typing import Final

_MOST_NAME_BYTES: Final = 120
_NOT_IN_NAMES: Final = re.compile(r'[<>:"|?*]')
_DEVICES: Final = re.compile(
    r"(?i)(?:con|prn|aux|nul|conin\$|conout\$|(?:com|lpt)[\d¹²³]) *(?:\.|$)"
)
"""Names that Windows gives to devices, whatever the ending (Microsoft: Naming Files)."""


def clean_name(name: str) -> str:
    r"""Make what somebody calls a file into one plain name, its ending kept.

    >>> clean_name("../../etc/van 3.csv"), clean_name("C:\\scope\\van:3.CSV"), clean_name("\x00..")
    ('van 3.csv', 'van_3.CSV', 'recording')
    """
    last = re.split(r"[/\\]", unicodedata.normalize("NFC", name))[-1]
    shown = "".join(char if char.isprintable() else " " for char in last)
    plain = " ".join(_NOT_IN_NAMES.sub("_", shown).split()).strip(". ")
    if _DEVICES.match(plain):
        plain = f"_{plain}"
    stem, dot, ending = plain.rpartition(".")
    if not dot or len(ending.encode()) > _MOST_NAME_BYTES // 8:
        stem, dot, ending = plain, "", ""
    room = _MOST_NAME_BYTES - len((dot + ending).encode())
    stem = stem.encode("utf-8", "replace")[:room].decode("utf-8", "ignore").rstrip(". ")
    return f"{stem}{dot}{ending}" if stem else "recording"
