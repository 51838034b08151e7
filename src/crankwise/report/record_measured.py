"""The record's part on what was measured: recording, wheel, every edge with its budget."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crankwise.language import say, told
from crankwise.report.blocks import Bullets, Facts, Paragraph, Section, Table
from crankwise.report.written import findings_lines

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from crankwise.model.measurement import CamEdge, CamMeasurement, CrankMeasurement, Measurement
    from crankwise.report.written import Written


def sections(measurement: Measurement, written: Written) -> Iterator[Section]:
    """Recording, wheel decode, and the edges of each cam with their budgets."""
    yield Section(say("Recording"), (_recording(measurement, written),))
    yield Section(say("Crank wheel, as decoded"), (_wheel(measurement.crank, written),))
    for cam in measurement.cams:
        yield Section(
            say("Edges of the {role} cam, as measured", role=told(cam.role)),
            (
                _edges(cam, written),
                _budgets(cam, written),
                Paragraph(_remarks(cam, written), "small"),
            ),
        )
    if measurement.findings:
        yield Section(
            say("Findings on the recording"), (Bullets(findings_lines(measurement.findings)),)
        )


def _recording(measurement: Measurement, written: Written) -> Facts:
    info = measurement.recording
    interval = (
        say("states only, no samples")
        if info.interval_s is None
        else f"{written.number(1e6 * info.interval_s, 2)} µs"
    )
    roles = "; ".join(f"{channel}: {told(role)}" for channel, role in measurement.roles.items())
    pairs = (
        (say("file"), info.name),
        ("SHA-256", info.sha256),
        (say("length"), f"{written.number(info.duration_s, 3)} s"),
        (say("sampling interval"), interval),
        (say("channels"), ", ".join(info.channels)),
        (say("roles"), roles),
        (say("method"), measurement.method),
    )
    return Facts(tuple(pair for pair in pairs if pair[1]))


def _wheel(crank: CrankMeasurement, written: Written) -> Facts:
    choice, rejected, speed = crank.choice, crank.rejected, crank.speed_rpm
    runner_up = (
        say(
            "{wheel}, behind by {margin} for each edge", wheel=told(choice.runner_up),
            margin=written.number(choice.margin, 2),
        )
        if choice.runner_up
        else say("no other")
    )  # fmt: skip
    return Facts(
        (
            (say("wheel"), f"{told(crank.wheel)}, {crank.channel}"),
            (say("confidence"), written.share(choice.confidence)),
            (say("next best"), runner_up),
            (say("sensor"), told(crank.sensor)),
            (say("timing edge"), f"{told(crank.timing_edge)}: {told(choice.reason)}"),
            (say("teeth"), say(
                "{count} in a turn, pitch {pitch}, gap {gap}", count=crank.teeth_per_rev,
                pitch=written.degrees(crank.pitch_deg),
                gap=written.degrees(crank.intervals_deg[-1]),
            )),
            (say("revolutions"), written.number(crank.revolutions, 0)),
            (say("speed"), say(
                "{mean} rpm ({low} to {high})", mean=written.number(speed.mean, 1),
                low=written.number(speed.min, 1), high=written.number(speed.max, 1),
            )),
            (say("edges left out"), say(
                "{glitch} glitches, {dropout} dropouts, {extra} extra; {missing} missing put in",
                glitch=rejected.glitch, dropout=rejected.dropout, extra=rejected.extra,
                missing=rejected.missing,
            )),
            (say("tooth spacing"), say(
                "standard deviation {deg}", deg=written.degrees(crank.tooth_error_sd_deg, 3)
            )),
            (say("cycle"), told(crank.cycle_origin)),
        )
    )  # fmt: skip


def _edges(cam: CamMeasurement, written: Written) -> Table:
    return Table(
        head=(
            say("edge"), say("angle"), say("teeth, counted from the gap"), say("scatter"),
            say("drift, °/s"), say("count"), say("factor k"), say("degrees of freedom"),
        ),
        rows=tuple(_edge_row(edge, written) for edge in cam.edges),
        numbers=(1, 3, 4, 5, 6, 7),
        wide=(2,),
    )  # fmt: skip


def _edge_row(edge: CamEdge, written: Written) -> tuple[str, ...]:
    left_out = f" ({edge.rejected})" if edge.rejected else ""
    return (
        told(edge.edge),
        written.angle(edge.angle_deg, edge.uncertainty_deg),
        told(edge.teeth),
        written.degrees(edge.scatter_deg, 3),
        written.plain_signed(edge.drift_deg_per_s, 3),
        f"{edge.count}{left_out}",
        written.number(edge.coverage_factor, 2),
        written.number(edge.dof, 0),
    )


def _budgets(cam: CamMeasurement, written: Written) -> Table:
    """Standard uncertainty of every contribution, a row for each edge."""
    sources = dict.fromkeys((line.source, line.kind) for edge in cam.edges for line in edge.budget)
    return Table(
        head=(
            say("edge"), say("at"),
            *(f"{told(source)},\u00a0{kind}" for source, kind in sources),
        ),
        rows=tuple(_budget_row(edge, sources, written) for edge in cam.edges),
        numbers=tuple(range(1, 2 + len(sources))),
        wide=tuple(range(2, 2 + len(sources))),
    )  # fmt: skip


def _budget_row(
    edge: CamEdge, sources: Iterable[tuple[str, str]], written: Written
) -> tuple[str, ...]:
    standard = {(line.source, line.kind): line.standard_deg for line in edge.budget}
    return (
        told(edge.edge),
        written.degrees(edge.angle_deg, 1),
        *(written.degrees(standard[source], 4) if source in standard else "" for source in sources),
    )


def _remarks(cam: CamMeasurement, written: Written) -> str:
    said = [
        say(
            "{channel}, {sensor}, {cycles} cycles.", channel=cam.channel, sensor=told(cam.sensor),
            cycles=cam.cycles,
        ),
        say(
            "Common to all edges: scatter {deg}.", deg=written.degrees(cam.common_scatter_deg, 3)
        ),
    ]  # fmt: skip
    if cam.moving_deg > 0.0:
        said.append(
            say("It moved by {deg} while recorded.", deg=written.degrees(cam.moving_deg, 2))
        )
    if cam.delay_s is not None and cam.delay_uncertainty_s is not None:
        said.append(
            say(
                "Sensor delay against the crank's: {delay} ± {margin} µs.",
                delay=written.plain_signed(1e6 * cam.delay_s, 0),
                margin=written.number(1e6 * cam.delay_uncertainty_s, 0),
            )
        )
    said.append(say("± is expanded, 95 %."))
    said.append(
        say(
            "The second table has the standard uncertainties behind it: A from statistics, B from "
            "other knowledge."
        )
    )
    return " ".join(said)
