"""Build the release and try it as a stranger would: 0 if it can be given away.

    python scripts/release.py           everything, into dist/
    python scripts/release.py --quick   build, compare and look inside; install nothing

Builds the sdist and from it the wheel, twice, to the same bytes; checks them with twine; looks that
all of the package is in and nothing of this machine; installs the wheel into empty environments in
a folder with blanks and letters beyond ASCII, and runs it there with the extra ``shop`` and without
any.
"""  # noqa: INP001  a script, not a package

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tarfile
import tempfile
import time
import venv
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

ROOT = Path(__file__).resolve().parents[1]
DIST = ROOT / "dist"
EPOCH: Final = "1735689600"  # 2025-01-01: any fixed day makes two builds alike
LEAVINGS: Final = ("__pycache__", ".pyc")


class NotReadyError(Exception):
    """The release is not fit to be given away; says why."""


@dataclass(frozen=True, slots=True)
class Built:
    """The two files of a release."""

    sdist: Path
    wheel: Path


@dataclass(frozen=True, slots=True)
class Refusal:
    """What a command says where its extra is missing."""

    command: tuple[str, ...]
    words: str


WITHOUT_EXTRAS: Final = (
    Refusal(("serve", "--no-browser"), "crankwise[web]"),
    Refusal(("report", "compared.json", "-o", "report.pdf"), "crankwise[report]"),
    Refusal(("watch", "."), "crankwise[watch]"),
    Refusal(("batch", "van.csv", "-o", "all.parquet"), "crankwise[batch]"),
    Refusal(("measure", "van.csv", "--picture", "van.png"), "crankwise[png]"),
)


def main(arguments: list[str] | None = None) -> int:
    """Build and check; 0 if the release is fit."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--quick", action="store_true", help="install nothing")
    chosen = parser.parse_args(arguments)
    shutil.rmtree(DIST, ignore_errors=True)
    try:
        built = build(DIST)
        say(f"built: {built.sdist.name}, {built.wheel.name} ({_kilobytes(built.wheel)} kB)")
        with tempfile.TemporaryDirectory() as folder:
            check_same(built, build(Path(folder)))
        say("a second build gives the same bytes")
        check_version(built)
        check_contents(built)
        say("all of the package is in, and nothing of this machine")
        run(python_here(), "-m", "twine", "check", "--strict", built.sdist, built.wheel)
        if not chosen.quick:
            try_it(built.wheel)
    except NotReadyError as error:
        print(f"not ready: {error}", file=sys.stderr)
        return 1
    say("ready")
    return 0


def build(into: Path) -> Built:
    """Build the sdist, and the wheel from the sdist, by what is installed here."""
    run(
        python_here(), "-m", "build", "--no-isolation", "--outdir", into, ROOT,
        more={"SOURCE_DATE_EPOCH": EPOCH},
    )  # fmt: skip
    return Built(next(into.glob("*.tar.gz")), next(into.glob("*.whl")))


def check_same(first: Built, second: Built) -> None:
    """Refuse a build that depends on more than the sources."""
    for one, other in ((first.sdist, second.sdist), (first.wheel, second.wheel)):
        if one.read_bytes() != other.read_bytes():
            raise NotReadyError(f"{one.name}: a second build gives other bytes")


def check_version(built: Built) -> None:
    """Refuse a version that package, file names and changelog don't agree on."""
    package = (ROOT / "src" / "crankwise" / "__init__.py").read_text(encoding="utf-8")
    changes = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    version = _first(r'^__version__ = "(.+)"', package)
    if version != _first(r"^## \[(.+?)\]", changes):
        raise NotReadyError(f"CHANGELOG.md does not begin with version {version}")
    for file in (built.sdist, built.wheel):
        if f"-{version}" not in file.name:
            raise NotReadyError(f"{file.name} is not version {version}")


def check_contents(built: Built) -> None:
    """Refuse files that are missing, are too many, or tell of this machine."""
    package = {
        path.relative_to(ROOT / "src").as_posix()
        for path in (ROOT / "src").rglob("*")
        if path.is_file()
        and not any(left in str(path) for left in LEAVINGS)
        and not any(part.startswith(".") for part in path.relative_to(ROOT).parts)
    }
    wheel, sdist = dict(_files_of(built.wheel)), dict(_files_of(built.sdist))
    inside = {name for name in wheel if ".dist-info/" not in name}
    _refuse("missing in the wheel", package - inside)
    _refuse("in the wheel, but not of the package", inside - package)
    top = built.sdist.name.removesuffix(".tar.gz")
    _refuse("missing in the sdist", {f"{top}/src/{name}" for name in package} - sdist.keys())
    licences = {name for name in wheel if name.endswith("licenses/LICENSE")}
    if not licences:
        raise NotReadyError("the wheel lacks the licence")
    told = [str(place).encode() for place in (ROOT, Path.home()) if len(place.parts) > 1]
    for files in (wheel, sdist):
        _refuse(
            "names a folder of this machine",
            {name for name, data in files.items() if any(place in data for place in told)},
        )


