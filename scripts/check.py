"""Set everything up and run every check, on a machine that has only Python.

    python3 scripts/check.py             all checks
    python3 scripts/check.py tests/laws  set up, then only pytest with these arguments

Makes ``.venv`` if it is not there and installs the project with what the tests need, again only
after ``pyproject.toml`` has changed.
"""  # noqa: INP001  a script, not a package

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / ("python.exe" if os.name == "nt" else "python")
STAMP = VENV / "installed-from.txt"
LEAST_PYTHON = (3, 11)
CHECKS = (
    ("ruff", "check"),
    ("ruff", "format", "--check"),
    ("mypy",),
    ("pytest", "-n", "2"),  # last, so that its summary closes the output
)


def main(arguments: list[str]) -> int:
    """Set up, run the checks and return the exit code: 0 if all passed."""
    if sys.version_info < LEAST_PYTHON:
        print(
            f"Python {'.'.join(map(str, LEAST_PYTHON))} or newer is needed, this is {sys.version}"
        )
        return 2
    code = set_up()
    if code != 0:
        return code
    if arguments:
        return run(PYTHON, "-m", "pytest", *arguments)
    failed = [" ".join(check) for check in CHECKS if run(PYTHON, "-m", *check) != 0]
    if failed:
        print(f"failed: {', '.join(failed)}", file=sys.stderr)
    return 1 if failed else 0


def set_up() -> int:
    """Make the environment and install into it, unless that is done already."""
    if STAMP.exists() and STAMP.read_text(encoding="utf-8") == wanted():
        return 0
    if not PYTHON.exists():
        print(f"+ python -m venv {VENV.name}", flush=True)
        try:
            venv.create(VENV, with_pip=True)
        except (OSError, subprocess.CalledProcessError) as error:
            print(f"no environment could be made ({error}); on Debian: apt install python3-venv")
            return 1
    # Older pip does not know dependency groups.
    steps = (("--upgrade", "pip"), ("--editable", ".[shop]", "--group", "dev"))
    for step in steps:
        code = run(PYTHON, "-m", "pip", "install", "--quiet", *step)
        if code != 0:
            return code
    STAMP.write_text(wanted(), encoding="utf-8")
    return 0


def wanted() -> str:
    """Say what the environment was made from: the project's needs and this Python."""
    digest = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    return f"{digest} {sys.version}"


def run(program: Path, *arguments: str) -> int:
    """Run a step in the project's folder, print it first, and return its exit code."""
    print("+", program.stem, *arguments, flush=True)
    return subprocess.run([program, *arguments], cwd=ROOT, check=False).returncode  # noqa: S603  ours


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
