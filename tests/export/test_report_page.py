"""A report page stands on its own."""

from __future__ import annotations

from fitkit.export.report_page import Figure, page
from tests.export.report_reading import Report


def test_words_are_not_taken_for_markup() -> None:
    report = Report(page("<b> & 'co'", [("a < b", "<p>x</p>")]))
    assert report.title == "<b> & 'co'"
    assert "a < b" in report.text


def test_the_picture_comes_with_its_words() -> None:
    png = b"\x89PNG\r\n\x1a\nrest"
    report = Report(page("T", [("S", Figure(png, "an 'alt' <text>", "below").html())]))
    assert report.pictures == [("an 'alt' <text>", png)]
    assert "below" in report.text


def test_the_page_is_light_dark_and_for_paper() -> None:
    text = page("T", []).decode()
    assert "prefers-color-scheme: dark" in text
    assert "@media print" in text
    assert Report(text.encode()).outside == []
