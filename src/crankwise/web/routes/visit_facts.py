"""What is written down at a visit: each form adds a fact, and nothing is ever changed."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Form, Path
from fastapi.responses import RedirectResponse

from crankwise.language import say
from crankwise.model.job import (
    Advice,
    CheckDone,
    Choice,
    CodesRead,
    Complaint,
    Fact,
    HookUp,
    Note,
    Offer,
    Option,
    PriceItem,
    Repair,
)
from crankwise.web.desk import AtDesk, Desk
from crankwise.web.forms import amount, codes, mileage, optional, words

router = APIRouter(include_in_schema=False, prefix="/visits/{visit_id}")
VisitId = Annotated[int, Path(ge=1, le=2**31 - 1)]
Line = Annotated[str, Form(max_length=4000)]
YesNo = Annotated[Literal["yes", "no"], Form()]


def back_to(visit_id: int, step: str) -> RedirectResponse:
    """Go back to a step of the visit."""
    return RedirectResponse(f"/visits/{visit_id}#{step}", status_code=303)


def _note(desk: Desk, visit_id: int, *facts: Fact) -> None:
    job_id = desk.store.jobs.visit(visit_id).job_id
    for fact in facts:
        desk.store.jobs.add_fact(fact, job_id=job_id, visit_id=visit_id)


@router.post("/complaint")
def complaint(
    desk: AtDesk,
    visit_id: VisitId,
    text: Line = "",
    codes_read: Annotated[str, Form(alias="codes", max_length=4000)] = "",
) -> RedirectResponse:
    """Note what the customer says and the codes read; none of either is a fact too."""
    _note(desk, visit_id, Complaint(optional(text) or ""), CodesRead(codes(codes_read)))
    return back_to(visit_id, "vehicle")


@router.post("/hook-up")
def hook_up(
    desk: AtDesk,
    *,
    visit_id: VisitId,
    signal: Line,
    connector: Line = "",
    pin: Line = "",
    wire: Line = "",
    probed_at: Line = "",
    unplugged: Line = "",
    sealed: Line = "",
) -> RedirectResponse:
    """Note how a signal is reached."""
    fact = HookUp(
        signal=words(signal, what=say("signal")),
        connector=optional(connector) or "",
        pin=optional(pin) or "",
        wire=optional(wire) or "",
        probed_at=optional(probed_at) or "",
        unplugged=optional(unplugged) or "",
        puncture_sealed={"yes": True, "no": False}.get(sealed),
    )
    _note(desk, visit_id, fact)
    return back_to(visit_id, "hook-up")


@router.post("/advice")
def advice(desk: AtDesk, visit_id: VisitId, text: Line) -> RedirectResponse:
    """Note what is advised."""
    _note(desk, visit_id, Advice(words(text, what=say("advice"))))
    return back_to(visit_id, "advice")


@router.post("/choice")
def choice(desk: AtDesk, visit_id: VisitId, text: Line, accepted: YesNo) -> RedirectResponse:
    """Note what the owner chooses."""
    fact = Choice(words(text, what=say("choice")), accepted=accepted == "yes")
    _note(desk, visit_id, fact)
    return back_to(visit_id, "advice")


@router.post("/offer")
def offer(
    desk: AtDesk,
    *,
    visit_id: VisitId,
    option: Annotated[Option, Form()],
    text: Line,
    low: Line,
    high: Line = "",
    recheck_mileage: Line = "",
) -> RedirectResponse:
    """Note what one of the owner's choices costs."""
    profile = desk.store.shop.profile()
    least = amount(low, what=say("price from"))
    most = amount(high, what=say("price to")) if high.strip() else least
    fact = Offer(
        option=option,
        text=words(text, what=say("what is in it")),
        low=min(least, most),
        high=max(least, most),
        currency=profile.currency,
        tax_percent=profile.tax_percent,
        recheck_mileage=mileage(recheck_mileage, profile.mileage_unit)[0],
    )
    _note(desk, visit_id, fact)
    return back_to(visit_id, "advice")


@router.post("/repair")
def repair(desk: AtDesk, visit_id: VisitId, text: Line, chain_replaced: YesNo) -> RedirectResponse:
    """Note what was repaired."""
    fact = Repair(words(text, what=say("repair")), chain_replaced=chain_replaced == "yes")
    _note(desk, visit_id, fact)
    return back_to(visit_id, "after-repair")


@router.post("/price")
def price(
    desk: AtDesk, visit_id: VisitId, text: Line, amount_text: Annotated[str, Form(alias="amount")]
) -> RedirectResponse:
    """Note an item of the bill."""
    currency = desk.store.shop.profile().currency
    cost = amount(amount_text, what=say("amount"))
    _note(desk, visit_id, PriceItem(words(text, what=say("item")), cost, currency))
    return back_to(visit_id, "after-repair")


@router.post("/check")
def check(desk: AtDesk, visit_id: VisitId, name: Line) -> RedirectResponse:
    """Note what was done before handing the vehicle over."""
    fact = CheckDone(when="after", name=words(name, what=say("check")), done=True)
    _note(desk, visit_id, fact)
    return back_to(visit_id, "after-repair")


@router.post("/note")
def note(desk: AtDesk, visit_id: VisitId, text: Line) -> RedirectResponse:
    """Note anything else."""
    _note(desk, visit_id, Note(words(text, what=say("note"))))
    return back_to(visit_id, "vehicle")
