"""What the package index tells of packages, asked through uv: release days and digests."""  # noqa: INP001

from __future__ import annotations

import importlib.util
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

from needed import Needed
from packaging.tags import sys_tags
from packaging.utils import parse_wheel_filename

MOST_S: Final = 300.0


def release_days(packages: Sequence[Needed]) -> dict[str, str]:
    """Days on which the versions were released, ISO 8601, by name; nothing where none answers."""
    days: dict[str, str] = {}
    for entry in _locked(packages):
        told = [file["upload-time"] for file in _files(entry) if "upload-time" in file]
        if told:
            days[entry["name"]] = min(told).date().isoformat()
    return days


def digests(packages: Sequence[Needed]) -> dict[str, str]:
    """SHA-256 of the file that this Python installs, by name; nothing where none answers."""
    return {
        entry["name"]: file["hashes"]["sha256"]
        for entry in _locked(packages)
        if (file := _installed_from(entry)) is not None
    }


def pins(packages: Sequence[Needed]) -> str:
    """Write the packages as requirements of their very versions."""
    return "".join(f"{package.name}=={package.version}\n" for package in packages)


def run_module(module: str, *arguments: str) -> str | None:
    """Run a module of this environment: what it prints, or ``None`` where it fails or hangs."""
    command = [sys.executable, "-m", module, *arguments]
    try:
        done = subprocess.run(command, capture_output=True, timeout=MOST_S, check=False)  # noqa: S603
    except subprocess.TimeoutExpired:
        return None
    return done.stdout.decode("utf-8", "replace") if done.returncode in {0, 1} else None


def _locked(packages: Sequence[Needed]) -> list[dict[str, Any]]:
    """Let uv lock the packages (PEP 751), elsewhere, as the lock names the index."""
    if importlib.util.find_spec("uv") is None:
        return []
    with tempfile.TemporaryDirectory() as folder:
        asked, answer = Path(folder, "pins.txt"), Path(folder, "pylock.toml")
        asked.write_text(pins(packages), encoding="utf-8")
        run_module(
            "uv", "pip", "compile", "--quiet", "--no-deps", "--format", "pylock.toml",
            str(asked), "--output-file", str(answer),
        )  # fmt: skip
        if not answer.exists():
            return []
        entries: list[dict[str, Any]] = tomllib.loads(answer.read_text(encoding="utf-8"))[
            "packages"
        ]
    return entries


def _files(entry: dict[str, Any]) -> Iterator[dict[str, Any]]:
    yield from entry.get("wheels", ())
    if "sdist" in entry:
        yield entry["sdist"]


def _installed_from(entry: dict[str, Any]) -> dict[str, Any] | None:
    """Return the wheel that suits this Python best, else the source."""
    order = {tag: place for place, tag in enumerate(sys_tags())}
    suited = [
        (min(order[tag] for tag in tags & order.keys()), place, wheel)
        for place, wheel in enumerate(entry.get("wheels", ()))
        if (tags := parse_wheel_filename(_name(wheel))[3]) & order.keys()
    ]
    return min(suited)[2] if suited else entry.get("sdist")


def _name(file: dict[str, Any]) -> str:
    return str(file.get("name") or file["url"].rpartition("/")[2])
