"""From a dossier to a file: which sheets, in which language, on which paper, in which format."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from crankwise.errors import NotMeasurableError, UsageError
from crankwise.language import current, say, using
from crankwise.picture.layout import fitted
from crankwise.report import common
from crankwise.report.before_after import before_after_sheet
from crankwise.report.blocks import Document
from crankwise.report.checklist import checklist_sheet
from crankwise.report.dossier import of_visit
from crankwise.report.hook_up_sheet import hook_up_sheet
from crankwise.report.numbers_file import to_csv, to_json_text
from crankwise.report.owner import owner_sheet
from crankwise.report.record import attachments, record_sheet
from crankwise.report.typeset import pdf
from crankwise.report.webpage import html
from crankwise.report.written import Written

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crankwise.model.comparison import Comparison
    from crankwise.model.job import JobFile, VisitFile
    from crankwise.model.shop import Paper, Profile
    from crankwise.report.blocks import Sheet
    from crankwise.report.dossier import Dossier
    from crankwise.store import Store

_FOOT_PT: Final = 7.5
_FOOT_WIDTH_PT: Final = 400.0  # beside the number of the page

Form = Literal["pdf", "html", "csv", "json"]
Reader = Literal["owner", "technician"]
Page = Literal["report", "before-after", "hook-up", "checklist"]


@dataclass(frozen=True, slots=True)
class Wish:
    """What is to be made.

    Attributes
    ----------
    form : {"pdf", "html", "csv", "json"}
        The last two hold the numbers alone.
    reader : {"owner", "technician"}
    page : {"report", "before-after", "hook-up", "checklist"}
        The whole report, or one page of it.
    language : str or None
        Code such as ``de``; ``None`` for the workshop's.
    paper : {"A4", "Letter"} or None
        ``None`` for the workshop's.
    """

    form: Form = "pdf"
    reader: Reader = "owner"
    page: Page = "report"
    language: str | None = None
    paper: Paper | None = None


def visit_report(store: Store, file: JobFile, visit: VisitFile, wish: Wish) -> bytes:
    """Make the report on a visit.

    Parameters
    ----------
    store : Store
    file : JobFile
    visit : VisitFile
        One of the file's.
    wish : Wish

    Returns
    -------
    bytes
        The whole file; the same each time for a visit to which nothing was added.

    Raises
    ------
    UsageError
        There is nothing to report: no comparison at this visit, or no repair.
    NotMeasurableError
        The comparison is empty.
    MissingPackageError
        The package that typesets is not installed.
    """
    return made(of_visit(store, file, visit), wish)


def made(dossier: Dossier, wish: Wish) -> bytes:
    """Make a report from a dossier.

    Raises
    ------
    UsageError, NotMeasurableError, MissingPackageError
        As for :func:`visit_report`.
    """
    if wish.form == "csv":
        _compared(dossier)
        return to_csv(dossier).encode()
    if wish.form == "json":
        _compared(dossier)
        return to_json_text(dossier).encode()
    with using(wish.language or dossier.shop.profile.language):
        document = composed(dossier, wish)
        return pdf(document) if wish.form == "pdf" else html(document).encode()


def composed(dossier: Dossier, wish: Wish) -> Document:
    """Put the sheets of a report together, in the language that is spoken.

    Raises
    ------
    UsageError, NotMeasurableError
        There is nothing to report.
    """
    sheets = tuple(_sheets(dossier, wish))
    profile = dossier.shop.profile
    is_record = wish.reader == "technician" and wish.page == "report"
    about = common.subject(dossier)
    return Document(
        title=": ".join(filter(None, (sheets[0].title, about))),
        language=current(),
        paper=wish.paper or profile.paper,
        day=dossier.day,
        footer=_footer(profile, about, dossier.day),
        page_words=say("Page {page} of {pages}", page="{page}", pages="{pages}"),
        letterhead=common.letterhead(profile, dossier.shop.logo),
        sheets=sheets,
        attachments=attachments(dossier) if is_record else (),
    )


def _footer(profile: Profile, about: str, day: str) -> str:
    """Whose report it is, on what and of when, on one line."""
    parts = (profile.name.strip(), about, Written(profile).day(day))
    return fitted(" · ".join(filter(None, parts)), size=_FOOT_PT, width=_FOOT_WIDTH_PT)


def _sheets(dossier: Dossier, wish: Wish) -> Iterator[Sheet]:
    written, in_full = Written(dossier.shop.profile), wish.reader == "technician"
    if wish.page == "hook-up":
        yield hook_up_sheet(dossier, written)
        return
    if wish.page == "checklist":
        yield checklist_sheet(dossier, dossier.comparison, written)
        return
    if wish.page == "report":
        make = record_sheet if in_full else owner_sheet
        yield make(dossier, _compared(dossier), written)
    after = dossier.after
    if after is not None and after.repair is not None:
        yield before_after_sheet(dossier, after, after.repair, written, in_full=in_full)
    elif wish.page == "before-after":
        raise UsageError(
            "there is no before and after: record and compare after the repair as well, with "
            "--purpose after-repair"
        )


def _compared(dossier: Dossier) -> Comparison:
    if dossier.comparison is None and dossier.day:
        raise UsageError(
            f"nothing was compared at the visit of {dossier.day} yet, so there is no result to "
            "report: compare first, with crankwise job compare"
        )
    if dossier.comparison is None:
        raise UsageError(
            "nothing was compared, so there is no result to report: name a job or a comparison"
        )
    if not dossier.comparison.cams and not dossier.comparison.separations:
        raise NotMeasurableError(
            "this comparison holds neither a cam nor a separation, so there is nothing to report: "
            "compare the recordings again"
        )
    return dossier.comparison
