"""The PDF: the same every time, accessible, archivable, whole, and no text in it is markup."""

from __future__ import annotations

import io
import os
import re
import shutil
import subprocess
from dataclasses import replace
from datetime import date
from importlib import resources

import pymupdf
import pypdf
import pytest

from crankwise.model.job import Advice, Note, Offer, VehicleDetails
from crankwise.model.shop import Logo, Profile
from crankwise.picture import png
from crankwise.picture.verdicts import SIGNS
from crankwise.report import Shop, Wish, made, of_visit, visit_report
from crankwise.report.dossier import Dossier
from crankwise.report.making import composed
from crankwise.report.typeset import NOT_SHIPPED, pdf

MOST_BYTES = 500_000  # issue 6
PAGES = [
    Wish(reader=reader, page=page)
    for reader in ("owner", "technician")
    for page in ("report", "before-after", "hook-up", "checklist")
]
NASTY = (
    '#panic("no") *bold* _it_ $x^2$ @ref <label> `raw` \\ // c', "</p><script>alert(1)</script>",
    "=SUM(A1)", "{{ 7 * 7 }} {% raw %} {page}", '#image("/etc/passwd")', "a\x00b\u202ec",
)  # fmt: skip


def read(data):
    return pypdf.PdfReader(io.BytesIO(data))


@pytest.fixture(scope="module")
def dossier(mended):
    return of_visit(mended.store, mended.file, mended.file.visits[-1])


@pytest.mark.parametrize("wish", PAGES, ids=lambda wish: f"{wish.reader}-{wish.page}")
def test_every_page_passes_the_checks_there_are(wish, dossier, tmp_path):
    """Structure by qpdf; size, title, language, tags and what the file says it keeps to."""
    data = made(dossier, wish)
    check_with_qpdf(data, tmp_path)
    assert len(data) <= MOST_BYTES
    reader = read(data)
    root = reader.trailer["/Root"]
    assert reader.metadata.title.endswith("van-6 · Tarn T20")
    assert reader.metadata.author == "Bramblegate Workshop"
    assert reader.metadata.creation_date.date() == date(2026, 2, 17)
    assert root["/Lang"] == "en"
    assert root["/MarkInfo"]["/Marked"]
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]  # ISO 14289-1, 7.1
    told = root["/Metadata"].get_data().decode()
    # Identification schemas of ISO 19005-3, 6.6.4, and ISO 14289-1, 5.
    for part in ("<pdfaid:part>3<", "<pdfaid:conformance>A<", "<pdfuaid:part>1<"):
        assert part in told


