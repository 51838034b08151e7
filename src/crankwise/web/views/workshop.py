"""What the workshop's own page shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from babel.numbers import list_currencies

from crankwise.errors import UsageError
from crankwise.judge.policy import own_entries, shipped_entries
from crankwise.language import message, say, told

if TYPE_CHECKING:
    from crankwise.judge.policy import Entry
    from crankwise.model.shop import Key, Profile
    from crankwise.store import Store

CURRENCIES: Final = (
    "EUR", "GBP", "USD", "CHF", "SEK", "NOK", "DKK", "PLN", "CZK", "AUD", "CAD", "NZD", "ZAR",
)  # fmt: skip
NUMBER_FORMATS: Final = {
    "en-GB": "1,234.56",
    "en-US": "1,234.56 (US)",
    "de-DE": "1.234,56",
    "de-CH": "1’234.56",
    "fr-FR": "1 234,56",
    "sv-SE": "1 234,56 (SE)",
}

GROUPS: Final = {
    "limits": message("Limits"),
    "spread": message("How much healthy engines differ"),
    "causes": message("Causes"),
    "causes.priors": message("How frequent each cause is, before measuring"),
    "refusal": message("When two recordings are not compared"),
}
_LABELS: Final = {
    "limits.code_limit_deg": message("Code limit, crank degrees"),
    "limits.worn_share": message("Worn from this share of the code limit"),
    "limits.coverage": message("Share of healthy engines inside the limits"),
    "spread.cam_deg": message("A cam, from one vehicle to another, degrees"),
    "spread.separation_deg": message("The angle between two cams on one chain, degrees"),
    "spread.build_dof": message("These two count as so many vehicles"),
    "spread.visit_deg": message("A cam of one vehicle on two visits, degrees"),
    "spread.visit_dof": message("This counts as so many visits"),
    "spread.edge_deg": message("One edge of a cam wheel against the others, degrees"),
    "spread.delay_s": message("Delay of one sensor against another, seconds"),
    "spread.ripple_idle_deg": message("Speed ripple at idle, degrees"),
    "spread.ripple_starter_deg": message("Speed ripple turned by the starter, degrees"),
    "causes.priors.healthy": message("Nothing has moved"),
    "causes.priors.elongated": message("Chain elongated"),
    "causes.priors.guide-worn": message("Guide or blade worn"),
    "causes.priors.slack-side": message("Slack side or tensioner"),
    "causes.priors.jumped": message("Chain jumped"),
    "causes.priors.phaser-off-stop": message("Phaser off its stop"),
    "causes.priors.crank-target": message("Crank wheel or sensor moved"),
    "causes.priors.cam-target": message("Cam wheel or sensor moved"),
    "causes.priors.wrong-reference": message("The known-good is of another build"),
    "causes.priors.none-of-these": message("None of these"),
    "causes.pair_factor": message("Two faults at once, factor"),
    "causes.scatter_spread": message(
        "Spread of scatter (logarithm) where a fault suggests how much"
    ),
    "causes.scatter_spread_unknown": message("The same where it suggests nothing"),
    "causes.moving_if_loose": message("A phaser off its stop is seen moving"),
    "causes.moving_otherwise": message("A locked phaser is seen moving"),
    "causes.wear_deg": message("One cam off what a worn drive's geometry gives, degrees"),
    "causes.wrong_common_deg": message("Another build: all cams together, degrees"),
    "causes.wrong_each_deg": message("Another build: each cam by itself, degrees"),
    "causes.none_deg": message("None of these: each cam, degrees"),
    "causes.settled_from": message("No further check above this probability"),
    "refusal.edge_residual_deg": message("One edge off its cam's shift, degrees"),
    "refusal.largest_shift_deg": message("Largest shift believed, degrees"),
}


@dataclass(frozen=True, slots=True)
class PolicyRow:
    """A value of the policy: what it is, what counts, where it comes from, what is shipped."""

    key: str
    label: str
    value: str
    source: str
    shipped: str
    is_own: bool


@dataclass(frozen=True, slots=True)
class WorkshopView:
    """What the workshop keeps about itself."""

    profile: Profile
    has_logo: bool
    policy: tuple[tuple[str, tuple[PolicyRow, ...]], ...]
    policy_error: str
    keys: tuple[Key, ...]
    where: str


def workshop_view(
    store: Store, *, typed: Mapping[str, str] | None = None, error: str = ""
) -> WorkshopView:
    """Gather the page; ``typed`` is what a form held that could not be kept."""
    return WorkshopView(
        profile=store.shop.profile(),
        has_logo=store.shop.logo() is not None,
        policy=_policy(store.shop.policy_text(), typed or {}),
        policy_error=error,
        keys=store.shop.keys(),
        where=store.where,
    )


def policy_changes(form: Mapping[str, str], shipped: Mapping[str, Entry]) -> dict[str, Entry]:
    """Return the values of a form that differ from the shipped ones.

    Raises
    ------
    UsageError
        A value is no number, or a changed one does not say where it comes from.
    """
    changes: dict[str, Entry] = {}
    for key, (value, source) in shipped.items():
        typed = form.get(key, "").strip().replace(",", ".")
        if not typed:
            continue
        try:
            number = float(typed)
        except ValueError:
            label = say(_LABELS[key])
            raise UsageError(say("{what}: {typed} is no number", what=label, typed=typed)) from None
        if f"{number:g}" == f"{value:g}":
            continue
        given = " ".join(form.get(f"{key} source", "").split())
        if given in {"", source, told(source)}:
            what = say(_LABELS[key])
            raise UsageError(say("{what}: say where your value comes from", what=what))
        changes[key] = (number, given)
    return changes


def is_currency(code: str) -> bool:
    """Whether this is a currency of ISO 4217 as Unicode's locale data know it."""
    return code in list_currencies()


def _policy(
    text: str | None, typed: Mapping[str, str]
) -> tuple[tuple[str, tuple[PolicyRow, ...]], ...]:
    own = own_entries(text, where="policy") if text else {}
    groups: dict[str, list[PolicyRow]] = {}
    for key, (value, source) in shipped_entries().items():
        counts = own.get(key, (value, source))
        row = PolicyRow(
            key=key,
            label=_LABELS[key],
            value=typed.get(key, told(f"{counts[0]:g}")),
            source=typed.get(f"{key} source", told(counts[1])),
            shipped=told(f"{value:g}"),
            is_own=key in own,
        )
        groups.setdefault(key.rpartition(".")[0], []).append(row)
    return tuple((group, tuple(rows)) for group, rows in groups.items())
