"""What was written down at a visit, as one reads it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

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


def fact_words(fact: Fact) -> tuple[str, str]:
    """Return what kind of fact it is, and what it says.

    >>> fact_words(Complaint("rattles when cold"))
    ('complaint', 'rattles when cold')
    >>> fact_words(CodesRead((), ""))
    ('codes read', 'none')
    """
    label = _LABELS.get(type(fact), "")
    match fact:
        case CodesRead(codes, note):
            words = _with_note(", ".join(codes) or "none", note)
        case HookUp():
            words = _hook_up(fact)
        case CheckDone(when, name, done, note):
            label = f"check {when}"
            words = _with_note(name if done else f"{name}: not done", note)
        case Choice(text, accepted):
            label, words = "accepted" if accepted else "declined", text
        case Repair(text, chain_replaced):
            words = f"{text} ({'new chain' if chain_replaced else 'chain kept'})"
        case PriceItem(text, amount, currency):
            words = f"{text}: {amount:,.2f} {currency}"
        case Offer():
            words = _offer(fact)
        case Complaint(text) | Advice(text) | Note(text):
            words = text or "none"
    return label, words


_LABELS: Final = {
    Complaint: "complaint",
    CodesRead: "codes read",
    HookUp: "hook-up",
    Advice: "advised",
    Repair: "repair",
    PriceItem: "price",
    Offer: "offer",
    Note: "note",
}


def _offer(offer: Offer) -> str:
    price = f"{offer.low:,.2f}"
    if offer.high != offer.low:
        price += f" to {offer.high:,.2f}"
    tax = "" if offer.tax_percent is None else f" and {offer.tax_percent}% tax"
    again = "" if offer.recheck_mileage is None else f"; again at {offer.recheck_mileage:,.0f}"
    return f"{offer.option}: {offer.text}, {price} {offer.currency}{tax}{again}"


def _with_note(words: str, note: str) -> str:
    return f"{words}; {note}" if note else words


def _hook_up(fact: HookUp) -> str:
    parts = [
        f"{name} {value}"
        for name, value in (
            ("connector", fact.connector),
            ("pin", fact.pin),
            ("wire", fact.wire),
            ("probed", fact.probed_at),
            ("unplugged:", fact.unplugged),
        )
        if value
    ]
    if fact.puncture_sealed is not None:
        parts.append("puncture sealed" if fact.puncture_sealed else "puncture still open")
    return f"{fact.signal}: {', '.join(parts) or 'nothing more said'}"
