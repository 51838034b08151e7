"""The technician's record: everything that it takes to repeat the measurement and the judgement."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise import document
from crankwise.language import say
from crankwise.report import common, record_found, record_job, record_measured
from crankwise.report.blocks import Attachment, Facts, Section, Sheet

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crankwise.model.comparison import Comparison
    from crankwise.model.measurement import Measurement
    from crankwise.report.blocks import Block
    from crankwise.report.dossier import Dossier
    from crankwise.report.written import Written


def record_sheet(dossier: Dossier, comparison: Comparison, written: Written) -> Sheet:
    """Make the record of a comparison."""
    return Sheet(
        title=say("Record of a timing measurement"),
        subject=common.subject(dossier),
        facts=common.heading_facts(dossier, written),
        opening=tuple(_opening(dossier, comparison)),
        sections=tuple(_sections(dossier, comparison, written)),
        closing=say(
            "Follow the vehicle maker's procedure and the rules of licensed practice. This is a "
            "measurement, not a repair order."
        ),
    )


def _opening(dossier: Dossier, comparison: Comparison) -> Iterator[Block]:
    yield from record_found.verdict(comparison)
    facts = record_job.complaint(dossier)
    if facts is not None:
        yield facts


def _sections(dossier: Dossier, comparison: Comparison, written: Written) -> Iterator[Section]:
    yield from record_found.pictures(dossier, comparison)
    yield from record_found.sections(comparison, written)
    yield from record_job.said_and_done(dossier, written, roles=common.quantity(comparison).roles)
    yield from record_job.hook_up(dossier)
    if dossier.file is not None and dossier.file.recordings:
        yield record_job.recordings(dossier.file, written)
    yield record_found.sides(comparison, written)
    if dossier.known_goods:
        yield record_job.known_goods(dossier.known_goods, written)
    yield from record_found.edges(comparison, written)
    if dossier.measurement is not None:
        yield from record_measured.sections(dossier.measurement, written)
    if dossier.history is not None:
        yield from record_job.history(dossier.history, written)
    yield record_job.policy(dossier.shop.policy)
    yield record_job.versions(dossier, written)
    attached = attachments(dossier)
    if attached:
        rows = tuple((item.name, item.description) for item in attached)
        yield Section(say("Attached to the PDF"), (Facts(rows),))


def attachments(dossier: Dossier) -> tuple[Attachment, ...]:
    """Return the documents that go with the record, byte for byte as they are saved."""
    measured: list[tuple[str, str, Measurement | Comparison | None]] = [
        ("measurement.json", say("What was measured in the recording"), dossier.measurement),
        ("comparison.json", say("What was found by comparing it"), dossier.comparison),
    ]
    if dossier.is_repaired:
        measured += [
            (
                "measurement-after.json",
                say("What was measured after the repair"),
                dossier.after_measurement,
            ),
            ("comparison-after.json", say("What was found after the repair"), dossier.after),
        ]
    return tuple(
        Attachment(name, document.dumps(result), description)
        for name, description, result in measured
        if result is not None
    )
