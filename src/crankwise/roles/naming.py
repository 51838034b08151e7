"""Names for the cams found: by what their channel names say, else numbered."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from crankwise.roles.names import NameHint


def name_cams(
    channels: Sequence[str], fixed: Mapping[str, str], hints: Mapping[str, NameHint]
) -> dict[str, str]:
    """Role for each cam channel.

    Roles given by the user stand. A bank is named only where more than one cam has the same side.

    Parameters
    ----------
    channels : sequence of str
        Cam channels in file order.
    fixed : mapping of role to channel
    hints : mapping of channel to NameHint

    Examples
    --------
    >>> from crankwise.roles.names import hint
    >>> names = ["CMP in B1", "CMP in B2", "CMP x"]
    >>> name_cams(names, {}, {name: hint(name) for name in names})
    {'CMP in B1': 'intake-1', 'CMP in B2': 'intake-2', 'CMP x': 'cam-1'}
    """
    roles = {channel: role for role, channel in fixed.items()}
    open_channels = [channel for channel in channels if channel not in roles]
    sides = Counter(hints[channel].side for channel in open_channels)
    number = 0
    for channel in open_channels:
        side, bank = hints[channel].side, hints[channel].bank
        role = ""
        if side:
            role = side if sides[side] == 1 else f"{side}-{bank}" if bank else ""
        if not role or role in roles.values():
            number += 1
            while f"cam-{number}" in roles.values():
                number += 1
            role = f"cam-{number}"
        roles[channel] = role
    return {channel: roles[channel] for channel in channels}


def cam_name(role: str) -> str:
    """How a cam is called in a sentence.

    >>> cam_name("exhaust"), cam_name("cam-1")
    ('exhaust cam', 'cam-1')
    """
    return role if role.startswith("cam") else f"{role} cam"
