"""The commands that make reports, say who the workshop is, and write offers down."""

from __future__ import annotations

import csv
import hashlib
import json
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pypdf
import pytest
from typer.testing import CliRunner

from crankwise import document
from crankwise.cli.app import app
from crankwise.model.shop import Profile
from crankwise.picture import png
from crankwise.store import open_store

INPUTS = Path(__file__).parent / "snapshots" / "inputs"
COMPARED, MEASURED = INPUTS / "van-compared.json", INPUTS / "van.json"


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """Type commands at a workshop that keeps nothing yet."""
    monkeypatch.setenv("CRANKWISE_STORE", str(tmp_path / "store"))
    monkeypatch.chdir(tmp_path)

    def type_(*words, code=0):
        result = CliRunner().invoke(app, [*map(str, words)], env={"COLUMNS": "80"})
        assert result.exit_code == code, result.output
        return result

    return type_


def test_a_saved_comparison_is_reported_without_a_store(desk, tmp_path):
    desk("report", COMPARED, "-o", "owner.pdf", "--engine", "tarn-t20")
    desk("report", COMPARED, "-o", "record.pdf", "--for", "technician", "--measurement", MEASURED)
    assert pypdf.PdfReader("owner.pdf").metadata.title == (
        "The valve timing of your engine: van.csv"
    )
    attached = pypdf.PdfReader("record.pdf").attachments
    assert set(attached) == {"measurement.json", "comparison.json"}
    assert not (tmp_path / "store").exists()


def test_the_numbers_alone_are_those_of_the_comparison(desk):
    van = document.load_comparison(COMPARED)
    desk("report", COMPARED, "-o", "numbers.csv", "--measurement", MEASURED)
    desk("report", COMPARED, "-o", "numbers.json")
    rows = list(csv.DictReader(Path("numbers.csv").read_text("utf-8").splitlines()))
    for cam in van.cams:
        row = next(r for r in rows if r["what"] == cam.role and r["quantity"] == "shift")
        assert float(row["value"]) == cam.shift_deg
        assert float(row["uncertainty"]) == cam.uncertainty_deg
    edges = [float(row["value"]) for row in rows if row["quantity"] == "edge angle"]
    assert edges == [e.angle_deg for cam in document.load(MEASURED).cams for e in cam.edges]
    values = json.loads(Path("numbers.json").read_text("utf-8"))
    assert values["format"] == "crankwise.report/1"
    again = document.loads_comparison(json.dumps(values["comparison"]), name="numbers.json")
    assert again == van


def test_a_job_without_a_comparison_has_nothing_to_report_but_a_sheet(desk):
    desk("job", "new", "van-3", "--family", "Tarn T20")
    desk(
        "job",
        "visit",
        "add",
        "van-3",
        "--date",
        "2026-01-13",
        "--mileage",
        58_900,
        "--unit",
        "miles",
    )
    said = desk("report", "van-3", "-o", "owner.pdf", code=2).stderr
    assert "nothing was compared at the visit of 2026-01-13" in said
    assert not Path("owner.pdf").exists()
    desk("report", "van-3", "-o", "sheet.pdf", "--page", "hook-up")
    text = pypdf.PdfReader("sheet.pdf").pages[0].extract_text()
    assert "58,900" in text
    assert all(role in text for role in ("crank", "exhaust", "intake"))


def test_sheets_to_fill_in_need_no_job(desk):
    for page in ("hook-up", "checklist"):
        desk("report", "--page", page, "-o", f"{page}.pdf", "--paper", "Letter")
        first = pypdf.PdfReader(f"{page}.pdf").pages[0]
        assert "Vehicle" in first.extract_text()
        assert round(first.mediabox.height) == 792


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("report", "x"), "say where the report goes"),
        (("report", "x", "-o", "x.docx"), "end the name of a report in .pdf, .html, .csv, .json"),
        (("report", "-o", "x.pdf"), "name the job or the comparison"),
        (("report", "van-9", "-o", "x.pdf"), "there is no job for 'van-9'"),
        (("report", "van-9", "-o", "x.pdf", "--engine", "tarn-t20"), "go with a saved comparison"),
        (("report", COMPARED, "-o", "x.pdf", "--visit", "1"), "--visit goes with a job"),
        (("report", COMPARED, "-o", "x.pdf", "--page", "before-after"), "no before and after"),
        (("report", COMPARED, "-o", "nowhere/x.pdf"), "can't be written"),
        (("shop", "set"), "say what is to be set"),
        (("shop", "set", "--tax", "much"), "no rate of tax"),
        (("shop", "set", "--tax", "101"), "no rate of tax"),
        (("shop", "set", "--currency", "pounds"), "no currency"),
        (("shop", "set", "--number-format", "xx-YY"), "no number format"),
        (("shop", "set", "--language", "xx"), "there is no language 'xx'"),
        (("shop", "logo"), "name the picture of the logo"),
        (("shop", "logo", COMPARED), "a logo is a .png, .jpg or .svg picture"),
        (("shop", "logo", "missing.png"), "can't be read"),
    ],
)
def test_what_makes_no_sense_gets_one_line(words, said, desk):
    result = desk(*words, code=2)
    assert said in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1
    assert not list(Path.cwd().glob("x.*"))


