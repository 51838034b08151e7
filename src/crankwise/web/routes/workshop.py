"""The workshop's own page: name, logo, units, policy, and keys for other programs."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from fastapi.responses import HTMLResponse, RedirectResponse

from crankwise.errors import CrankwiseError, UsageError
from crankwise.judge.policy import policy_toml, shipped_entries
from crankwise.language import LANGUAGES, say, told
from crankwise.model.job import MileageUnit
from crankwise.model.shop import Logo, Paper, Profile
from crankwise.web.desk import AtDesk
from crankwise.web.failures import status_of
from crankwise.web.forms import Typed, optional, percent
from crankwise.web.pages import render
from crankwise.web.views.workshop import (
    CURRENCIES,
    GROUPS,
    NUMBER_FORMATS,
    WorkshopView,
    is_currency,
    policy_changes,
    workshop_view,
)

router = APIRouter(include_in_schema=False, prefix="/workshop")
Line = Annotated[str, Form(max_length=4000)]


@router.get("")
def workshop(request: Request, desk: AtDesk) -> HTMLResponse:
    """Show what the workshop keeps about itself."""
    return _shown(request, workshop_view(desk.store))


@router.post("/profile")
def keep_profile(
    desk: AtDesk,
    *,
    mileage_unit: Annotated[MileageUnit, Form()],
    paper: Annotated[Paper, Form()],
    name: Line = "",
    contact: Line = "",
    currency: Line = "EUR",
    number_format: Line = "en-GB",
    language: Line = "en",
    tax_name: Line = "",
    tax_percent: Line = "",
) -> RedirectResponse:
    """Keep how the workshop names itself, counts and calculates."""
    if not is_currency(currency.strip().upper()):
        raise UsageError(say("currency: write its three letters, such as EUR or GBP"))
    if number_format not in NUMBER_FORMATS or language not in LANGUAGES:
        raise UsageError(say("number format and language: choose from the list"))
    profile = Profile(
        name=optional(name) or "",
        contact="\n".join(line.strip() for line in contact.splitlines() if line.strip()),
        mileage_unit=mileage_unit,
        currency=currency.strip().upper(),
        number_format=number_format,
        language=language,
        paper=paper,
        tax_name=optional(tax_name) or "",
        tax_percent=percent(tax_percent, what=say("tax")),
    )
    desk.store.shop.keep_profile(profile)
    return RedirectResponse("/workshop?kept=profile", status_code=303)


@router.post("/logo")
def keep_logo(
    desk: AtDesk, logo: Annotated[UploadFile | None, File()] = None, drop: Line = ""
) -> RedirectResponse:
    """Keep a logo, or take it away."""
    if drop or logo is None:
        desk.store.shop.keep_logo(None)
    else:
        data = logo.file.read(600_000)
        desk.store.shop.keep_logo(Logo(logo.content_type or "", data))
    return RedirectResponse("/workshop", status_code=303)


@router.get("/logo")
def logo(desk: AtDesk) -> Response:
    """Give the logo; an SVG may not run anything."""
    found = desk.store.shop.logo()
    if found is None:
        return Response(status_code=404)
    headers = {"Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'"}
    return Response(found.data, media_type=found.media_type, headers=headers)


@router.post("/policy")
def keep_policy(request: Request, desk: AtDesk, form: Typed) -> Response:
    """Keep the values that differ from the shipped policy."""
    try:
        changes = policy_changes(form, shipped_entries())
        desk.store.shop.keep_policy(policy_toml(changes) if changes else None)
    except CrankwiseError as error:
        view = workshop_view(desk.store, typed=form, error=told(str(error)))
        return _shown(request, view, status=status_of(error))
    return RedirectResponse("/workshop?kept=policy#policy", status_code=303)


@router.post("/keys")
def add_key(request: Request, desk: AtDesk, name: Line) -> HTMLResponse:
    """Make a key for another program, and show it this once."""
    key = desk.store.shop.add_key(name)
    return _shown(request, workshop_view(desk.store), new_key=key)


@router.post("/keys/withdraw")
def withdraw_key(desk: AtDesk, name: Line) -> RedirectResponse:
    """Withdraw a key."""
    desk.store.shop.withdraw_key(name)
    return RedirectResponse("/workshop#keys", status_code=303)


def _shown(
    request: Request, view: WorkshopView, *, status: int = 200, new_key: str = ""
) -> HTMLResponse:
    return render(
        request, "workshop.html", view, status=status, new_key=new_key,
        currencies=CURRENCIES, number_formats=NUMBER_FORMATS, groups=GROUPS,
    )  # fmt: skip
