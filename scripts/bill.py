"""Write the software bill of materials: what an installation is made of, as CycloneDX 1.6 JSON.

    python scripts/bill.py -o crankwise.cdx.json             with the extra shop
    python scripts/bill.py -o crankwise.cdx.json --extra web  with other extras, none by ''
    python scripts/bill.py -o crankwise.cdx.json --hashes    digests from the package index as well

The same installation gives the same bytes: neither a time nor a random number stands in it, unless
``SOURCE_DATE_EPOCH`` says the time.
"""  # noqa: INP001  a script, not a package

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from importlib.metadata import distribution
from pathlib import Path
from typing import Final
from uuid import NAMESPACE_URL, uuid5

from cyclonedx.contrib.license.factories import LicenseFactory
from cyclonedx.model import HashAlgorithm, HashType
from cyclonedx.model.bom import Bom, BomMetaData
from cyclonedx.model.component import Component, ComponentType
from cyclonedx.output import make_outputter
from cyclonedx.schema import OutputFormat, SchemaVersion
from needed import NOT_TOLD, PROJECT, Needed, direct, licence, needed
from packageurl import PackageURL
from registry import digests

SHOP: Final = ("shop",)


def main(arguments: list[str] | None = None) -> int:
    """Write the bill."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("-o", "--output", type=Path, required=True, metavar="FILE")
    parser.add_argument("--extra", action="append", metavar="NAME", help="else shop")
    parser.add_argument("--hashes", action="store_true", help="ask the package index for digests")
    chosen = parser.parse_args(arguments)
    extras = frozenset(filter(None, SHOP if chosen.extra is None else chosen.extra))
    packages = needed(extras)
    known = digests(packages) if chosen.hashes else {}
    if chosen.hashes and not known:
        print("the package index does not answer: leave out --hashes", file=sys.stderr)
        return 1
    chosen.output.write_text(bill(packages, extras, known), encoding="utf-8", newline="\n")
    print(f"saved: {chosen.output}, {len(packages)} packages")
    return 0


def bill(packages: Sequence[Needed], extras: frozenset[str], known: Mapping[str, str]) -> str:
    """Make the document of the project with these packages; ``known`` are digests by name."""
    own = distribution(PROJECT)
    project = _component(
        Needed(PROJECT, own.version, licence(own)), None, ComponentType.APPLICATION
    )
    components = {
        package.name: _component(package, known.get(package.name), ComponentType.LIBRARY)
        for package in packages
    }
    bom = Bom(
        components=components.values(),
        metadata=BomMetaData(component=project, timestamp=_time()),
    )
    bom.register_dependency(project, [components[name] for name in sorted(direct(extras))])
    for package in packages:
        bom.register_dependency(
            components[package.name], [components[name] for name in sorted(package.needs)]
        )
    names = " ".join(f"{package.name}=={package.version}" for package in packages)
    # A name-based number: the same content keeps it.
    bom.serial_number = uuid5(NAMESPACE_URL, f"{project.purl} {names}")
    text = make_outputter(bom, OutputFormat.JSON, SchemaVersion.V1_6).output_as_string(indent=2)
    return f"{text}\n"


def _component(package: Needed, sha256: str | None, kind: ComponentType) -> Component:
    address = PackageURL("pypi", name=package.name, version=package.version)
    licences = (
        [] if package.licence == NOT_TOLD else [LicenseFactory().make_from_string(package.licence)]
    )
    return Component(
        name=package.name,
        version=package.version,
        type=kind,
        bom_ref=str(address),
        purl=address,
        licenses=licences,
        hashes=[HashType(alg=HashAlgorithm.SHA_256, content=sha256)] if sha256 else [],
    )


def _time() -> datetime:
    """Return the time that stands in the document: what the build says, else the epoch's start."""
    return datetime.fromtimestamp(int(os.environ.get("SOURCE_DATE_EPOCH", "0")), tz=UTC)


if __name__ == "__main__":
    sys.exit(main())