def test_a_measurement_is_no_comparison(desk):
    said = desk("report", MEASURED, "-o", "x.pdf", code=3).stderr
    assert "give the comparison instead" in said


def test_without_the_packages_that_print_it_says_how_to_get_them(desk, monkeypatch):
    monkeypatch.setattr("crankwise.report.find_spec", lambda _: None)
    said = desk("report", COMPARED, "-o", "x.pdf", code=3).stderr
    assert said.strip() == (
        "crankwise: Reports need the packages babel and jinja2 and typst: install them with pip "
        "install 'crankwise[report]'"
    )


def test_what_the_workshop_says_of_itself_is_kept_and_shown(desk):
    desk(
        "shop", "set", "--name", "Bramblegate Workshop", "--contact", "4 Bramblegate Yard",
        "--contact", "01632 960 123", "--currency", "gbp", "--mileage-unit", "miles",
        "--number-format", "en-GB", "--tax", "20", "--tax-name", "VAT", "--paper", "Letter",
    )  # fmt: skip
    desk("shop", "set", "--tax", "none")
    shown = desk("shop", "show").output
    for part in ("Bramblegate Workshop", "4 Bramblegate Yard, 01632 960 123", "GBP", "Letter"):
        assert part in shown
    values = json.loads(desk("shop", "show", "--json").stdout)
    assert values["profile"]["tax_percent"] is None
    assert values["profile"]["contact"] == "4 Bramblegate Yard\n01632 960 123"
    assert values["logo"] is None


def test_a_logo_is_kept_if_it_is_what_its_name_says(desk, tmp_path):
    svg = '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>'
    (tmp_path / "logo.svg").write_text(svg, "utf-8")
    (tmp_path / "logo.png").write_bytes(png(svg))
    (tmp_path / "false.png").write_text(svg, "utf-8")
    assert "is no PNG picture" in desk("shop", "logo", "false.png", code=2).stderr
    for name, media_type in (("logo.svg", "image/svg+xml"), ("logo.png", "image/png")):
        desk("shop", "logo", name)
        with open_store() as store:
            assert store.shop.logo().media_type == media_type
    desk("shop", "logo", "--none")
    with open_store() as store:
        assert store.shop.logo() is None


def test_offers_are_written_down_with_the_workshops_tax(desk):
    desk("job", "new", "van-3")
    desk("job", "visit", "add", "van-3", "--mileage", 58_900, "--unit", "miles")
    with open_store() as store:
        store.shop.keep_profile(Profile(tax_percent=Decimal(20)))
    said = desk("job", "offer", "van-3", "now", "chain kit", "640", "720.50", "gbp").output
    assert "offer: now: chain kit, 640.00 to 720.50 GBP and 20% tax" in said
    said = desk(
        "job", "offer", "van-3", "watch", "again", "45", "GBP", "--tax", "none",
        "--recheck-at", "70000",
    ).output  # fmt: skip
    assert "offer: watch: again, 45.00 GBP; again at 70,000" in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("now", "kit", "720", "640", "GBP"), "no range of prices"),
        (("now", "kit", "640", "720", "GBP", "EUR"), "write the price as LOW CURRENCY"),
        (("now", "kit", "cheap", "GBP"), "'cheap' is no amount"),
        (("now", "kit", "NaN", "GBP"), "'NaN' is no amount"),
        (("now", "kit", "640", "GBP", "--recheck-at", "1"), "--recheck-at goes with watch"),
        (("now", " ", "640", "GBP"), "the offer is empty"),
        (("soon", "kit", "640", "GBP"), "'soon'"),
    ],
)
def test_an_offer_that_makes_no_sense_is_refused(words, said, desk):
    desk("job", "new", "van-3")
    desk("job", "visit", "add", "van-3", "--mileage", 1, "--unit", "km")
    assert said in desk("job", "offer", "van-3", *words, code=2).stderr


def test_a_report_never_replaces_a_recording(desk, tmp_path):
    van = document.load_comparison(COMPARED)
    content = b"recorded"
    digest = hashlib.sha256(content).hexdigest()
    document.save(replace(van, subject=replace(van.subject, sha256=digest)), "compared.json")
    (tmp_path / "van.csv").write_bytes(content)
    said = desk("report", "compared.json", "-o", "van.csv", code=2).stderr
    assert "is a recording itself" in said
    assert (tmp_path / "van.csv").read_bytes() == content
