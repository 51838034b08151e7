"""``crankwise shop``: what the workshop says of itself on reports, and how it counts."""

from __future__ import annotations

import dataclasses
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from crankwise.cli.guard import guarded
from crankwise.cli.job_money import currency_from, tax_from
from crankwise.cli.options import AsJson, Lang, Quiet, is_quiet
from crankwise.cli.report import PaperSize
from crankwise.cli.storing import Where, echo_json, open_for, remember_store
from crankwise.errors import UsageError
from crankwise.language import LANGUAGES, say, told

if TYPE_CHECKING:
    from crankwise.model.shop import Profile

group = typer.Typer(no_args_is_help=True, rich_markup_mode=None)

_MEDIA_TYPES: Final = {
    ".png": "image/png", ".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".svg": "image/svg+xml",
}  # fmt: skip
_BEGINS: Final = {"image/png": b"\x89PNG\r\n\x1a\n", "image/jpeg": b"\xff\xd8\xff"}


class MileageUnit(StrEnum):
    """Unit of mileages."""

    KM = "km"
    MILES = "miles"


@group.callback()
def shop(ctx: typer.Context, *, store: Where = None) -> None:
    """Say who the workshop is, and how it writes numbers and amounts."""
    remember_store(ctx, store)


def show(
    ctx: typer.Context,
    *,
    store: Where = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  checked when parsed
) -> None:
    """Show what the workshop said of itself."""
    with open_for(ctx, store) as opened:
        profile, logo = opened.shop.profile(), opened.shop.logo()
    if as_json:
        echo_json("shop", profile=profile, logo=logo.media_type if logo else None)
    elif not is_quiet(ctx, quiet=quiet):
        from crankwise.cli.console import console_for_people, named_lines  # noqa: PLC0415  keeps --help fast

        lines = [*_lines(profile), (say("logo"), logo.media_type if logo else say("no picture"))]
        console_for_people().print(named_lines(lines))


def _lines(profile: Profile) -> list[tuple[str, str]]:
    rate = profile.tax_percent
    tax = say("none") if rate is None else f"{profile.tax_name} {told(f'{rate} %')}"
    return [
        (say("name"), profile.name or say("not said")),
        (say("contact"), ", ".join(profile.contact.splitlines()) or say("not said")),
        (say("mileage in"), told(profile.mileage_unit)),
        (say("currency"), profile.currency),
        (say("numbers as in"), profile.number_format),
        (say("language"), profile.language),
        (say("paper"), profile.paper),
        (say("tax"), tax.strip()),
    ]


def set_profile(
    ctx: typer.Context,
    *,
    name: Annotated[
        str | None, typer.Option("--name", metavar="TEXT", help="Name printed on reports.")
    ] = None,
    contact: Annotated[
        list[str] | None,
        typer.Option("--contact", metavar="LINE", help="Line of the address; may be repeated."),
    ] = None,
    mileage_unit: Annotated[
        MileageUnit | None, typer.Option("--mileage-unit", help="Unit of mileages.")
    ] = None,
    currency: Annotated[
        str | None, typer.Option("--currency", metavar="CODE", help="Three letters: GBP, EUR.")
    ] = None,
    number_format: Annotated[
        str | None,
        typer.Option(
            "--number-format", metavar="LOCALE",
            help="Whose numbers, dates and amounts are written: en-GB, de-DE.",
        ),
    ] = None,
    language: Annotated[
        str | None,
        typer.Option("--language", metavar="CODE", help="Language of reports and screens."),
    ] = None,
    paper: Annotated[PaperSize | None, typer.Option("--paper", help="Paper of reports.")] = None,
    tax: Annotated[
        str | None,
        typer.Option("--tax", metavar="PERCENT", help="Tax put on top of prices: 20; none."),
    ] = None,
    tax_name: Annotated[
        str | None, typer.Option("--tax-name", metavar="TEXT", help="What it is called: VAT.")
    ] = None,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  checked when parsed
) -> None:  # fmt: skip
    """Say who the workshop is; what is not given stays as it was."""
    said = {
        "name": name,
        "contact": "\n".join(contact) if contact else None,
        "mileage_unit": mileage_unit.value if mileage_unit else None,
        "currency": currency_from(currency) if currency else None,
        "number_format": _locale(number_format) if number_format else None,
        "language": _language(language) if language else None,
        "paper": paper.value if paper else None,
        "tax_name": tax_name,
    }
    changes: dict[str, Any] = {key: value for key, value in said.items() if value is not None}
    if tax is not None:
        changes["tax_percent"] = tax_from(tax)
    if not changes:
        raise UsageError("say what is to be set, such as --name or --paper")
    with open_for(ctx, store) as opened:
        opened.shop.keep_profile(dataclasses.replace(opened.shop.profile(), **changes))
    if not is_quiet(ctx, quiet=quiet):
        typer.echo(say("set: {options}", options=", ".join(map(_option, changes))))


def _option(key: str) -> str:
    return f"--{key.removesuffix('_percent').replace('_', '-')}"


def _locale(name: str) -> str:
    from crankwise.report import ensure_installed  # noqa: PLC0415  keeps --help fast

    ensure_installed()
    from crankwise.language.formats import is_locale  # noqa: PLC0415  keeps --help fast

    if not is_locale(name):
        raise UsageError(f"{name!r} is no number format: write a locale such as en-GB or de-DE")
    return name


def _language(code: str) -> str:
    if code not in LANGUAGES:
        raise UsageError(f"there is no language {code!r}; give one of: {', '.join(LANGUAGES)}")
    return code


def logo(
    ctx: typer.Context,
    picture: Annotated[
        Path | None, typer.Argument(metavar="[FILE]", help="PNG, JPEG or SVG, up to 500 kB.")
    ] = None,
    *,
    none: Annotated[bool, typer.Option("--none", help="Take the logo away.")] = False,
    store: Where = None,
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  checked when parsed
) -> None:
    """Keep a logo for reports, or take it away."""
    from crankwise.model.shop import Logo  # noqa: PLC0415  keeps --help fast

    if (picture is None) is not none:
        raise UsageError("name the picture of the logo, or say --none")
    kept = None if picture is None else Logo(*_read(picture))
    with open_for(ctx, store) as opened:
        opened.shop.keep_logo(kept)
    if not is_quiet(ctx, quiet=quiet):
        typer.echo(
            say("logo taken away") if picture is None else say("logo kept: {path}", path=picture)
        )


def _read(picture: Path) -> tuple[str, bytes]:
    """Media type and content of a picture, if it is what its name says."""
    media_type = _MEDIA_TYPES.get(picture.suffix.lower())
    if media_type is None:
        raise UsageError(f"{picture}: a logo is a .png, .jpg or .svg picture")
    try:
        data = picture.read_bytes()
    except OSError as error:
        raise UsageError(f"{picture} can't be read ({error.strerror})") from error
    is_right = (
        data.startswith(_BEGINS[media_type]) if media_type in _BEGINS else b"<svg" in data[:4096]
    )
    if not is_right:
        raise UsageError(f"{picture} is no {picture.suffix[1:].upper()} picture: save it anew")
    return media_type, data


group.command("show")(guarded(show))
group.command("set")(guarded(set_profile))
group.command("logo")(guarded(logo))
