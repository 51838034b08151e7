"""Set everything up and run every check, on a machine that has only Python.

    python3 scripts/check.py             all checks
    python3 scripts/check.py tests/laws  set up, then only pytest with these arguments
    python3 scripts/check.py --lowest    all tests with the least versions of pyproject.toml

Makes ``.venv`` if it is not there, or was made by another Python, and installs the project with
what the tests need, again only after ``pyproject.toml`` has changed. The least versions have an
environment of their own, ``.venv-lowest``.
"""  # noqa: INP001  a script, not a package

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
LEAST_PYTHON = (3, 11)
LOWEST = "--lowest"
TESTS = ("pytest", "-n", "2")
CHECKS = (
    ("ruff", "check"),
    ("ruff", "format", "--check"),
    ("mypy",),
    TESTS,  # last, so that its summary closes the output
)


def main(arguments: list[str]) -> int:
    """Set up, run the checks and return the exit code: 0 if all passed."""
    if sys.version_info < LEAST_PYTHON:
        print(
            f"Python {'.'.join(map(str, LEAST_PYTHON))} or newer is needed, this is {sys.version}"
        )
        return 2
    is_lowest = arguments[:1] == [LOWEST]
    folder = ROOT / (".venv-lowest" if is_lowest else ".venv")
    code = set_up(folder, is_lowest=is_lowest)
    if code != 0:
        return code
    if is_lowest or arguments:
        chosen = arguments[is_lowest:]
        return run(python_of(folder), "-m", *(("pytest", *chosen) if chosen else TESTS))
    failed = [" ".join(check) for check in CHECKS if run(python_of(folder), "-m", *check) != 0]
    if failed:
        print(f"failed: {', '.join(failed)}", file=sys.stderr)
    return 1 if failed else 0


def set_up(folder: Path, *, is_lowest: bool) -> int:
    """Make the environment and install into it, unless that is done already."""
    stamp, python = folder / "installed-from.txt", python_of(folder)
    before = stamp.read_text(encoding="utf-8") if stamp.exists() else ""
    if before == wanted():
        return 0
    is_other_python = bool(before) and not before.endswith(sys.version)
    if not python.exists() or is_other_python:
        print(f"+ python -m venv {folder.name}", flush=True)
        try:
            venv.create(folder, with_pip=True, clear=is_other_python)
        except (OSError, subprocess.CalledProcessError) as error:
            print(f"no environment could be made ({error}); on Debian: apt install python3-venv")
            return 1
    project: tuple[str, ...] = ("--editable", ".[shop]", "--group", "dev")
    if is_lowest:
        least = folder / "least.txt"
        least.write_text(least_versions(), encoding="utf-8")
        project += ("--constraint", str(least))
    # Older pip does not know dependency groups.
    for step in (("--upgrade", "pip"), project):
        code = run(python, "-m", "pip", "install", "--quiet", *step)
        if code != 0:
            return code
    stamp.write_text(wanted(), encoding="utf-8")
    return 0


def python_of(folder: Path) -> Path:
    """Return the Python of an environment."""
    return folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def wanted() -> str:
    """Say what the environment was made from: the project's needs and this Python."""
    digest = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    return f"{digest} {sys.version}"


def least_versions() -> str:
    """Hold the project's own requirements at their least versions, as constraints for pip."""
    import tomllib  # noqa: PLC0415  older Pythons get as far as being told so

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"].values()
    asked = {item for some in (project["dependencies"], *extras) for item in some}
    pairs = (re.fullmatch(r"([\w-]+)(?:\[\w+\])?>=([\d.]+)", item) for item in sorted(asked))
    return "".join(f"{pair[1]}=={pair[2]}\n" for pair in pairs if pair)


def run(program: Path, *arguments: str) -> int:
    """Run a step in the project's folder, print it first, and return its exit code."""
    print("+", program.stem, *arguments, flush=True)
    return subprocess.run([program, *arguments], cwd=ROOT, check=False).returncode  # noqa: S603  ours


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
