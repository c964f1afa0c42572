"""The scan report, read back with an HTML parser."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache

import numpy as np
from PIL import Image

from fitkit.capture.check_length import CheckedLength, CheckLength
from fitkit.capture.coverage import cover_surface
from fitkit.capture.fineness import expected_error
from fitkit.capture.photo import Photo
from fitkit.capture.photo_advice import plan_photos
from fitkit.export.scan_report import html_of_scan
from fitkit.findings import Finding, Severity
from tests.export.report_reading import Report
from tests.export.test_camera_plan_picture import scan_of
from tests.truth.camera_walk import camera_walk, phone_lens

BLURRED = Finding(
    "photo-blurred", Severity.WARNING, "shaken <1>.jpg", "shaken <1>.jpg is blurred.", "Retake it."
)


STOP = Finding("check-differs", Severity.STOP, "scale", "The tape and the scan differ.", "Lay it.")


@cache
def report(
    *more: Finding, blurred: bool = True, printed_mm: tuple[float, float] | None = None
) -> bytes:
    cameras = camera_walk(lens=phone_lens(120, 160), rings=(0,))
    scan = scan_of(cameras)
    checked = CheckedLength(CheckLength("1", "5", 1840.0), 1842.0, 5e-4, True)
    scan = replace(scan, solved=replace(scan.solved, checks=(checked,)))
    rng = np.random.default_rng(3)
    photos = [
        Photo(name, rng.integers(0, 255, (160, 120), dtype=np.uint8), 117.0, True, "one")
        for name in [*(camera.photo for camera in cameras), BLURRED.where]
    ]
    coverage = cover_surface(scan.surface, cameras, scan.volume)
    plan = plan_photos(coverage, scan.surface, cameras)
    return html_of_scan(
        photos,
        scan,
        coverage=coverage,
        plan=plan,
        expected=expected_error(scan.solved),
        given=[*(photo.name for photo in photos), "broken.jpg"],
        findings=[BLURRED, *more] if blurred else more,
        printed_mm=printed_mm,
        name="a guard",
    )


def test_the_page_needs_nothing_but_itself() -> None:
    page = Report(report())
    assert page.outside == []
    assert page.title == "Scan report: a guard"


def test_every_picture_opens_and_has_words_for_those_who_do_not_see_it() -> None:
    page = Report(report())
    assert len(page.pictures) == 3 + 12
    for words, png in page.pictures:
        assert len(words) > 15
        Image.open(io.BytesIO(png)).load()
    assert len({words for words, _ in page.pictures}) == len(page.pictures)


def test_all_that_was_asked_for_is_in_it() -> None:
    page = Report(report())
    for head in ("photograph again", "noticed", "taken from", "see each place", "Scale", "photos"):
        assert any(head in heading for heading in page.headings), head
    assert "11 of 13" in page.text
    assert "shaken <1>.jpg is blurred." in page.text
    assert "broken.jpg" in page.text
    assert "sheets 1" in page.text
    assert "1840.0 mm laid, 1842.0 mm in the scan, +0.11 %: agrees" in page.text
    assert "not measured" in page.text


def test_a_ball_seen_by_one_level_ring_wants_photos_from_above_and_below() -> None:
    text = Report(report()).text
    assert "from high above" in text
    assert "low, looking up" in text


def test_measured_check_lines_are_told() -> None:
    text = Report(report(printed_mm=(179.3, 199.1))).text
    assert "measured 179.3 mm across and 199.1 mm up" in text


def test_the_verdict_goes_by_the_worst_finding() -> None:
    assert "Read what is marked" in Report(report()).text
    assert "Do not build from this scan yet" in Report(report(STOP)).text
    assert "Nothing stands against" in Report(report(blurred=False)).text


def test_a_stop_comes_before_a_warning_and_scale_matters_stand_by_the_scale() -> None:
    text = Report(report(STOP)).text
    assert text.index(STOP.message) < text.index(BLURRED.message)
    assert text.count(STOP.message) == 2


def test_the_same_scan_gives_the_same_page() -> None:
    first = report()
    report.cache_clear()
    assert report() == first
