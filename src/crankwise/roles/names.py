"""What a channel's name says about its role, in the usual abbreviations of several languages."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import Literal

_CRANK = (
    "ckp crk crank crankshaft krank kw kurbelwelle kurbel vilebrequin vil pmh ciguenal cig "
    "albero-motore virabrequim wal vevaxel ne"
)
_CAM = (
    "cmp cam camshaft nw nockenwelle nocken aac arbre-a-cames levas arbol camme camma "
    "comando kamaxel walek"
)
_INTAKE = "intake inlet int in ein einlass adm admission admision aspirazione asp insug admissao"
_EXHAUST = "exhaust exh ex aus auslass ech echappement escape esc scarico avgas"
_OTHER = (
    "coil ign ignition spark inj injector injection zund zundung zundspule einspritz einspritzung "
    "injecteur bobine inyector bobina iniettore knock map maf tps vvt ocv solenoid pressure "
    "druck current strom batt battery"
)


def _words(listed: str) -> frozenset[str]:
    return frozenset(listed.split())


_KINDS = {
    "crank": _words(_CRANK),
    "cam": _words(_CAM),
    "intake": _words(_INTAKE),
    "exhaust": _words(_EXHAUST),
    "other": _words(_OTHER),
}
_LETTERS = str.maketrans({"ł": "l", "ø": "o", "đ": "d", "æ": "ae", "œ": "oe"})
_BANK = re.compile(r"^(?:b|bank|bk|banc|banco|bancata)?([12])$")


@dataclass(frozen=True, slots=True)
class NameHint:
    """What a name suggests.

    ``kind`` is ``crank``, ``cam``, ``other`` or empty; ``side`` is ``intake``, ``exhaust`` or
    empty; ``bank`` 1, 2 or None.
    """

    kind: Literal["crank", "cam", "other", ""]
    side: Literal["intake", "exhaust", ""]
    bank: int | None


def hint(name: str) -> NameHint:
    """Read a channel's name.

    >>> hint("CMP Ein B2")
    NameHint(kind='cam', side='intake', bank=2)
    >>> hint("Kurbelwelle").kind, hint("Channel 0").kind, hint("inj 1").kind
    ('crank', '', 'other')
    """
    words = _split(name)
    found = {kind for kind, listed in _KINDS.items() if any(_is_in(word, listed) for word in words)}
    side: Literal["intake", "exhaust", ""] = ""
    if ("intake" in found) != ("exhaust" in found):
        side = "intake" if "intake" in found else "exhaust"
    bank = next((int(match[1]) for word in words if (match := _BANK.match(word)) is not None), None)
    if "crank" in found and "cam" not in found:
        return NameHint("crank", "", bank)
    if "other" in found and "cam" not in found:
        return NameHint("other", "", bank)
    if "cam" in found or side:
        return NameHint("cam", side, bank)
    return NameHint("", "", None)


def _split(name: str) -> list[str]:
    plain = unicodedata.normalize("NFKD", name.casefold().translate(_LETTERS))
    plain = "".join(char for char in plain if not unicodedata.combining(char))
    plain = re.sub(r"\[[^\]]*\]|\([^)]*\)", " ", plain)
    plain = re.sub(r"(?<=[a-z])(?=\d)|(?<=\d)(?=[a-z])", " ", plain)
    words = re.findall(r"[a-z]+|\d+", plain)
    # "b 2" and "bank 2" belong together again.
    joined: list[str] = []
    for word in words:
        if joined and word in {"1", "2"} and joined[-1] in {"b", "bank", "bk", "banc"}:
            joined[-1] += word
        else:
            joined.append(word)
    return joined


def _is_in(word: str, listed: frozenset[str]) -> bool:
    """Whole words; long ones also as the start of a compound (``Nockenwellensensor``)."""
    return word in listed or any(len(item) >= 5 and word.startswith(item) for item in listed)
