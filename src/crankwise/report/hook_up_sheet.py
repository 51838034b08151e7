"""The hook-up sheet: how each signal is reached, filled in as far as it is known."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.language import say, told
from crankwise.model.job import CheckDone, HookUp
from crankwise.report import common
from crankwise.report.blocks import Blanks, Caution, Section, Sheet, Table, Task, Tasks

if TYPE_CHECKING:
    from collections.abc import Iterator

    from crankwise.report.dossier import Dossier
    from crankwise.report.written import Written


def hook_up_sheet(dossier: Dossier, written: Written) -> Sheet:
    """Make the hook-up sheet of a visit, or one to be filled in by hand."""
    return Sheet(
        title=say("Hook-up sheet"),
        subject=common.subject(dossier),
        facts=common.heading_facts(dossier, written),
        opening=(*common.vehicle_blanks(dossier), Caution(say("Before anything else"), cautions())),
        sections=(
            Section(say("Signals"), (_signals(dossier),)),
            Section(say("Before the recording"), (Tasks(tuple(_before(dossier))),)),
            Section(say("The recording"), (_recording(dossier),)),
            Section(say("After the recording"), (Tasks(tuple(_after(dossier))),)),
        ),
    )


def cautions() -> tuple[str, ...]:
    """What to mind at a running engine and at live wiring."""
    return (
        say("Follow the maker's service information for this vehicle. It goes before this sheet."),
        # Ford Edge 2007 warnings: moving parts, exhaust, carbon monoxide, brake and chocks.
        say(
            "Parking brake on, wheels chocked, out of gear. Draw the exhaust off: carbon monoxide "
            "kills, and it has no smell."
        ),
        say(
            "Keep hands, hair, sleeves, rings and leads clear of belts, fans and hot exhaust parts."
        ),
        # Mazda RX-8: up to about ten minutes after the engine was switched off.
        say("A cooling fan may start by itself, even minutes after the engine is off."),
        # GM "Probing electrical connectors"; Nissan GT-R 2010 on waterproof connectors.
        say(
            "Back-probe only where the service information allows it, never into sealed or tiny "
            "connectors. From the front use an adapter that fits: a tip spreads the terminal."
        ),
        # GM Cadillac Seville 1997, document 4855.
        say("Seal every wire that was pierced before the loom is closed: it corrodes otherwise."),
        # GMC Yukon 2010, danger note.
        say("Never probe high-voltage circuits of hybrid and electric vehicles."),
    )


def _signals(dossier: Dossier) -> Table:
    taken = {fact.signal: fact for fact in dossier.facts(HookUp)}
    rows = [_row(taken.get(role), role) for role in dict.fromkeys([*_roles(dossier), *taken])]
    return Table(
        head=(
            say("signal"), say("connector"), say("pin"), say("wire"), say("probed at"),
            say("unplugged"), say("sealed"),
        ),
        rows=tuple(rows),
        wide=(1, 4, 5),
        blank=True,
    )  # fmt: skip


def _roles(dossier: Dossier) -> list[str]:
    """Crank and the cams of the engine, else those measured, else one of each."""
    cams: list[str] = []
    if dossier.engine is not None:
        cams = list(dossier.engine.roles)
    if not cams and dossier.measurement is not None:
        cams = [cam.role for cam in dossier.measurement.cams]
    return ["crank", *(cams or ["intake", "exhaust"])]


def _row(fact: HookUp | None, role: str) -> tuple[str, ...]:
    if fact is None:
        return (told(role), "", "", "", "", "", "")
    sealed = {None: say("not pierced"), True: say("yes"), False: say("no")}[fact.puncture_sealed]
    return (
        told(role), fact.connector, fact.pin, fact.wire, fact.probed_at, fact.unplugged, sealed,
    )  # fmt: skip


def _before(dossier: Dossier) -> Iterator[Task]:
    yield Task(say("Engine at its working temperature, idling, everything that loads it off."))
    yield Task(
        say("Cam phasers at their stops: solenoids unplugged where the maker's procedure says so."),
        say("This sets trouble codes. Note those that are stored before."),
    )
    yield Task(
        say("All channels on one time base, and each signal seen to switch fully."),
        say("One earth for all leads, at the engine or at the control unit."),
    )
    yield Task(
        say("At least 50,000 samples a second on each channel, for 4 seconds or longer."),
        say("Ten cycles are the least that is measured: 2 seconds at 600 rpm."),
    )
    yield from _done(dossier, "before")


def _recording(dossier: Dossier) -> Blanks:
    measured = dossier.measurement
    return Blanks(
        (
            (say("File"), measured.recording.name if measured else ""),
            (say("Idle speed, engine temperature"), ""),
            (say("Range and probe of each channel"), ""),
            (say("What was noticed"), ""),
            (say("Recorded by"), ""),
        )
    )


def _after(dossier: Dossier) -> Iterator[Task]:
    yield Task(say("A second recording that agrees with the first."))
    yield Task(say("Leads off, punctures sealed, connectors locked, the loom back in its clips."))
    yield Task(say("Everything that was unplugged is plugged in again; trouble codes cleared."))
    # GM Spark 2013, Camaro 2014, Canyon 2009 (document 146674): after work at crank or damper.
    yield Task(
        say("Crank variation learned again where the maker asks for it after the work done."),
    )
    yield from _done(dossier, "after")


def _done(dossier: Dossier, when: str) -> Iterator[Task]:
    for fact in dossier.facts(CheckDone):
        if fact.when == when:
            yield Task(common.sentence(fact.name), fact.note, is_done=fact.done)
