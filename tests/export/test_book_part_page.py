"""A part's page: one where it fits, and of two the first has all that is done at the bench."""

from __future__ import annotations

from io import BytesIO
from typing import Any

import pypdfium2 as pdfium
import pytest
from PIL import Image
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Frame, PageTemplate
from reportlab.platypus.doctemplate import BaseDocTemplate

from fitkit.drawing.text_width import font_file
from fitkit.export.book_marks import BOLD, FONT, MM
from fitkit.export.book_part_page import part_page
from fitkit.export.book_scene import PlatesView
from fitkit.shop.blank_view import blank_view
from fitkit.shop.build_book import PartPage
from fitkit.shop.forming_step import FormingPlan, FormingStep, PlanCheck
from fitkit.template.make_templates import make_templates
from tests.template.parts import rectangle

# An A4 page within its margins.
WIDTH, HEIGHT = 180.0 * MM, 255.0 * MM
LINES = (
    "work outwards from the middle in rings, blows overlapping, up to 4.1 %",
    "then look at it",
)


def pages_of(steps: int, checks: int) -> list[str]:
    """Return the text of each page of a part with so many steps and checks."""
    for name, bold in ((FONT, False), (BOLD, True)):
        pdfmetrics.registerFont(TTFont(name, font_file(bold=bold)))
    flat = rectangle()
    (template,) = make_templates(flat, number=1, job_name="", wearer="")
    plan = FormingPlan(
        ("flat as cut",),
        tuple(FormingStep(f"Step {n} of all", LINES, "mallet, bag") for n in range(1, steps + 1)),
        tuple(
            PlanCheck(f"check {n} of all", "1 mm", "2 mm", "holds", "practice", "practice", "bend")
            for n in range(1, checks + 1)
        ),
        ("edges",),
    )
    part = PartPage(template, plan, blank_view(template), (), 1, 1.0, 0.1)
    picture = PlatesView("front", Image.new("L", (30, 40), 200), (), (), (), 1.0)
    buffer = BytesIO()
    document = BaseDocTemplate(buffer, pagesize=(WIDTH, HEIGHT))
    frame = Frame(0, 0, WIDTH, HEIGHT, 0, 0, 0, 0)
    document.addPageTemplates([PageTemplate(frames=[frame])])
    story: list[Any] = part_page(part, picture, WIDTH, HEIGHT)
    document.build(story)
    read = pdfium.PdfDocument(buffer.getvalue())
    texts = [" ".join(page.get_textpage().get_text_range().split()) for page in read]
    read.close()
    return texts


@pytest.mark.parametrize(("steps", "checks"), [(4, 5), (7, 6)])
def test_a_part_of_few_steps_is_one_page(steps: int, checks: int) -> None:
    (page,) = pages_of(steps, checks)
    assert f"Step {steps} of all" in page
    assert "Sources." in page


@pytest.mark.parametrize(("steps", "checks"), [(9, 12), (13, 17)])
def test_of_two_pages_the_first_has_every_step(steps: int, checks: int) -> None:
    bench, over = pages_of(steps, checks)
    assert all(f"Step {n} of all" in bench for n in range(1, steps + 1))
    assert "Mind:" in bench
    assert "check 1 of all" not in bench
    assert all(f"check {n} of all" in over for n in range(1, checks + 1))
    assert "Sources." in over


def test_steps_without_end_run_on() -> None:
    texts = pages_of(30, 10)
    assert len(texts) >= 2
    assert "Step 1 of all" in texts[0]
    assert "Step 30 of all" in " ".join(texts[1:])
