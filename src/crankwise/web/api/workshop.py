"""The workshop itself: how it names itself and counts, and the policy of its verdicts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field, StringConstraints, field_validator

from crankwise.language import LANGUAGES
from crankwise.model.job import MileageUnit
from crankwise.model.policy import Policy
from crankwise.model.shop import Paper, Profile
from crankwise.web.api.answers import UNREADABLE, Asked, Remark, Text, api_router
from crankwise.web.api.engines import TextAsked
from crankwise.web.api.facts import Currency, Percent
from crankwise.web.desk import AtDesk

router = api_router(tag="workshop")


@dataclass(frozen=True, slots=True)
class PolicyAnswer:
    """The policy that counts; ``text`` is the workshop's own (TOML), where it has one."""

    policy: Policy
    text: str | None


class ProfileAsked(Asked):
    """How the workshop names itself, counts and calculates; what is left out is as at first."""

    name: Remark = ""
    contact: Text = ""
    mileage_unit: MileageUnit = "km"
    currency: Currency = "EUR"
    number_format: Annotated[str, StringConstraints(pattern=r"^[a-z]{2,3}(-[A-Z]{2})?$")] = "en-GB"
    language: Annotated[str, Field(json_schema_extra={"enum": list(LANGUAGES)})] = "en"
    paper: Paper = "A4"
    tax_name: Remark = ""
    tax_percent: Percent | None = None

    @field_validator("language")
    @classmethod
    def _is_known(cls, value: str) -> str:
        if value not in LANGUAGES:
            raise ValueError(f"is one of {', '.join(LANGUAGES)}")
        return value


@router.get("/profile")
def show_profile(desk: AtDesk) -> Profile:
    """Show the workshop's profile."""
    return desk.store.shop.profile()


@router.put("/profile")
def keep_profile(desk: AtDesk, asked: ProfileAsked) -> Profile:
    """Keep a profile; it counts from now on."""
    profile = Profile(**asked.model_dump())
    desk.store.shop.keep_profile(profile)
    return profile


@router.get("/policy")
def show_policy(desk: AtDesk) -> PolicyAnswer:
    """Show the policy that counts, each value with its source."""
    return PolicyAnswer(desk.store.shop.policy(), desk.store.shop.policy_text())


@router.put("/policy", responses=UNREADABLE)
def keep_policy(desk: AtDesk, asked: TextAsked) -> PolicyAnswer:
    """Keep a policy of one's own: values that replace the shipped ones."""
    desk.store.shop.keep_policy(asked.text)
    return show_policy(desk)


@router.delete("/policy", status_code=204)
def drop_policy(desk: AtDesk) -> None:
    """Go back to the shipped policy."""
    desk.store.shop.keep_policy(None)
