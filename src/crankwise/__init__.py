"""Valve timing in crank degrees from crankshaft and camshaft sensor recordings.

``import crankwise as cw; m = cw.measure(cw.read("van.csv"))``
``c = cw.compare(m, [cw.load("known-good.json")]); c.verdict``
"""

from __future__ import annotations

import sys
from types import ModuleType
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
    "read",
    "save",
]

if TYPE_CHECKING:
    from crankwise.document import load, load_comparison, save
    from crankwise.drive.engine_file import load_engine
    from crankwise.judge.policy import load_policy
    from crankwise.pipeline import compare, measure
    from crankwise.readers import read

_HOME = {
    "load": "crankwise.document",
    "load_comparison": "crankwise.document",
    "load_engine": "crankwise.drive.engine_file",
    "load_policy": "crankwise.judge.policy",
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


class _Package(ModuleType):
    """The package, in which ``compare`` is what users call although a layer has that name.

    The import system sets the attribute to the layer as soon as anything of it is imported; a
    property is looked up before what it has set. ``from crankwise.compare import …`` is untouched.
    """

    @property
    def compare(self) -> Any:
        from crankwise import pipeline  # noqa: PLC0415  as above

        return pipeline.compare

    @compare.setter
    def compare(self, layer: ModuleType) -> None:
        pass


sys.modules[__name__].__class__ = _Package