def check_with_qpdf(data, folder):
    if shutil.which("qpdf") is None:
        assert not os.environ.get("CI"), "qpdf is missing, and here it must not be"
        pytest.skip("qpdf is not installed")
    path = folder / "report.pdf"
    path.write_bytes(data)
    done = subprocess.run(
        ["qpdf", "--check", str(path)],  # noqa: S607  wherever it is
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("wish", PAGES, ids=lambda wish: f"{wish.reader}-{wish.page}")
def test_the_same_visit_gives_the_same_bytes(wish, mended):
    def again():
        file = mended.file
        return visit_report(mended.store, file, file.visits[-1], wish)

    assert again() == again()


def test_every_picture_has_words_and_is_a_figure(dossier):
    reader = read(made(dossier, Wish(reader="technician")))
    found = [
        e for e in elements(reader.trailer["/Root"]["/StructTreeRoot"]) if e.get("/S") == "/Figure"
    ]
    assert len(found) >= 4
    assert all(str(element["/Alt"]).strip() for element in found)


def elements(node):
    """Every element of a structure tree."""
    node = node.get_object()
    if isinstance(node, list):
        for kid in node:
            yield from elements(kid)
    elif isinstance(node, dict):
        yield node
        if "/K" in node:
            yield from elements(node["/K"])


def test_headings_and_tables_are_told_to_a_screen_reader(dossier):
    reader = read(made(dossier, Wish(reader="technician")))
    kinds = {e.get("/S") for e in elements(reader.trailer["/Root"]["/StructTreeRoot"])}
    assert {"/H1", "/H2", "/Table", "/TH", "/TD", "/L", "/Figure"} <= kinds


def test_only_the_fonts_of_the_package_are_used_and_embedded(dossier):
    for page in read(made(dossier, Wish(reader="technician"))).pages:
        for font in page["/Resources"]["/Font"].values():
            inner = font.get_object()["/DescendantFonts"][0].get_object()
            assert "DejaVuSans" in inner["/BaseFont"]
            descriptor = inner["/FontDescriptor"].get_object()
            assert "/FontFile2" in descriptor or "/FontFile3" in descriptor


@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_the_paper_is_the_one_asked_for(paper, points, dossier):
    # ISO 216 A4 is 210 × 297 mm, ANSI Letter 8.5 × 11 in.
    for page in read(made(dossier, Wish(paper=paper))).pages:
        assert (round(page.mediabox.width), round(page.mediabox.height)) == points


def rendered(data, *, dpi=60):
    return [
        page.get_pixmap(dpi=dpi, colorspace=pymupdf.csGRAY) for page in pymupdf.open("pdf", data)
    ]


def ink_at_the_edge(pixmap, *, margin_mm, dpi=60):
    """Darkest dot within a margin around the page."""
    edge = round(margin_mm / 25.4 * dpi)
    width, height = pixmap.width, pixmap.height
    rows = [pixmap.samples[y * width : (y + 1) * width] for y in range(height)]
    around = [*rows[:edge], *rows[-edge:], *(row[:edge] + row[-edge:] for row in rows)]
    return min(min(row) for row in around)


@pytest.fixture(scope="module")
def dossiers(van, at_level, four_cams, dossier_of):
    """Reports of every size and shape."""
    long_name = "recording-with-a-name-that-does-not-end-" * 6
    wordy = replace(
        van,
        subject=replace(van.subject, name=long_name),
        verdict=replace(van.verdict, summary=van.verdict.summary * 20),
    )
    profile = Profile(name="A workshop with a long name " * 10, contact="A long line " * 60)
    nobody = Shop.unknown()
    return {
        "short": dossier_of(van),
        "long": dossier_of(wordy, shop=replace(nobody, profile=profile)),
        "four-cams": dossier_of(four_cams),
        "no-shop": dossier_of(van, shop=nobody),
        "not-judged": dossier_of(at_level("not-judged")),
    }


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("kind", ["short", "long", "four-cams", "no-shop", "not-judged"])
@pytest.mark.parametrize("reader", ["owner", "technician"])
def test_nothing_runs_over_the_margin(reader, kind, paper, dossiers):
    for pixmap in rendered(made(dossiers[kind], Wish(reader=reader, paper=paper))):
        assert ink_at_the_edge(pixmap, margin_mm=6) > 250


def test_words_without_end_are_all_printed(dossier, with_facts, text_of):
    words = [f"word{number}" for number in range(3000)]
    wordy = with_facts(
        dossier, Advice(" ".join(words[:1000])), Note(" ".join(words[1000:2000])),
        Offer("now", " ".join(words[2000:]), 1, 2, "GBP"),
    )  # fmt: skip
    owner, record = (text_of(made(wordy, Wish(reader=r))) for r in ("owner", "technician"))
    for word in (*words[:1000], *words[2000:]):
        assert re.search(rf"(?i)\b{word}\b", owner), word
    for word in words:
        assert re.search(rf"(?i)\b{word}\b", record), word


def test_markup_in_names_is_only_text(dossier, with_facts, text_of):
    """Of the language that typesets, of HTML, of templates and of spreadsheets."""
    poisoned = with_facts(dossier, *map(Advice, NASTY), *map(Note, NASTY))
    vehicle = replace(
        dossier.vehicle, label=NASTY[0], details=VehicleDetails(plate=NASTY[1], customer=NASTY[2])
    )
    shop = replace(dossier.shop, profile=Profile(name=NASTY[0], contact="\n".join(NASTY)))
    poisoned = replace(poisoned, vehicle=vehicle, shop=shop)
    for wish in PAGES:
        text = text_of(made(poisoned, wish)).replace(" ", "")
        assert NASTY[0].replace(" ", "") in text
    text = text_of(made(poisoned, Wish())).replace(" ", "")
    for nasty in NASTY[:-1]:
        assert nasty.replace(" ", "") in text


def test_letters_the_fonts_lack_do_not_break_the_page(dossier, with_facts, text_of):
    """Whether this computer has them or not."""
    text = text_of(made(with_facts(dossier, Advice("Ask 山田 😀 or Łukasz Żółć, Γιώργος")), Wish()))
    assert "Łukasz Żółć, Γιώργος" in text
    assert NOT_SHIPPED.sub("", "山田 😀ẞ") == " ẞ"


def test_the_fonts_have_what_they_are_said_to_have():
    for package, name in (
        ("report", "DejaVuSansCondensed-subset.ttf"),
        ("report", "DejaVuSansCondensed-Bold-subset.ttf"),
    ):
        data = (resources.files(f"crankwise.{package}") / "fonts" / name).read_bytes()
        font = pymupdf.Font(fontbuffer=data)
        had = set(font.valid_codepoints())
        promised = {c for c in range(0x20, 0x3000) if not NOT_SHIPPED.match(chr(c))}
        assert promised - had - {0x2060, 0xAD} == set()


@pytest.mark.parametrize("media_type", ["image/png", "image/svg+xml"])
def test_a_logo_is_drawn_and_does_not_run(media_type, dossier):
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="40" height="20"><rect width="40" '
        'height="20" fill="#000"/><script>alert(1)</script></svg>'
    )
    logo = Logo(media_type, png(svg) if media_type == "image/png" else svg.encode())
    with_logo = replace(dossier, shop=replace(dossier.shop, logo=logo))
    plain, drawn = (rendered(made(d, Wish()))[0] for d in (dossier, with_logo))
    assert plain.samples != drawn.samples
    markup = made(with_logo, Wish(form="html")).decode()
    assert "<script>alert" not in markup
    assert f'<img class="logo" src="data:{media_type};base64,' in markup


