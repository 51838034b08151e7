"""What was written down at a visit, as one reads it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.cli.wording import distance
from crankwise.language import say, told
from crankwise.model.job import (
    Advice,
    CheckDone,
    Choice,
    CodesRead,
    Complaint,
    HookUp,
    Note,
    Offer,
    PriceItem,
    Repair,
)

if TYPE_CHECKING:
    from crankwise.model.job import Fact


def fact_words(fact: Fact, *, unit: str | None = None) -> tuple[str, str]:
    """Return what kind of fact it is, and what it says.

    >>> fact_words(Complaint("rattles when cold"))
    ('complaint', 'rattles when cold')
    >>> fact_words(CodesRead((), ""))
    ('codes read', 'none')
    """
    match fact:
        case Complaint(text):
            label, words = say("complaint"), text or say("none")
        case CodesRead(codes, note):
            label, words = say("codes read"), _with_note(", ".join(codes) or say("none"), note)
        case HookUp():
            label, words = say("hook-up"), _hook_up(fact)
        case CheckDone(when, name, done, note):
            label = say("check before") if when == "before" else say("check after")
            words = _with_note(name if done else say("{name}: not done", name=name), note)
        case Choice(text, accepted):
            label, words = say("accepted") if accepted else say("declined"), text
        case Repair(text, chain_replaced):
            chain = say("new chain") if chain_replaced else say("chain kept")
            label, words = say("repair"), f"{text} ({chain})"
        case PriceItem(text, amount, currency):
            label, words = say("price"), f"{text}: {told(f'{amount:,.2f}')} {currency}"
        case Offer():
            label, words = say("offer"), _offer(fact, unit)
        case Advice(text) | Note(text):
            label = say("advised") if isinstance(fact, Advice) else say("note")
            words = text or say("none")
    return label, words


def _offer(offer: Offer, unit: str | None) -> str:
    between = f"{offer.low:,.2f}"
    if offer.high != offer.low:
        between += f" to {offer.high:,.2f}"
    price = f"{told(between)} {offer.currency}"
    if offer.tax_percent is not None:
        price = say("{price} and {tax} tax", price=price, tax=told(f"{offer.tax_percent}%"))
    words = f"{told(offer.option)}: {offer.text}, {price}"
    if offer.recheck_mileage is not None:
        words += say("; again at {mileage}", mileage=distance(offer.recheck_mileage, unit))
    return words


def _with_note(words: str, note: str) -> str:
    return f"{words}; {note}" if note else words


def _hook_up(fact: HookUp) -> str:
    named = (
        (say("connector {name}", name=fact.connector), fact.connector),
        (say("pin {name}", name=fact.pin), fact.pin),
        (say("wire {name}", name=fact.wire), fact.wire),
        (say("probed {name}", name=fact.probed_at), fact.probed_at),
        (say("unplugged: {name}", name=fact.unplugged), fact.unplugged),
    )
    parts = [words for words, value in named if value]
    if fact.puncture_sealed is not None:
        parts.append(say("puncture sealed") if fact.puncture_sealed else say("puncture still open"))
    return f"{told(fact.signal)}: {', '.join(parts) or say('nothing more said')}"
