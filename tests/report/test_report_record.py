"""The technician's record holds what it takes to repeat the work; every number is the source's."""

from __future__ import annotations

import io
from dataclasses import replace

import pypdf
import pytest

from crankwise import __version__, document
from crankwise.errors import UsageError
from crankwise.picture.words import angle_words, shift_words
from crankwise.report import Wish, made, of_visit, visit_report
from crankwise.report.making import composed


@pytest.fixture(scope="module")
def record(mended):
    visit = mended.file.visits[-1]
    return visit_report(mended.store, mended.file, visit, Wish(reader="technician"))


@pytest.fixture(scope="module")
def text(record, text_of):
    return text_of(record)


@pytest.fixture(scope="module")
def dossier(mended):
    return of_visit(mended.store, mended.file, mended.file.visits[-1])


def test_every_shift_edge_and_separation_is_the_comparisons(dossier, text):
    for cam in dossier.comparison.cams:
        assert shift_words(cam.shift_deg, cam.uncertainty_deg) in text
        for edge in cam.edges:
            assert shift_words(edge.shift_deg, edge.uncertainty_deg) in text
            assert f"{edge.residual_deg:+.2f}°" in text or abs(edge.residual_deg) < 0.005
    for change in dossier.comparison.separations:
        assert shift_words(change.change_deg, change.uncertainty_deg) in text


def test_every_edge_as_measured_has_its_budget(dossier, text):
    for cam in dossier.measurement.cams:
        for edge in cam.edges:
            assert angle_words(edge.angle_deg, edge.uncertainty_deg) in text
            for line in edge.budget:
                assert f"{line.standard_deg:.4f}°" in text


def test_recordings_go_with_their_digests(mended, dossier, text):
    for item in mended.file.visits[-1].recordings:
        assert item.recording.name in text
        assert item.recording.sha256 in text
    for side in dossier.comparison.known_goods:
        assert side.sha256 in text
    for known_good in dossier.known_goods:
        assert known_good.id in text


def test_hook_up_checks_codes_and_policy_are_told(dossier, text):
    for part in ("controller, 64 pins", "both solenoids", "codes cleared",
                 "P0016", "rattles at idle", "spread.cam_deg", f"Crankwise {__version__}",
                 "middle of the correlation limits"):  # fmt: skip
        assert part in text
    for key in dossier.shop.policy.sources:
        assert key in text


def test_likely_causes_are_told_in_full_and_the_rest_by_name(dossier, text):
    for cause in dossier.comparison.causes:
        assert cause.name in text
        assert (cause.because in text) == (cause.probability >= 0.01)


def test_what_is_attached_comes_out_byte_for_byte(dossier, record):
    attached = pypdf.PdfReader(io.BytesIO(record)).attachments
    wanted = {
        "measurement.json": dossier.measurement,
        "comparison.json": dossier.comparison,
        "measurement-after.json": dossier.after_measurement,
        "comparison-after.json": dossier.after,
    }
    assert {name: data[0] for name, data in attached.items()} == {
        name: document.dumps(result).encode() for name, result in wanted.items()
    }
    again = document.loads(attached["measurement.json"][0].decode(), name="attached")
    assert again == dossier.measurement


def test_the_owners_report_has_nothing_attached(mended):
    data = visit_report(mended.store, mended.file, mended.file.visits[-1], Wish())
    assert not pypdf.PdfReader(io.BytesIO(data)).attachments


def test_before_and_after_are_the_two_comparisons(dossier, text_of):
    text = text_of(made(dossier, Wish(page="before-after", reader="technician")))
    for comparison in (dossier.comparison, dossier.after):
        for cam in comparison.cams:
            assert shift_words(cam.shift_deg, cam.uncertainty_deg) in text
        for change in comparison.separations:
            assert shift_words(change.change_deg, change.uncertainty_deg) in text
    assert "The repair is right" in text


def test_before_and_after_are_never_of_two_references(dossier, text_of):
    """The chain is new, so the known-good from before may be another one."""
    other = tuple(replace(side, sha256="1" * 64) for side in dossier.comparison.known_goods)
    cams = tuple(replace(cam, shift_deg=9.99) for cam in dossier.comparison.cams)
    separations = tuple(replace(s, change_deg=8.88) for s in dossier.comparison.separations)
    elsewhere = replace(dossier.comparison, known_goods=other, cams=cams, separations=separations)
    text = text_of(made(replace(dossier, comparison=elsewhere), Wish(page="before-after")))
    for cam in dossier.after.repair.before:
        assert shift_words(cam.shift_deg, cam.uncertainty_deg) in text
    assert "9.99" not in text
    assert "8.88" not in text
    assert "not told" in text


def test_an_earlier_visit_is_reported_as_it_was_known_then(mended):
    """What came later must not change what an owner was told."""
    early = of_visit(mended.store, mended.file, mended.file.visits[1])
    assert early.visit.date == "2024-08-20"
    for series in early.history.series:
        assert [visit.mileage for visit in series.visits] == [52_800, 68_100]
        assert series.restarts == ()
    last = of_visit(mended.store, mended.file, mended.file.visits[-1])
    for series in last.history.series:
        assert [v.mileage for v in series.visits] == [52_800, 68_100, 83_600, 98_400]


def test_a_bare_comparison_says_what_it_lacks(van, dossier_of, words_of):
    bare = dossier_of(replace(van, crank=None), measurement=None, engine=None)
    words = " ".join(words_of(composed(bare, Wish(reader="technician"))))
    assert "saved without the teeth of the crank" in words
    assert "Edges of the intake cam against the known-good" in words
    assert "Crank wheel, as decoded" not in words


def test_the_measurement_must_be_that_of_the_comparison(van, measured, dossier_of):
    other = replace(measured, recording=replace(measured.recording, sha256="0" * 64))
    with pytest.raises(UsageError, match="give the measurement of that very recording"):
        dossier_of(van, measurement=other)
