"""What is given away: licences and least versions of what it needs, bill of materials, wheel.

What takes the network or minutes, installing above all, is done by ``scripts/release.py``.
"""

from __future__ import annotations

import importlib
import json
import re
import sys
import tomllib
import zipfile
from importlib.metadata import distribution
from pathlib import Path

import pytest
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
ASKED = sorted(
    {
        item
        for some in (PROJECT["dependencies"], *PROJECT["optional-dependencies"].values())
        for item in some
        if not item.startswith("crankwise[")
    }
)


@pytest.fixture(scope="module")
def scripts():
    """The modules in ``scripts``, which is no package, by name."""
    sys.path.insert(0, str(ROOT / "scripts"))
    names = ("audit", "bill", "check", "needed", "release")
    try:
        yield {name: importlib.import_module(name) for name in names}
    finally:
        sys.path.remove(str(ROOT / "scripts"))
        for name in (*names, "registry"):
            sys.modules.pop(name, None)


@pytest.mark.parametrize("asked", ASKED)
def test_a_dependency_has_a_least_version_and_an_allowed_licence(scripts, asked):
    requirement = Requirement(asked)
    (specifier,) = requirement.specifier
    assert specifier.operator == ">="
    audit, needed = scripts["audit"], scripts["needed"]
    always = asked in PROJECT["dependencies"]
    told = needed.licence(distribution(requirement.name))
    package = needed.Needed(
        requirement.name, "", told, reasons=[needed.CORE if always else "extra"]
    )
    assert audit.is_allowed(package), told


def test_the_page_on_dependencies_has_each_with_its_least_version():
    page = (ROOT / "docs" / "dependencies.md").read_text(encoding="utf-8")
    rows = dict(re.findall(r"^\| (\S+) +\| (\S*) +\|", page, re.MULTILINE))
    wanted = {Requirement(asked).name: str(Requirement(asked).specifier)[2:] for asked in ASKED}
    assert wanted.items() <= rows.items(), "run scripts/audit.py --write"


def test_the_least_versions_are_those_of_the_project(scripts):
    lines = scripts["check"].least_versions().splitlines()
    assert lines == sorted(
        f"{Requirement(asked).name}=={str(Requirement(asked).specifier)[2:]}" for asked in ASKED
    )


@pytest.mark.parametrize(
    ("licence", "reasons", "is_allowed"),
    [
        ("MIT", ["core"], True),
        ("BSD-3-Clause AND Zlib", ["core"], True),
        ("LGPL-3.0-only", ["postgres"], True),
        ("LGPL-3.0-only", ["core"], False),
        ("GPL-3.0-only", ["mdf"], False),
        ("MIT AND AGPL-3.0-only", ["web"], False),
        ("not told", ["web"], False),
    ],
)
def test_licences_with_duties_come_by_extras_only(scripts, licence, reasons, is_allowed):
    package = scripts["needed"].Needed("some", "1", licence, reasons=reasons)
    assert scripts["audit"].is_allowed(package) is is_allowed


def test_the_bill_of_materials_is_valid_and_tells_nothing_of_this_machine(
    scripts, tmp_path, monkeypatch
):
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    places = [tmp_path / "one.json", tmp_path / "two.json"]
    for place in places:
        assert scripts["bill"].main(["-o", str(place), "--extra", ""]) == 0
    text = places[0].read_text(encoding="utf-8")
    assert text == places[1].read_text(encoding="utf-8")
    # Against the schema that CycloneDX publishes, which its library ships.
    assert JsonStrictValidator(SchemaVersion.V1_6).validate_str(text) is None
    document = json.loads(text)
    addresses = {component["purl"] for component in document["components"]}
    for asked in PROJECT["dependencies"]:
        name = Requirement(asked).name
        assert f"pkg:pypi/{name}@{distribution(name).version}" in addresses
    assert all(component["licenses"] for component in document["components"])
    root = next(d for d in document["dependencies"] if d["ref"].startswith("pkg:pypi/crankwise@"))
    assert len(root["dependsOn"]) == len(PROJECT["dependencies"])
    assert not {"file:", str(Path.home()), str(ROOT)} & set(re.findall(r"file:|/[\w/-]+", text))


def test_the_release_has_all_of_the_package_and_is_built_alike_twice(scripts, tmp_path):
    release = scripts["release"]
    first, second = release.build(tmp_path / "one"), release.build(tmp_path / "two")
    release.check_same(first, second)
    release.check_version(first)
    release.check_contents(first)
    with zipfile.ZipFile(first.wheel) as wheel:
        names = set(wheel.namelist())
    for name in (
        "language/de.po", "picture/fonts/DejaVuSans-LICENSE.txt", "py.typed",
        "report/templates/sheet.typ", "schemas/measurement-1.schema.json",
        "store/migrations/versions/v0001_first.py", "web/templates/base.html",
        "wheel/catalogue.toml",
    ):  # fmt: skip
        assert f"crankwise/{name}" in names
    assert not any(name.startswith(("tests/", "docs/")) for name in names)


def test_a_release_that_lacks_a_file_is_refused(scripts, tmp_path):
    release = scripts["release"]
    whole = release.build(tmp_path)
    poor = whole.wheel.with_name(f"poor-{whole.wheel.name}")
    with zipfile.ZipFile(whole.wheel) as wheel, zipfile.ZipFile(poor, "w") as less:
        for name in wheel.namelist():
            if not name.endswith(".po"):
                less.writestr(name, wheel.read(name))
    with pytest.raises(release.NotReadyError, match=r"missing in the wheel: crankwise/language/de"):
        release.check_contents(release.Built(whole.sdist, poor))