def _files_of(archive: Path) -> Iterator[tuple[str, bytes]]:
    if archive.suffix == ".whl":
        with zipfile.ZipFile(archive) as wheel:
            yield from ((name, wheel.read(name)) for name in wheel.namelist())
        return
    with tarfile.open(archive) as sdist:
        for member in sdist:
            if (file := sdist.extractfile(member)) is not None:
                yield member.name, file.read()


def try_it(wheel: Path) -> None:
    """Install the wheel into empty environments, with the shop's extras and alone, and use it."""
    with tempfile.TemporaryDirectory(prefix="Werkstatt für Wägen ") as folder:
        place = Path(folder)
        crankwise = install(wheel, "shop", place / "mit allem")
        run(crankwise, "demo", cwd=place)
        say("the demo runs")
        crankwise = install(wheel, "", place / "ohne Zusätze")
        run(crankwise, "simulate", "--preset", "t20-fresh-chain", "-o", "good.csv", cwd=place)
        run(crankwise, "simulate", "--preset", "t20-worn-guide", "-o", "van.csv", cwd=place)
        run(crankwise, "measure", "good.csv", "-o", "good.json", cwd=place)
        compared = ("compare", "van.csv", "--reference", "good.json", "-o", "compared.json")
        run(crankwise, *compared, cwd=place)
        run(crankwise, "demo", "--into", "demo ohne Zusätze", cwd=place)
        for refusal in WITHOUT_EXTRAS:
            check_refused(crankwise, refusal, place)
        say("without extras it measures and compares, and names the extra for the rest")


def install(wheel: Path, extra: str, folder: Path) -> Path:
    """Install the wheel into a new environment; returns its command."""
    began = time.monotonic()
    venv.create(folder, with_pip=True)
    programs = folder / ("Scripts" if os.name == "nt" else "bin")
    run(
        programs / "python",
        "-m",
        "pip",
        "install",
        "--quiet",
        f"{wheel}[{extra}]" if extra else wheel,
    )
    say(f"installed {extra or 'without extras'} in {time.monotonic() - began:.0f} s")
    return programs / "crankwise"


def check_refused(crankwise: Path, refusal: Refusal, cwd: Path) -> None:
    """Refuse a command that does not say in one line which extra it lacks."""
    done = subprocess.run(  # noqa: S603  ours
        [crankwise, *refusal.command], cwd=cwd, capture_output=True, check=False
    )
    said = done.stderr.decode("utf-8", "replace").strip()
    if done.returncode == 0 or refusal.words not in said or "\n" in said:
        words = " ".join(refusal.command)
        raise NotReadyError(
            f"crankwise {words} lacks {refusal.words} and says: {said or 'nothing'}"
        )


def run(*command: str | Path, cwd: Path = ROOT, more: Mapping[str, str] | None = None) -> None:
    """Run a step quietly; what it said stands in the error where it fails."""
    done = subprocess.run(  # noqa: S603  ours
        command, cwd=cwd, env=os.environ | dict(more or {}), stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT, check=False,
    )  # fmt: skip
    if done.returncode != 0:
        said = done.stdout.decode("utf-8", "replace").strip()
        raise NotReadyError(f"{' '.join(map(str, command))} ended with {done.returncode}:\n{said}")


def python_here() -> Path:
    """Return the Python that runs this."""
    return Path(sys.executable)


def say(words: str) -> None:
    """Tell how far it is."""
    print(words, flush=True)


def _refuse(words: str, names: Sequence[str] | set[str]) -> None:
    if names:
        raise NotReadyError(f"{words}: {', '.join(sorted(names)[:5])}")


def _first(pattern: str, text: str) -> str:
    found = re.search(pattern, text, re.MULTILINE)
    return found[1] if found else ""


def _kilobytes(file: Path) -> int:
    return round(file.stat().st_size / 1000)


if __name__ == "__main__":
    sys.exit(main())
