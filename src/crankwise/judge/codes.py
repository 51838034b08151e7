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


def codes_read(
    cams: Sequence[CamShift], code_limit_deg: float, read: Sequence[str]
) -> tuple[str, ...]:
    """One sentence for each correlation code read that these shifts don't explain, or that lacks.

    Parameters
    ----------
    cams : sequence of CamShift
    code_limit_deg : float
    read : sequence of str
        Codes read at the visit; none says that it was looked and there were none.
    """
    numbers = {code[:5] for code in read}
    expected = [cam for cam in cams if abs(cam.shift_deg) >= code_limit_deg]
    if expected and not read:
        none = (
            "No code was read at this visit: the engine control may not have compared the cams "
            "since its codes were cleared, or may tolerate this much."
        )
        return (none,)
    sentences = []
    for cam in cams:
        number = _CORRELATION.get(_place(cam.role), ("", ""))[0]
        if number in numbers and abs(cam.shift_deg) < _EARLIEST_SHARE * code_limit_deg:
            sentences.append(
                f"{number} was read, which {with_uncertainty(cam.shift_deg, cam.uncertainty_deg)} "
                f"of the {cam_name(cam.role)} does not explain: the cam may have been further off "
                "then, or its phaser, sensor or wiring set the code. Clear it, and see whether it "
                "comes back."
            )
    return tuple(sentences)


def _place(role: str) -> tuple[str, int]:
    side, _, bank = role.partition("-")
    return side, int(bank) if bank.isdigit() else 1
