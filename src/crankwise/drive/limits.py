"""Published limits, kept as data with their sources in ``limits.toml``."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from math import inf
from typing import Any, Literal, cast

from crankwise.errors import UsageError

Quantity = Literal[
    "shift",
    "learned-angle",
    "step",
    "segment-ratio",
    "elongation",
    "movement",
    "wear-depth",
    "link-length",
    "extension",
    "deflection",
]
WITHIN = "within the published limit"

_EVENT = re.compile(
    r"(?P<deg>\d+(?:\.\d+)?)\s*(?:°|deg)?\s*(?P<side>[AB])(?P<dead>[TB])DC", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class Judged:
    """What a published limit says of one value.

    Attributes
    ----------
    within : bool
        Whether the value is inside the limit itself.
    says : str
        In the source's sense, for example ``sets P0016``.
    """

    within: bool
    says: str


@dataclass(frozen=True, slots=True)
class Band:
    """Values from ``low`` to ``high``, both ends counted, whether that is well, and in words."""

    low: float
    high: float
    well: bool
    says: str


@dataclass(frozen=True, slots=True)
class PublishedLimit:
    """One entry of ``limits.toml``.

    Attributes
    ----------
    key : str
    quantity : str
        What is limited, in the unit the file's heading gives.
    low, high : float
        All is well within; infinite where there is no such end.
    is_open : bool
        Whether the ends themselves are already outside.
    within, beyond : str
        What is said of a value inside and outside.
    bands : tuple of Band
        Looked through first.
    cycles : (int, int) or None
        Outside in so many, of so many cycles: only then the controller sets its code.
    conditions, source : str
    is_weak : bool
        Whether the source is a trade or hobby page.
    """

    key: str
    quantity: Quantity
    low: float
    high: float
    is_open: bool
    within: str
    beyond: str
    bands: tuple[Band, ...]
    cycles: tuple[int, int] | None
    conditions: str
    source: str
    is_weak: bool

    def judge(self, value: float) -> Judged:
        """Judge one value, in the unit of ``quantity``.

        >>> published("mercedes-chain").judge(10.1).says
        'look for valve contact before fitting a chain'
        """
        for band in self.bands:
            if band.low <= value <= band.high:
                return Judged(within=band.well, says=band.says)
        inside, at_end = self.low < value < self.high, value in (self.low, self.high)
        within = inside or (at_end and not self.is_open)
        return Judged(within=within, says=self.within if within else self.beyond)

    def sets_code(self, values: Sequence[float]) -> bool:
        """Whether a controller with this limit would set its code.

        Parameters
        ----------
        values : sequence of float [shape=(n,)]
            One for each cycle. Without a rule on cycles a single one outside is enough; with
            one, enough of any so many cycles in a row must be outside.
        """
        outside = [not self.judge(value).within for value in values]
        if self.cycles is None:
            return any(outside)
        wanted, window = self.cycles
        return any(
            sum(outside[start : start + window]) >= wanted
            for start in range(max(1, len(outside) - window + 1))
        )


@dataclass(frozen=True, slots=True)
class RunIn:
    """Published valve events of one engine when new and when run in, as ``21 BBDC``."""

    key: str
    new: Mapping[str, str]
    used: Mapping[str, str]
    source: str

    def shifts_deg(self) -> dict[str, float]:
        """Shift of each event, crank degrees; positive is later."""
        return {
            event: event_shift_deg(new=at, used=self.used[event]) for event, at in self.new.items()
        }


@cache
def limits() -> dict[str, PublishedLimit]:
    """All published limits by key."""
    return {entry["key"]: _limit(entry) for entry in _entries("limit")}


@cache
def run_ins() -> dict[str, RunIn]:
    """Return published valve events of engines new and run in, by key."""
    return {entry["key"]: RunIn(**entry) for entry in _entries("run_in")}


def limits_on(quantity: Quantity) -> tuple[PublishedLimit, ...]:
    """List the published limits on one quantity, in file order."""
    return tuple(limit for limit in limits().values() if limit.quantity == quantity)


def published(key: str) -> PublishedLimit:
    """Return the limit of that key.

    Raises
    ------
    UsageError
        There is none; lists those there are.
    """
    if key not in limits():
        raise UsageError(f"no published limit '{key}'; there are {', '.join(limits())}")
    return limits()[key]


def event_shift_deg(*, new: str, used: str) -> float:
    """Shift between two valve events as service information writes them; positive is later.

    Both must count from the same dead centre.

    Raises
    ------
    UsageError
        An event isn't written as ``19 BTDC``, or the two count from different dead centres.

    >>> event_shift_deg(new="21 BBDC", used="19 BBDC")
    2.0
    """
    (dead_new, angle_new), (dead_used, angle_used) = _event(new), _event(used)
    if dead_new != dead_used:
        raise UsageError(
            f"'{new}' and '{used}' count from different dead centres; write both from the same"
        )
    return angle_used - angle_new


def _event(text: str) -> tuple[str, float]:
    match = _EVENT.fullmatch(text.strip())
    if match is None:
        raise UsageError(f"'{text}' is no valve event; write for example 19 BTDC or 15.5 ABDC")
    side = 1.0 if match["side"].upper() == "A" else -1.0
    return match["dead"].upper(), side * float(match["deg"])


def _entries(kind: str) -> list[dict[str, Any]]:
    text = resources.files("crankwise.drive").joinpath("limits.toml").read_text("utf-8")
    return cast("list[dict[str, Any]]", tomllib.loads(text)[kind])


def _limit(entry: dict[str, Any]) -> PublishedLimit:
    cycles = entry.get("cycles")
    return PublishedLimit(
        key=entry["key"],
        quantity=entry["quantity"],
        low=float(entry.get("low", -inf)),
        high=float(entry.get("high", inf)),
        within=entry.get("within", WITHIN),
        beyond=entry["beyond"],
        is_open=entry.get("open", False),
        bands=tuple(Band(**band) for band in entry.get("band", ())),
        cycles=(cycles[0], cycles[1]) if cycles else None,
        conditions=entry.get("conditions", ""),
        source=entry["source"],
        is_weak=entry.get("weak", False),
    )