def test_a_broken_logo_is_left_out(dossier):
    broken = replace(dossier, shop=replace(dossier.shop, logo=Logo("image/png", b"no picture")))
    assert read(made(broken, Wish())).pages


def test_without_a_day_no_date_is_made_up():
    blank = Dossier(Shop.unknown())
    reader = read(made(blank, Wish(page="hook-up")))
    assert "/Lang" in reader.trailer["/Root"]
    told = reader.trailer["/Root"]["/Metadata"].get_data().decode()
    assert "<pdfaid:part>" not in told
    assert "<pdfuaid:part>1<" in told


def test_verdicts_stay_apart_in_black_and_white(at_level, dossier_of):
    """By their shape: no two signs have the same grey dots."""
    seen = set()
    for level in SIGNS:
        document = composed(dossier_of(at_level(level)), Wish())
        sign = document.sheets[0].opening[0].sign
        seen.add(re.sub(r"#(?!ffffff)[0-9a-f]{6}|<title>.*?</title>", "dark", sign))
    assert len(seen) == len(SIGNS)


def test_a_day_far_back_and_one_ahead_are_dates_too(dossier):
    for day in ("1999-12-31", "2031-01-01"):
        file = replace(dossier.file, visit=replace(dossier.file.visit, date=day))
        document = composed(replace(dossier, file=file), Wish())
        assert read(pdf(document)).metadata.creation_date.date() == date.fromisoformat(day)
