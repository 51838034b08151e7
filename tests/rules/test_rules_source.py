"""House rules about the source itself: size, words, randomness, what must not be in it."""

from __future__ import annotations

import ast
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SRC = ROOT / "src" / "crankwise"
MODULES = sorted(SRC.rglob("*.py"))
MOST_LINES_OF_A_FILE = 450
MOST_LINES_OF_A_FUNCTION = 60
MAKERS = {"default_rng", "Random"}
SEEDED = MAKERS | {"Generator", "SeedSequence"}

MACHINE_PATH = re.compile(
    r"(?<![\w.~-])/(?:home|root|tmp|work|Users|mnt|opt)/\w|\b[A-Z]:\\Users\\", re.ASCII
)
# Names of package registries and of anything else that serves packages.
REGISTRY_HOST = re.compile(
    r"https?://[^\s\"'<>)]*(?:pypi|pythonhosted|npmjs|registry|artifactory|nexus|proxy\.golang)"
    r"|--(?:extra-)?index-url|--trusted-host",
    re.IGNORECASE,
)


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def tracked_files() -> list[Path]:
    """Files under version control, or all that would be in a source release."""
    try:
        listed = subprocess.run(
            ["git", "ls-files", "-z"],  # noqa: S607  wherever git is
            cwd=ROOT, capture_output=True, check=True,
        ).stdout.split(b"\0")  # fmt: skip
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("not a git checkout")
    paths = [ROOT / name.decode() for name in listed if name]
    return [path for path in paths if path.is_file()]


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_files_and_functions_stay_short(path):
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) < MOST_LINES_OF_A_FILE
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.end_lineno:
            docstring = (ast.get_docstring(node, clean=False) or "").splitlines()
            length = node.end_lineno - node.lineno + 1 - len(docstring)
            assert length < MOST_LINES_OF_A_FUNCTION, f"{node.name} has {length} lines"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_everything_public_has_a_docstring(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    empty = not tree.body
    assert empty or ast.get_docstring(tree), "the module says nothing of itself"
    for node in public_nodes(tree):
        assert ast.get_docstring(node), f"{node.name} has no docstring"


def public_nodes(tree: ast.Module):
    """Public functions and classes of a module, and public methods of those classes."""
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)
    for node in tree.body:
        if isinstance(node, kinds) and not node.name.startswith("_"):
            yield node
            if isinstance(node, ast.ClassDef):
                yield from (
                    inner
                    for inner in node.body
                    if isinstance(inner, kinds) and not inner.name.startswith("_")
                )


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_random_numbers_come_from_a_seeded_generator(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module in ("random", "numpy.random"):
            names = {alias.name for alias in node.names}
            assert names <= SEEDED, f"{names - SEEDED} uses a hidden global generator"
        if isinstance(node, ast.Attribute):
            module, _, name = ast.unparse(node).rpartition(".")
            if module in ("random", "np.random", "numpy.random"):
                assert name in SEEDED, f"{module}.{name} uses a hidden global generator"
        if isinstance(node, ast.Call) and ast.unparse(node.func).split(".")[-1] in MAKERS:
            assert node.args or node.keywords, "a generator without a seed"


@pytest.mark.parametrize("path", MODULES, ids=name_of)
def test_nothing_is_left_to_do_later(path):
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"\b(?:TODO|FIXME|XXX|HACK|raise NotImplementedError)\b", text)


def test_no_machine_paths_or_package_hosts_are_tracked():
    found = []
    for path in tracked_files():
        if path == Path(__file__) or b"\0" in path.read_bytes()[:8000]:
            continue
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
            if MACHINE_PATH.search(line) or REGISTRY_HOST.search(line):
                found.append(f"{name_of(path)}:{number}: {line.strip()[:80]}")
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    ("line", "is_found"),
    [
        ("see /home/anna/x.csv", True),
        ('path = "/tmp/y"', True),
        (r"C:\Users\anna", True),
        ("https://pypi.org/simple", True),
        ("pip install --index-url http://x", True),
        ("https://json-schema.org/draft", False),
        ("src/tmp/x and a/work/b", False),
        ("intake/exhaust", False),
    ],
)
def test_the_search_for_paths_and_hosts_finds_them(line, is_found):
    assert bool(MACHINE_PATH.search(line) or REGISTRY_HOST.search(line)) == is_found
