"""Reports: for the owner, for the technician, and pages for the bench, as PDF and HTML.

``visit_report(store, file, visit, Wish("pdf", "owner"))`` makes one; the packages that print come
with ``crankwise[report]``.
"""

from __future__ import annotations

from importlib.util import find_spec
from typing import TYPE_CHECKING, Any, Final

from crankwise.errors import MissingPackageError

if TYPE_CHECKING:
    from crankwise.report.dossier import Dossier, Shop, of_comparison, of_visit
    from crankwise.report.making import Wish, made, visit_report

__all__ = [
    "Dossier",
    "Shop",
    "Wish",
    "ensure_installed",
    "made",
    "of_comparison",
    "of_visit",
    "visit_report",
]

_NEEDED: Final = ("babel", "jinja2", "typst")
_HOME: Final = {
    "Dossier": "dossier",
    "Shop": "dossier",
    "Wish": "making",
    "made": "making",
    "of_comparison": "dossier",
    "of_visit": "dossier",
    "visit_report": "making",
}


def ensure_installed() -> None:
    """Make sure that the packages that reports need are there.

    Raises
    ------
    MissingPackageError
        Names those that are not, and how to install them.
    """
    absent = [name for name in _NEEDED if find_spec(name) is None]
    if absent:
        raise MissingPackageError(
            f"Reports need the packages {' and '.join(absent)}: install them with pip install "
            "'crankwise[report]'"
        )


def __getattr__(name: str) -> Any:
    # Imported on first use: the packages that print are optional, and the command line starts fast.
    if name not in _HOME:
        raise AttributeError(f"module 'crankwise.report' has no attribute '{name}'")
    from importlib import import_module  # noqa: PLC0415

    try:
        home = import_module(f"crankwise.report.{_HOME[name]}")
    except ModuleNotFoundError:
        ensure_installed()
        raise
    return getattr(home, name)
