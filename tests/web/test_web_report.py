"""Reports asked for by a page: the same file as on the command line, in the page's language."""

from __future__ import annotations

import io

import pytest

from crankwise.store import open_store

pypdf = pytest.importorskip("pypdf", reason="reading PDFs back needs pypdf")


@pytest.fixture
def visit_id(shop):
    """A visit with a comparison and without a repair."""
    with open_store(shop) as store:
        visits = [visit for file in store.jobs.list() for visit in file.visits]
    return next(visit.visit.id for visit in visits if visit.comparisons)


def words(data: bytes) -> str:
    return " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages)


def test_the_owner_gets_a_pdf_in_the_language_of_the_page(local, visit_id):
    answer = local.get(f"/visits/{visit_id}/report.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    assert 'filename="' in answer.headers["content-disposition"]
    assert "The valve timing of your engine" in words(answer.content)
    assert local.get(f"/visits/{visit_id}/report.pdf").content == answer.content


@pytest.mark.parametrize("page", ["hook-up", "checklist"])
def test_pages_for_the_bench_are_printed_alone(local, visit_id, page):
    answer = local.get(f"/visits/{visit_id}/report.pdf?page={page}")
    assert answer.content.startswith(b"%PDF-")


def test_a_page_report_runs_nothing(local, visit_id):
    answer = local.get(f"/visits/{visit_id}/report.html?reader=technician")
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")
    assert "<script" not in answer.text


def test_what_there_is_no_report_of_is_told_in_words(local, visit_id):
    assert local.get("/visits/999/report.pdf").status_code == 404
    assert local.get(f"/visits/{visit_id}/report.exe").status_code == 422
    assert local.get(f"/visits/{visit_id}/report.pdf?reader=nobody").status_code == 422
    answer = local.get(f"/visits/{visit_id}/report.pdf?page=before-after")
    assert answer.status_code == 400
    assert "repair" in answer.text
