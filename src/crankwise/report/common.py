"""What several pages share: letterhead, vehicle, the verdict's sign, the picture for owners."""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Final

from crankwise.judge.verdict import BLOCKING, Quantity, furthest
from crankwise.language import say, told
from crankwise.picture import svg
from crankwise.picture.move_scale import Move
from crankwise.picture.owner_view import OwnerPicture, owner_view
from crankwise.picture.verdicts import drawn
from crankwise.report.blocks import Blanks, Figure, Letterhead, Section, values
from crankwise.report.plain_words import camshaft

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from crankwise.model.comparison import CamShift, Comparison, CrankTeeth, Level, LimitsInfo
    from crankwise.model.shop import Logo, Profile
    from crankwise.report.blocks import Block
    from crankwise.report.dossier import Dossier
    from crankwise.report.written import Written

_SHORT: Final = 2500  # characters of blocks that are sure to fit on half a page


def letterhead(profile: Profile, logo: Logo | None) -> Letterhead:
    """Name, contact and logo of the workshop."""
    lines = tuple(line.strip() for line in profile.contact.splitlines() if line.strip())
    return Letterhead(profile.name.strip(), lines, _data_address(logo) if logo else "")


def _data_address(logo: Logo) -> str:
    """Put a logo into an address: as an image it can't run scripts or load anything."""
    return f"data:{logo.media_type};base64,{base64.b64encode(logo.data).decode()}"


def subject(dossier: Dossier) -> str:
    """Name what a sheet is about: the vehicle, else the recording."""
    if dossier.vehicle is not None:
        family = dossier.vehicle.family or ""
        return " · ".join(filter(None, (dossier.vehicle.label, family)))
    if dossier.comparison is not None:
        return dossier.comparison.subject.name
    return ""


def heading_facts(dossier: Dossier, written: Written) -> tuple[tuple[str, str], ...]:
    """Plate, day, mileage and whose it is, as far as they are known."""
    visit = dossier.visit
    details = dossier.vehicle.details if dossier.vehicle else None
    provenance = dossier.measurement.provenance if dossier.measurement else None
    mileage, unit = (
        (visit.mileage, visit.mileage_unit)
        if visit
        else (provenance.mileage, provenance.mileage_unit)
        if provenance
        else (None, None)
    )
    pairs = (
        (say("Date"), written.day(dossier.day)),
        (say("Mileage"), written.mileage(mileage, unit)),
        (say("Plate"), (details.plate or "") if details else ""),
        (say("For"), (details.customer or "") if details else ""),
    )
    return tuple(pair for pair in pairs if pair[1])


def vehicle_blanks(dossier: Dossier) -> tuple[Blanks, ...]:
    """Lines to write the vehicle on, where nothing is known of any."""
    if dossier.vehicle is not None or dossier.comparison is not None:
        return ()
    return (Blanks(((say("Vehicle"), ""), (say("Date, mileage"), ""))),)


def sign(level: Level) -> str:
    """Draw the sign of a verdict as a picture of its own."""
    size = 24.0
    parts = drawn(level, size / 2, size / 2, radius=9.0)
    return svg.document(*parts, width=size, height=size, title=told(level), text="")


def quantity(comparison: Comparison) -> Quantity:
    """Return what the verdict rests on."""
    return furthest(comparison.cams, comparison.separations, comparison.limits)


def is_loose(comparison: Comparison) -> bool:
    """Whether a verdict of ``drifting`` rests on scatter alone."""
    return comparison.verdict.level == "drifting" and not quantity(comparison).is_beyond_healthy


def is_alike_in_banks(comparison: Comparison) -> bool:
    """Whether all that keeps the verdict open is that a whole bank may have moved."""
    limits = comparison.limits
    return (
        comparison.verdict.level == "not-judged"
        and limits.basis == "bank-against-bank"
        and not any(finding.code in BLOCKING for finding in comparison.findings)
        and all(c.uncertainty_deg < limits.worn_from_deg for c in comparison.separations)
    )


def of_what(roles: Sequence[str]) -> str:
    """Say in words what a quantity is of."""
    if len(roles) == 1:
        return camshaft(roles[0])
    if roles[0].startswith("bank"):
        return say("one bank against the other")
    if set(roles) == {"intake", "exhaust"}:
        return say("one camshaft against the other")
    return say("{one} against {other}", one=camshaft(roles[0]), other=camshaft(roles[1]))


def sentence(words: str) -> str:
    """Begin with a capital and end with a full stop."""
    text = " ".join(words.split())
    ended = text if not text or text.endswith((".", "!", "?", ":", "…")) else f"{text}."
    return ended[:1].upper() + ended[1:]


def whole(title: str, blocks: Iterable[Block]) -> Section:
    """Make a section that stays on one page, unless somebody wrote so much that it can't."""
    parts = tuple(blocks)
    return Section(title, parts, together=len(str(values(parts))) < _SHORT)


def moved_most(cams: Sequence[CamShift]) -> CamShift | None:
    """Return the cam that has moved furthest, of which the picture is drawn."""
    return max(cams, key=lambda cam: abs(cam.shift_deg), default=None)


def shifted(cam: CamShift, written: Written) -> str:
    """Say how far a camshaft has moved, and which way."""
    amount = written.size(cam.shift_deg, cam.uncertainty_deg)
    if cam.direction == "unchanged":
        return say("{amount}, no change that shows", amount=amount)
    if cam.direction == "retarded":
        return say("{amount} later", amount=amount)
    return say("{amount} earlier", amount=amount)


def owner_figure(
    cam: CamShift,
    crank: CrankTeeth,
    limits: LimitsInfo,
    written: Written,
    *,
    about: Quantity,
    caption: str = "",
    width_percent: int = 100,
) -> Figure:
    """Draw one camshaft over a healthy one, and how far is too far for what is judged."""
    picture = OwnerPicture(
        cam=cam,
        crank=crank,
        amount=shifted(cam, written),
        tooth=say("1 tooth = {deg}", deg=written.degrees(crank.pitch_deg)),
        move=Move(
            shift_deg=about.change_deg,
            uncertainty_deg=about.uncertainty_deg,
            title=say("How far is too far: {what}", what=of_what(about.roles)),
            low_deg=about.healthy.low_deg if about.healthy else None,
            high_deg=about.healthy.high_deg if about.healthy else None,
            worn_deg=limits.worn_from_deg,
            too_far_deg=limits.code_limit_deg,
            write=written.number,
        ),
    )
    alt = f"{camshaft(cam.role)}: {picture.amount}. {picture.tooth}."
    return Figure(owner_view(picture), alt, caption, width_percent)
