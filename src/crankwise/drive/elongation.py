"""The chain's wear that would explain a cam's shift, in millimetres and percent."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from crankwise.drive.geometry import elongation_limit_percent, whole_chain_growth_mm
from crankwise.drive.growth import lag_per_mm
from crankwise.drive.limits import Judged, PublishedLimit, limits_on
from crankwise.drive.path import cams_turned, tight_length_mm
from crankwise.errors import UsageError

if TYPE_CHECKING:
    from crankwise.model.engine import Drive, Engine


@dataclass(frozen=True, slots=True)
class Equivalent:
    """Growth of one drive's tight strand that alone would shift a cam by what was measured.

    It is an equivalent, not a finding: other faults shift cams too, and a negative growth, a cam
    that comes early, is no wear at all.

    Attributes
    ----------
    drive, role : str
        Name of the drive; the cam that was measured.
    growth_mm, growth_uncertainty_mm : float
        Growth of the tight strand up to that cam, and its expanded uncertainty.
    percent, percent_uncertainty : float or None
        The same as elongation; ``None`` if the strand's length isn't known.
    whole_mm, whole_uncertainty_mm : float or None
        Growth of the whole chain if every link wore alike; ``None`` if links or pitch are
        missing.
    method : str
    """

    drive: str
    role: str
    growth_mm: float
    growth_uncertainty_mm: float
    percent: float | None
    percent_uncertainty: float | None
    whole_mm: float | None
    whole_uncertainty_mm: float | None
    method: str = "tight strand at the sprocket's pitch radius; elastic stretch left out"


def equivalent(
    engine: Engine, drive: Drive, *, role: str, shift_deg: float, uncertainty_deg: float
) -> Equivalent:
    """Work out the growth of a drive's tight strand behind a cam's shift.

    Parameters
    ----------
    engine : Engine
    drive : Drive
        One of the engine's; the cam may also hang on it through a further drive.
    role : str
        The cam.
    shift_deg, uncertainty_deg : float
        Its shift and the expanded uncertainty, crank degrees; positive is later.

    Raises
    ------
    UsageError
        The drive doesn't turn this cam, or pitch, teeth or path aren't known.

    Examples
    --------
    >>> from crankwise.drive.engine_file import load_engine
    >>> t20 = load_engine("tarn-t20")
    >>> e = equivalent(t20, t20.drives[0], role="exhaust", shift_deg=5.0, uncertainty_deg=0.2)
    >>> round(e.growth_mm, 3), round(e.percent, 3), round(e.whole_mm, 2)
    (2.003, 0.834, 7.21)
    """
    index = _place(engine, drive, role)
    per_mm = lag_per_mm(engine, drive, index)
    if per_mm is None:
        raise UsageError(
            f"drive '{drive.name}': pitch_mm and the teeth up to '{drive.sprockets[index].shaft}' "
            "are needed to turn degrees into millimetres"
        )
    length = tight_length_mm(drive, index) if drive.path_known else None
    per_percent = None if length is None else per_mm * length / 100.0
    percent = None if per_percent is None else shift_deg / per_percent
    percent_uncertainty = None if per_percent is None else abs(uncertainty_deg / per_percent)
    return Equivalent(
        drive=drive.name,
        role=role,
        growth_mm=shift_deg / per_mm,
        growth_uncertainty_mm=uncertainty_deg / per_mm,
        percent=percent,
        percent_uncertainty=percent_uncertainty,
        whole_mm=_whole(drive, percent),
        whole_uncertainty_mm=_whole(drive, percent_uncertainty),
    )


def _place(engine: Engine, drive: Drive, role: str) -> int:
    for index, sprocket in enumerate(drive.sprockets):
        if index > 0 and role in cams_turned(engine, sprocket.shaft):
            return index
    raise UsageError(f"drive '{drive.name}' doesn't turn the cam '{role}'")


def _whole(drive: Drive, percent: float | None) -> float | None:
    if percent is None or drive.pitch_mm is None or drive.links is None:
        return None
    return whole_chain_growth_mm(percent=percent, pitch_mm=drive.pitch_mm, links=drive.links)


def against_limits(drive: Drive, *, percent: float) -> tuple[tuple[PublishedLimit, Judged], ...]:
    """Judge a chain's elongation by every published limit on it, strictest source or not.

    The general limit is lowered to 200/N percent where the drive has a sprocket of more than 66
    teeth. None of them is an engine maker's: those are far smaller and given as a length.
    Empty for a belt.
    """
    if drive.kind == "belt":
        return ()
    largest = max((sprocket.teeth or 0 for sprocket in drive.sprockets), default=0)
    most = elongation_limit_percent(largest) if largest else None
    judged = []
    for limit in limits_on("elongation"):
        result = limit.judge(percent)
        if limit.key == "roller-chain-general" and most is not None and percent > most:
            result = Judged(within=False, says=limit.beyond)
        judged.append((limit, result))
    return tuple(judged)
