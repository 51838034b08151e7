"""The known-goods that a recording fits by its pattern, whatever engine it is of."""

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

_MOST_KNOWN_GOODS: Final = 200
"""Most known-goods taken of a family that a recording fits by its pattern; more add nothing."""


@dataclass(frozen=True, slots=True)
class Fitting:
    """Known-goods that a recording can be compared with, and their family."""

    family: str
    known_goods: tuple[KnownGood, ...]


def find_fitting(store: Store, measurement: Measurement, *, family: str | None = None) -> Fitting:
    """Find the known-goods of a family, else of the one family that the recording fits.

    Two families of one pattern may be timed differently, so that none is taken of several.

    Raises
    ------
    UsageError
        There is no known-good but the recording itself, or the recording fits several families.
    """
    if family is not None:
        found = Fitting(family, of_family(store, family))
    else:
        fits = store.shelf.fits(measurement, limit=_MOST_KNOWN_GOODS)
        families = sorted({fit.family for fit in fits})
        if len(families) > 1:
            raise UsageError(f"the recording fits several: {', '.join(families)}; name the family")
        known_goods = tuple(one for fit in fits for one in store.shelf.load(fit.ids))
        found = Fitting(families[0] if families else "", known_goods)
    sha256 = measurement.recording.sha256
    rest = tuple(k for k in found.known_goods if k.measurement.recording.sha256 != sha256)
    if found.known_goods and not rest:
        raise UsageError(
            f"the only known-good of {found.family!r} on the shelf is this recording itself: there "
            "is nothing to compare it with yet"
        )
    if not rest:
        raise UsageError(
            "no known-good on the shelf has the pattern of this recording: name the family, or "
            "the known-goods to compare with"
        )
    return Fitting(found.family, rest)


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
