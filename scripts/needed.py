"""What the project needs of others, as it is installed: its own requirements and theirs.

Not what else happens to be in the environment.
"""  # noqa: INP001  beside scripts, not a package

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from importlib.metadata import Distribution, distribution
from typing import Final

from packaging.licenses import InvalidLicenseExpression, canonicalize_license_expression
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

PROJECT: Final = "crankwise"
CORE: Final = "core"
BUNDLE: Final = "shop"
"""An extra that puts others together; these are what tells the reason for a package."""
NOT_TOLD: Final = "not told"

_CLASSIFIERS: Final = {
    "Apache Software License": "Apache-2.0",
    "BSD License": "BSD",
    "GNU Lesser General Public License v3 or later (LGPLv3+)": "LGPL-3.0-or-later",
    "ISC License (ISCL)": "ISC",
    "MIT License": "MIT",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "Python Software Foundation License": "PSF-2.0",
}
"""Older packages tell their licence by these names only; ``BSD`` leaves open which of them."""

_READ: Final = {"partd": "BSD-3-Clause", "resvg-py": "MIT", "zstd": "BSD-2-Clause"}
"""Licences that stand in the package's licence file alone."""


@dataclass(slots=True)
class Needed:
    """A package that is needed.

    Attributes
    ----------
    name, version : str
    licence : str
        SPDX expression where the package tells enough for one.
    least : str
        What the project itself asks for, such as ``>=2.1``; nothing where only others need it.
    reasons : list of str
        Extras of the project that bring it; ``core`` alone where it is always needed.
    needs : set of str
        Names of the packages that it needs in turn.
    """

    name: str
    version: str
    licence: str
    least: str = ""
    reasons: list[str] = field(default_factory=list)
    needs: set[str] = field(default_factory=set)


def needed(extras: frozenset[str] | None = None) -> list[Needed]:
    """List what the core and these extras need, or all extras, in the order of their names.

    Raises
    ------
    PackageNotFoundError
        One of them is not installed.
    """
    own = distribution(PROJECT)
    offered = own.metadata.get_all("Provides-Extra") or []
    wanted = ["", *(extra for extra in offered if extras is None or extra in extras)]
    found: dict[str, Needed] = {}
    for extra in sorted(wanted):
        for name, needs in _closure(extra).items():
            if name == PROJECT:
                continue
            entry = found.setdefault(name, _told(distribution(name)))
            entry.needs |= needs
            if CORE not in entry.reasons and extra != BUNDLE:
                entry.reasons.append(extra or CORE)
    for requirement in map(Requirement, own.requires or ()):
        name = canonicalize_name(requirement.name)
        if name in found:
            found[name].least = str(requirement.specifier)
    return [found[name] for name in sorted(found)]


def direct(extras: frozenset[str]) -> set[str]:
    """Names of what the project itself asks for, with these extras."""
    reached = _closure("")[PROJECT].union(*(_closure(extra)[PROJECT] for extra in extras))
    return reached - {PROJECT}


def _closure(extra: str) -> dict[str, set[str]]:
    """Packages that one extra of the project reaches, the project first: what each needs."""
    waiting, seen = [(PROJECT, extra)], {(PROJECT, extra)}
    reached: defaultdict[str, set[str]] = defaultdict(set)
    while waiting:
        name, chosen = waiting.pop()
        needs = reached[name]
        for requirement in _requirements(distribution(name), chosen):
            other = canonicalize_name(requirement.name)
            needs.add(other)
            asked = {(other, ""), *((other, one) for one in requirement.extras)}
            if other == PROJECT:
                asked.discard((other, ""))
            waiting.extend(asked - seen)
            seen |= asked
    return dict(reached)


def _requirements(of: Distribution, extra: str) -> Iterator[Requirement]:
    """Requirements that an extra adds on this system; those of every install for no extra."""
    for requirement in map(Requirement, of.requires or ()):
        marker = requirement.marker
        always = marker is None or marker.evaluate({"extra": ""})
        if always != bool(extra) and (marker is None or marker.evaluate({"extra": extra})):
            yield requirement


def _told(of: Distribution) -> Needed:
    return Needed(canonicalize_name(of.name), of.version, licence(of))


def licence(of: Distribution) -> str:
    """Tell the licence that a package names: as expression, in a word, by classifier, or not."""
    told = of.metadata.json
    for text in (told.get("license_expression"), told.get("license")):
        if isinstance(text, str) and len(text) < 80:  # longer ones are the licence itself
            try:
                return str(canonicalize_license_expression(text))
            except InvalidLicenseExpression:
                continue
    for classifier in told.get("classifier", ()):
        kind, _, name = classifier.rpartition(" :: ")
        if kind.startswith("License") and name in _CLASSIFIERS:
            return _CLASSIFIERS[name]
    return _READ.get(canonicalize_name(of.name), NOT_TOLD)


def terms(expression: str) -> set[str]:
    """Licences that an expression puts together.

    >>> sorted(terms("(MIT OR Apache-2.0) AND BSD-3-Clause"))
    ['Apache-2.0', 'BSD-3-Clause', 'MIT']
    """
    return set(re.findall(r"[\w.+-]+", expression)) - {"AND", "OR", "WITH"}
