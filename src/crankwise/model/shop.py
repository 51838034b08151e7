"""What a workshop keeps about itself: its profile, its own engine files and policy, its keys."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Literal

from crankwise.model.job import MileageUnit

Paper = Literal["A4", "Letter"]


@dataclass(frozen=True, slots=True)
class Profile:
    """How a workshop names itself, counts and calculates.

    Attributes
    ----------
    name : str
        Printed on reports; empty until somebody fills it in.
    contact : str
        Address, telephone and the like, a line each, as it is to be printed.
    mileage_unit : {"km", "miles"}
    currency : str
        ISO 4217 code such as ``EUR``.
    number_format : str
        Locale whose numbers, dates and amounts are written, such as ``en-GB`` or ``de-DE``.
    language : str
        Language of screens and reports unless somebody chose another, such as ``en``.
    paper : {"A4", "Letter"}
    tax_name : str
        What the tax on prices is called, such as ``VAT``.
    tax_percent : Decimal or None
        Put on top of prices; ``None``: prices are final as they are written.
    """

    name: str = ""
    contact: str = ""
    mileage_unit: MileageUnit = "km"
    currency: str = "EUR"
    number_format: str = "en-GB"
    language: str = "en"
    paper: Paper = "A4"
    tax_name: str = ""
    tax_percent: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Logo:
    """A picture for reports; ``media_type`` is that of a PNG, JPEG or SVG."""

    media_type: str
    data: bytes


@dataclass(frozen=True, slots=True)
class KeptText:
    """A file of the workshop's own, an engine or the policy, as it was kept last."""

    name: str
    text: str
    recorded_at: datetime


@dataclass(frozen=True, slots=True)
class Key:
    """A key for another program, known by its digest alone; ``name`` says whose it is."""

    name: str
    sha256: str
    recorded_at: datetime
