"""Compare a recording of which no vehicle is known: the pattern finds what it fits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from crankwise import pipeline
from crankwise.errors import UsageError
from crankwise.workshop.shelving import of_family

if TYPE_CHECKING:
    from crankwise.model.comparison import Comparison
    from crankwise.model.measurement import Measurement
    from crankwise.model.shelf import KnownGood
    from crankwise.store import Store

_MOST: Final = 100
"""Known-goods compared with, the newest; more would tell little and take long."""


@dataclass(frozen=True, slots=True)
class Fitting:
    """Known-goods that a recording fits: their family, and other families that it fits too."""

    family: str
    known_goods: tuple[KnownGood, ...]
    others: tuple[str, ...] = ()


def find_fitting(store: Store, measurement: Measurement, *, family: str | None) -> Fitting:
    """Find the known-goods of a family, else of the family that the recording fits best.

    Raises
    ------
    UsageError
        No known-good fits, there is none of the family, or only the recording itself.
    """
    if family is not None:
        found = Fitting(family, of_family(store, family))
    else:
        fits = store.shelf.fits(measurement, limit=_MOST)
        if not fits:
            raise UsageError(
                "no known-good on the shelf fits, so there is nothing to compare it with: add one "
                "of a healthy engine"
            )
        others = dict.fromkeys(fit.family for fit in fits if fit.family != fits[0].family)
        found = Fitting(fits[0].family, store.shelf.load(fits[0].ids), tuple(others))
    sha256 = measurement.recording.sha256
    rest = tuple(k for k in found.known_goods if k.measurement.recording.sha256 != sha256)
    if not rest:
        raise UsageError(
            f"the only known-good of {found.family!r} on the shelf is this recording itself: there "
            "is nothing to compare it with yet"
        )
    return Fitting(found.family, rest, found.others)


def compare_fitting(store: Store, measurement: Measurement, fitting: Fitting) -> Comparison:
    """Compare with the known-goods found, by the workshop's engine file and policy.

    Raises
    ------
    NotMeasurableError
        The recording doesn't fit them; says why.
    """
    return pipeline.compare(
        measurement,
        [known_good.measurement for known_good in fitting.known_goods],
        engine=store.shop.engine_of_family(fitting.family),
        policy=store.shop.policy(),
    )
