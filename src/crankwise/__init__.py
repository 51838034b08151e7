"""Valve timing in crank degrees from crankshaft and camshaft sensor recordings.

``import crankwise as cw; m = cw.measure(cw.read("van.csv"))``
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

__all__ = ["__version__", "load", "measure", "read", "save"]

if TYPE_CHECKING:
    from crankwise.document import load, save
    from crankwise.pipeline import measure
    from crankwise.readers import read

_HOME = {
    "load": "crankwise.document",
    "measure": "crankwise.pipeline",
    "read": "crankwise.readers",
    "save": "crankwise.document",
}


def __getattr__(name: str) -> Any:
    # Imported on first use: the command line has to start fast.
    if name not in _HOME:
        raise AttributeError(f"module 'crankwise' has no attribute '{name}'")
    from importlib import import_module  # noqa: PLC0415

    return getattr(import_module(_HOME[name]), name)
