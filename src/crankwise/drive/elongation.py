"""A chain's elongation in millimetres, and what published limits say of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.drive.geometry import elongation_limit_percent, whole_chain_growth_mm
from crankwise.drive.growth import cam_sprockets
from crankwise.drive.limits import limits_on
from crankwise.drive.path import tight_length_mm

if TYPE_CHECKING:
    from crankwise.model.engine import Drive, Engine

_GENERAL = "roller-chain-general"
"""The limit that many teeth lower."""


def growth_words(engine: Engine, drive: Drive, *, percent: float) -> list[str]:
    """Millimetres by which tight strands and whole chain have grown, as far as they are known.

    Parameters
    ----------
    engine : Engine
    drive : Drive
        One of the engine's.
    percent : float
        Elongation, alike in every link.

    Examples
    --------
    >>> from crankwise.drive.engine_file import load_engine
    >>> t20 = load_engine("tarn-t20")
    >>> growth_words(t20, t20.drives[0], percent=0.5)
    ['1.9 mm of the tight strands', '4.3 mm of the whole chain']
    """
    words = []
    length_mm = tight_length_mm(drive, cam_sprockets(engine, drive)[-1])
    if length_mm is not None:
        words.append(f"{length_mm * percent / 100:.1f} mm of the tight strands")
    if drive.pitch_mm is not None and drive.links is not None:
        whole_mm = whole_chain_growth_mm(
            percent=percent, pitch_mm=drive.pitch_mm, links=drive.links
        )
        words.append(f"{whole_mm:.1f} mm of the whole chain")
    return words


def limit_words(drive: Drive, *, percent: float) -> str:
    """Hold a chain's elongation against every published limit on it, each with its source.

    The general limit is lowered to 200/N percent where the drive has a sprocket of more than 66
    teeth. None of them is an engine maker's: those are far smaller and given as a length. Weak
    sources are left out. Empty for a belt.

    Examples
    --------
    >>> from crankwise.drive.engine_file import load_engine
    >>> limit_words(load_engine("tarn-t20").drives[0], percent=2.0)  # doctest: +ELLIPSIS
    'The elongation is within the published limit of 3 % (Diamond ...). The elongation is ...'
    """
    if drive.kind == "belt":
        return ""
    largest = max((sprocket.teeth or 0 for sprocket in drive.sprockets), default=0)
    judged = []
    for limit in limits_on("elongation"):
        if limit.is_weak:
            continue
        most = limit.high
        if limit.key == _GENERAL and largest:
            most = min(most, elongation_limit_percent(largest))
        judged.append(
            f"The elongation is within the published limit of {most:g} % ({limit.source})."
            if percent <= most
            else f"The elongation is beyond the published limit of {most:g} % ({limit.source})."
        )
    judged.append("Service information of the engine at hand goes first.")
    return " ".join(judged)
