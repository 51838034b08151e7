"""docs/groups.md, run as it stands: the services of its description, then its steps in order."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import sysconfig
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "groups.md").read_text(encoding="utf-8")
PORTS = ("5433", "5001", "8786", "8731")
LISTENS = {"objects": "5001", "scheduler": "8786"}
STARTS_WITHIN_S = 60.0
ENDS_WITHIN_S = 120.0

yaml = pytest.importorskip("yaml", reason="comes with distributed")
for package in ("distributed", "moto", "flask", "s3fs"):
    pytest.importorskip(package, reason="for development only")


def block(language: str) -> str:
    """Return the one code block of a language."""
    [text] = re.findall(rf"^```{language}\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
    return text


def free_ports() -> dict[str, str]:
    """A free port for each one in the page."""
    held = [socket.create_server(("127.0.0.1", 0)) for _ in PORTS]
    found = {port: str(one.getsockname()[1]) for port, one in zip(PORTS, held, strict=True)}
    for one in held:
        one.close()
    return found


@pytest.fixture(scope="module")
def group(postgres, tmp_path_factory):
    """The services of the page but the database, which the other tests have running already."""
    folder = tmp_path_factory.mktemp("group")
    (folder / "exports").mkdir()
    ports = free_ports()

    def here(text: str) -> str:
        return re.sub("|".join(PORTS), lambda found: ports[found[0]], text)

    described = yaml.safe_load(here(block("yaml")))
    scripts = sysconfig.get_path("scripts")
    shown = postgres.url.set(drivername="postgresql", database="crankwise")
    url = shown.render_as_string(hide_password=False)
    environment = os.environ | described["environment"] | {
        "CRANKWISE_STORE": f"{url}{'&' if '?' in url else '?'}originals=s3://shop/originals",
        "PATH": f"{scripts}{os.pathsep}{os.environ['PATH']}",
        "PYTHONPATH": str(ROOT / "src"),
        "COLUMNS": "80",
    }  # fmt: skip
    assert set(described["services"]) == {
        "database", "objects", "scheduler", "worker-1", "worker-2", "screens",
    }  # fmt: skip
    running = []
    try:
        for name, service in described["services"].items():
            if name in {"database", "screens"}:
                continue
            running.append(started(service["command"], folder, environment))
            if name in LISTENS:
                wait_for(int(ports[LISTENS[name]]))
        yield folder, environment, here, described["services"]["screens"]["command"]
    finally:
        for process in running:
            process.send_signal(signal.SIGTERM)
        for process in running:
            try:
                process.wait(timeout=10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def started(command: str, folder: Path, environment: dict[str, str]) -> subprocess.Popen[bytes]:
    program, *rest = shlex.split(command)
    return subprocess.Popen(
        [shutil.which(program, path=environment["PATH"]) or program, *rest],
        cwd=folder, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip


def wait_for(port: int) -> None:
    until = time.monotonic() + STARTS_WITHIN_S
    while time.monotonic() < until:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1.0).close()
        except OSError:
            time.sleep(0.1)
        else:
            return
    pytest.fail(f"nothing listens on port {port}")


def run(step: str, folder: Path, environment: dict[str, str]) -> str:
    program, *rest = shlex.split(step)
    place = sys.executable if program == "python" else shutil.which(
        program, path=environment["PATH"]
    )  # fmt: skip
    done = subprocess.run(
        [place, *rest], cwd=folder, env=environment, capture_output=True, text=True,
        timeout=ENDS_WITHIN_S, check=False,
    )  # fmt: skip
    assert done.returncode == 0, f"{step}: {done.stderr}"
    return done.stdout


def test_the_page_can_be_followed_step_by_step(group, postgres):
    folder, environment, here, screens = group
    said = {}
    for step in here(block("sh")).splitlines():
        if step.startswith("createdb"):
            with postgres.connect() as connection:
                connection.exec_driver_sql(f"CREATE DATABASE {step.split()[-1]}")
            continue
        name = " ".join(shlex.split(step)[:3])
        said[name] = said.get(name, "") + run(step, folder, environment)
    promised = block("text").splitlines()
    [batch] = [text for name, text in said.items() if name.startswith("crankwise batch")]
    found = [line.rstrip() for line in batch.splitlines() if not line.startswith("time ")]
    assert found == promised
    assert said["crankwise watch exports"].count("● in-time") == 2
    assert "van-5" in said["crankwise job list"]
    assert "1 known-good" in said["crankwise reference population"]
    serving = started(screens, folder, environment)
    try:
        wait_for(int(re.search(r"--port (\d+)", screens)[1]))
    finally:
        serving.send_signal(signal.SIGINT)
        serving.wait(timeout=20)
