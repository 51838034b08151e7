"""House rules about what may import what."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

SRC = Path(__file__).parents[2] / "src" / "crankwise"

# Imports point only upward in this list; modules of one layer may import each other.
LAYERS = (
    "errors", "units", "given", "model", "edges", "wheel", "angle", "roles", "check", "comparison",
    "drive", "judge", "pipeline", "levels", "readers", "testing", "schemas", "document", "store",
    "workshop", "language", "picture", "report", "batch", "watch", "web", "cli",
)  # fmt: skip
CORE = LAYERS[: LAYERS.index("readers")]
NOT_FOR_THE_CORE = {
    "typer", "click", "rich", "fastapi", "starlette", "uvicorn", "jinja2", "sqlalchemy", "alembic",
    "sqlite3", "psycopg", "matplotlib", "plotly", "resvg_py", "polars", "pandas", "h5py",
    "asammdf", "dask", "distributed", "socket", "http", "urllib", "pydantic",
}  # fmt: skip
MODULES = sorted(SRC.rglob("*.py"))


def name_of(path: Path) -> str:
    return str(path.relative_to(SRC))


def imported(path: Path) -> set[str]:
    """Every module a file imports, wherever in it, by full name."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name_of(path)}: relative import"
            if node.module == "crankwise":
                names |= {f"crankwise.{alias.name}" for alias in node.names}
            else:
                names.add(node.module)
    return names


def layer_of(path: Path) -> str:
    return path.relative_to(SRC).parts[0].removesuffix(".py")


def test_every_module_has_a_layer():
    face = {"__init__", "__main__"}  # may show every layer
    found = {layer_of(path) for path in MODULES} - face
    assert found <= set(LAYERS), f"add to LAYERS and to the design: {found - set(LAYERS)}"


@pytest.mark.parametrize("path", [p for p in MODULES if layer_of(p) in LAYERS], ids=name_of)
def test_imports_point_upward_only(path):
    layer = layer_of(path)
    allowed = set(LAYERS[: LAYERS.index(layer) + 1]) | {"__version__"}
    own = {name.split(".")[1] for name in imported(path) if name.startswith("crankwise.")}
    assert own <= allowed, f"{name_of(path)} imports {own - allowed} from below"


@pytest.mark.parametrize("path", [p for p in MODULES if layer_of(p) in CORE], ids=name_of)
def test_the_core_knows_nothing_of_its_surroundings(path):
    roots = {name.split(".")[0] for name in imported(path)}
    assert roots.isdisjoint(NOT_FOR_THE_CORE)


def test_the_command_line_starts_without_the_heavy_packages():
    code = "import sys, crankwise.cli.app; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert "crankwise.cli.app" in loaded
    heavy = {"numpy", "scipy", "polars", "pydantic", "rich", "resvg_py", "sqlalchemy", "alembic"}
    assert loaded.isdisjoint(heavy)
