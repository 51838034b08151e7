"""Trouble codes that a shift would be expected to set.

Numbers and titles follow the generic lists of SAE J2012 / ISO 15031-6 as seen in public code lists;
check them against the standard's own list before relying on a title.
"""

from __future__ import annotations

from collections.abc import Sequence

from crankwise.comparison.words import with_uncertainty
from crankwise.model.comparison import CamShift
from crankwise.roles.naming import cam_name

_TITLE = "Crankshaft Position - Camshaft Position Correlation"
_CORRELATION = {
    ("intake", 1): ("P0016", f"{_TITLE}, Bank 1 Sensor A"),
    ("exhaust", 1): ("P0017", f"{_TITLE}, Bank 1 Sensor B"),
    ("intake", 2): ("P0018", f"{_TITLE}, Bank 2 Sensor A"),
    ("exhaust", 2): ("P0019", f"{_TITLE}, Bank 2 Sensor B"),
}
_BANK = {
    1: ("P0008", "Engine Position System Performance, Bank 1"),
    2: ("P0009", "Engine Position System Performance, Bank 2"),
}
_EARLIEST_SHARE = 0.75
"""Published limits lie between 9 and 15 degrees; from three quarters of their middle on, some
controllers set a code and others don't."""


def expected_codes(cams: Sequence[CamShift], code_limit_deg: float) -> tuple[str, ...]:
    """One sentence for each code that these shifts bear on.

    Both cams of a bank beyond the limit the same way also concern the bank's code.
    """
    sentences: list[str] = []
    beyond: dict[int, list[float]] = {}
    for cam in cams:
        side, bank = _place(cam.role)
        size = abs(cam.shift_deg)
        amount = with_uncertainty(cam.shift_deg, cam.uncertainty_deg)
        if size < _EARLIEST_SHARE * code_limit_deg:
            continue
        if (side, bank) not in _CORRELATION:
            sentences.append(
                "A correlation code "
                f"{'would be expected' if size >= code_limit_deg else 'may or may not be set yet'} "
                f"for {cam_name(cam.role)} at {amount}; which one depends on which cam this is."
            )
            continue
        number, title = _CORRELATION[side, bank]
        if size >= code_limit_deg:
            sentences.append(f"{number} ({title}) would be expected at {amount}.")
            beyond.setdefault(bank, []).append(cam.shift_deg)
        else:
            sentences.append(f"{number} ({title}) may or may not be set yet at {amount}.")
    for bank, shifts in sorted(beyond.items()):
        if len(shifts) == 2 and shifts[0] * shifts[1] > 0:
            number, title = _BANK[bank]
            sentences.append(f"{number} ({title}) would be expected as well.")
    if not sentences and cams:
        sentences.append("No correlation code would be expected yet.")
    return tuple(sentences)


def _place(role: str) -> tuple[str, int]:
    side, _, bank = role.partition("-")
    return side, int(bank) if bank.isdigit() else 1
