"""Valve timing in crank degrees from crankshaft and camshaft sensor recordings.

``import crankwise as cw; m = cw.measure(cw.read("van.csv"))``
``c = cw.compare(m, [cw.load("known-good.json")]); c.verdict``
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

__all__ = [
    "__version__",
    "compare",
    "load",
    "load_comparison",
    "load_engine",
    "load_policy",
    "measure",
    "measure_file",
    "read",
    "save",
]

if TYPE_CHECKING:
    from crankwise.document import load, load_comparison, save
    from crankwise.drive.engine_file import load_engine
    from crankwise.judge.policy import load_policy
    from crankwise.pipeline import compare, measure
    from crankwise.readers import read
    from crankwise.readers.measuring import measure_file

_HOME = {
    "compare": "crankwise.pipeline",
    "load": "crankwise.document",
    "load_comparison": "crankwise.document",
    "load_engine": "crankwise.drive.engine_file",
    "load_policy": "crankwise.judge.policy",
    "measure": "crankwise.pipeline",
    "measure_file": "crankwise.readers.measuring",
    "read": "crankwise.readers",
    "save": "crankwise.document",
}


def __getattr__(name: str) -> Any:
    # Imported on first use: the command line has to start fast.
    if name not in _HOME:
        raise AttributeError(f"module 'crankwise' has no attribute '{name}'")
    from importlib import import_module  # noqa: PLC0415

    return getattr(import_module(_HOME[name]), name)
