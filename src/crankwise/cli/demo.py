"""``crankwise demo``: the whole job on a built-in scenario, as a list of steps."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from crankwise.cli import compare, measure
from crankwise.cli.demo_store import tell_the_store
from crankwise.cli.options import Lang, Quiet, is_quiet
from crankwise.errors import UsageError
from crankwise.language import say

if TYPE_CHECKING:
    from collections.abc import Sequence

_ENGINE: Final = "tarn-t20"
_NEXT_LINE: Final = "\\\n    "


@dataclass(frozen=True, slots=True)
class _Recorded:
    """One recording of the story: name of its files, what is simulated, and which vehicle."""

    name: str
    preset: str
    seed: int


# One seed, one vehicle: the first two are the same van at two visits.
_KNOWN_GOOD: Final = _Recorded("known-good", "t20-fresh-chain", 20)
_VAN: Final = _Recorded("van", "t20-worn-guide", 20)
_HEALTHY: Final = _Recorded("healthy", "van-2", 21)

_SCENE: Final = """\
Bramblegate Workshop looks after six delivery vans with the Tarn T20 engine:
60-2 crank wheel, four teeth on each cam wheel, one long chain from the crank
over the exhaust cam to the intake cam. Workshop, engine and recordings are
made up."""
_NEW: Final = "1. When the chain of this van was new, it was recorded: its known-good."
_TODAY: Final = "2. Today the van rattles after a cold start, and is recorded again."
_MOVED: Final = """\
3. Has the timing moved? The known-good is this very van, so fractions of a
   degree count."""
_PASSES: Final = """\
4. Does a healthy engine pass? Another van, against the same known-good: what
   two healthy vans differ by has to be allowed for."""


def demo(
    ctx: typer.Context,
    *,
    into: Annotated[
        Path, typer.Option("--into", metavar="FOLDER", help="Where the files of the demo go.")
    ] = Path("crankwise-demo"),
    quiet: Quiet = False,
    lang: Lang = None,  # noqa: ARG001  spoken when parsed
) -> None:
    """Show the whole job on simulated vans."""
    silent = is_quiet(ctx, quiet=quiet)
    _make_folder(into)
    _tell(say(_SCENE), silent=silent)
    _measure(_KNOWN_GOOD, into, say(_NEW), in_full=False, silent=silent)
    _measure(_VAN, into, say(_TODAY), in_full=True, silent=silent)
    _compare(_VAN, into, say(_MOVED), same_vehicle=True, silent=silent)
    _record(_HEALTHY, into)
    _compare(_HEALTHY, into, say(_PASSES), same_vehicle=False, silent=silent)
    tell_the_store(into, silent=silent)


def _make_folder(into: Path) -> None:
    try:
        into.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(
            f"{into} can't be a folder ({error.strerror}): choose another with --into"
        ) from error


def _tell(words: str, *, silent: bool) -> None:
    if not silent:
        typer.echo(f"{words}\n")


def _tell_command(*words: str | Path, silent: bool) -> None:
    """Show what one would type."""
    _tell("   crankwise " + " ".join(map(str, words)), silent=silent)


def _record(recorded: _Recorded, into: Path) -> Path:
    """Simulate what a scope would save at the van."""
    from crankwise.testing.simulate import simulate_to_file  # noqa: PLC0415  keeps --help fast

    path = into / f"{recorded.name}.csv"
    simulate_to_file(recorded.preset, path, seed=recorded.seed)
    return path


def _measure(recorded: _Recorded, into: Path, words: str, *, in_full: bool, silent: bool) -> None:
    """Measure the file as any other: nothing the simulator knows is used."""
    recording = _record(recorded, into)
    output, picture = into / f"{recorded.name}.json", into / f"{recorded.name}.svg"
    _tell(words, silent=silent)
    _tell_command(
        "measure", recording, _NEXT_LINE, "-o", output, "--picture", picture, silent=silent
    )
    measurement = measure.measure_file(recording, progress=not silent)
    saved = [recording, *measure.save_results(measurement, output=output, picture=picture)]
    if silent:
        return
    if in_full:
        from crankwise.cli.show import show_measurement  # noqa: PLC0415  keeps --help fast

        show_measurement(measurement, saved=saved)
        typer.echo()
    else:
        _name_saved(saved)


def _name_saved(saved: Sequence[Path]) -> None:
    for path in saved:
        typer.echo(say("saved: {path}", path=path))
    typer.echo()


def _compare(
    recorded: _Recorded, into: Path, words: str, *, same_vehicle: bool, silent: bool
) -> None:
    subject, known_good = into / f"{recorded.name}.csv", into / f"{_KNOWN_GOOD.name}.json"
    output, picture = (into / f"{recorded.name}-compared{suffix}" for suffix in (".json", ".svg"))
    same = ("--same-vehicle",) if same_vehicle else ()
    _tell(words, silent=silent)
    _tell_command(
        "compare", subject, "--reference", known_good, _NEXT_LINE, *same, "--engine", _ENGINE,
        _NEXT_LINE, "-o", output, "--picture", picture, silent=silent,
    )  # fmt: skip
    compared = compare.compare_files(
        subject,
        compare.Against((known_good,), same_vehicle=same_vehicle, engine=_ENGINE),
        compare.How(progress=not silent),
    )
    saved = compare.save_results(compared, output=output, picture=picture)
    if not silent:
        from crankwise.cli.show_comparison import show_comparison  # noqa: PLC0415  keeps --help fast

        pitch_deg = compared.subject.crank.pitch_deg
        show_comparison(compared.comparison, pitch_deg=pitch_deg, saved=saved)
        typer.echo()
