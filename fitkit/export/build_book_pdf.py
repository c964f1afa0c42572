"""The build book as PDF: frame, head and foot of its pages, contents, outline."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from io import BytesIO
from typing import Any

from reportlab import rl_config
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    NextPageTemplate,
    PageBreak,
    PageTemplate,
)

from fitkit.drawing.paper import Paper
from fitkit.drawing.text_width import font_file
from fitkit.export.book_marks import BOLD, FONT, MM
from fitkit.export.book_pages import ACROSS, UPRIGHT, book_sections, contents, cover
from fitkit.export.book_scene import BookScene, PlatesView, exploded, view_towards
from fitkit.geometry.mesh import TriangleMesh
from fitkit.shop.build_book import BuildBook

__all__ = ["pdf_of_book"]

_MARGIN_MM, _HEAD_MM, _FOOT_MM = 14.0, 9.0, 8.0
# Pages across are drawn to their own margin; head and foot stand in it.
_ACROSS_MARGIN_MM = 7.0
# Pixels of a picture's height, one for all so that each side is lit once; at 90 to 150 mm on paper
# 150 to 250 to the inch, which is enough for shading: lines and words are not in it.
_VIEW_PX = 900
# The form that tells how many pages there are, and the room it takes.
_TOTAL, _TOTAL_PT = "pages-in-all", 24.0
_ALL_ROUND = ("front", "left", "back", "right")
_APART = ("front left", "back right")


def pdf_of_book(
    book: BuildBook,
    body: TriangleMesh,
    *,
    paper: Paper,
    progress: Callable[[float, str], None] | None = None,
) -> bytes:
    """Return the book as a PDF; the same book gives the same bytes.

    Shading is grey and everything else lines, so that it reads in black and white.
    """

    def told(fraction: float, words: str) -> None:
        if progress is not None:
            progress(fraction, words)

    told(0.0, "lighting the plates")
    scene = BookScene(book.plates, body)
    sides = [scene.seen(name, height_px=_VIEW_PX) for name in _ALL_ROUND]
    told(0.2, "drawing the plates apart")
    moved = exploded(book.plates)
    apart = [moved.seen(name, height_px=_VIEW_PX) for name in _APART]
    by_number = {plate.number: plate for plate in book.plates}
    in_place: dict[int, PlatesView] = {}
    for index, part in enumerate(book.parts):
        told(0.3 + 0.4 * index / len(book.parts), f"showing '{part.template.title}' in place")
        plate = by_number[part.shown_on]
        in_place[part.template.number] = scene.seen(
            view_towards(plate), height_px=_VIEW_PX, only=plate.number
        )
    front = scene.seen("front", height_px=_VIEW_PX)
    told(0.75, "setting the pages")
    for name, bold in ((FONT, False), (BOLD, True)):
        pdfmetrics.registerFont(TTFont(name, font_file(bold=bold)))
    pdfmetrics.registerFontFamily(FONT, normal=FONT, bold=BOLD, italic=FONT, boldItalic=BOLD)
    setting = _Setting(book.job, paper)
    sections = book_sections(
        book,
        sides,
        apart,
        in_place,
        width=setting.width,
        height=setting.height,
        across=setting.across,
    )

    flow = [
        *cover(book, front, setting.width, setting.height),
        PageBreak(),
        *contents([section.title for section in sections], _PageNumber, setting.width),
    ]
    for section in sections:
        flow += [NextPageTemplate(section.lying), PageBreak(), _Begin(section.title)]
        flow += section.flowables
    return setting.set(flow)


class _Setting:
    """How pages are set: paper, frame, head and foot."""

    def __init__(self, job: str, paper: Paper) -> None:
        self._job = job
        self._size = paper.width_mm * MM, paper.height_mm * MM
        self.across = paper.across().width_mm * MM, paper.across().height_mm * MM
        self.width = (paper.width_mm - 2 * _MARGIN_MM) * MM
        self.height = (paper.height_mm - 2 * _MARGIN_MM - _HEAD_MM - _FOOT_MM) * MM

    def set(self, flow: Sequence[Any]) -> bytes:
        """Return the PDF."""
        buffer = BytesIO()
        document = _Document(
            buffer,
            pagesize=self._size,
            leftMargin=_MARGIN_MM * MM,
            rightMargin=_MARGIN_MM * MM,
            title=f"{self._job}: build book",
            creator="fitkit",
            invariant=1,
            initialFontName=FONT,
        )
        bare = dict.fromkeys(("leftPadding", "rightPadding", "topPadding", "bottomPadding"), 0)
        corner = _MARGIN_MM * MM, (_MARGIN_MM + _FOOT_MM) * MM
        upright = Frame(*corner, self.width, self.height, **bare)
        across = Frame(0, 0, *self.across, **bare)
        document.addPageTemplates(
            [
                PageTemplate(UPRIGHT, [upright], onPageEnd=self._furniture, pagesize=self._size),
                PageTemplate(ACROSS, [across], onPageEnd=self._furniture, pagesize=self.across),
            ]
        )
        # Plain bytes in place of a text encoding: quicker to make and a fifth smaller.
        as_text, rl_config.useA85 = rl_config.useA85, 0
        try:
            document.build([*flow, _Numbers()])
        finally:
            rl_config.useA85 = as_text
        return buffer.getvalue()

    def _furniture(self, canvas: Any, document: Any) -> None:
        if canvas.getPageNumber() == 1:
            return
        canvas.saveState()
        is_across = document.pageTemplate.id == ACROSS
        wide, tall = self.across if is_across else self._size
        left, right = _MARGIN_MM * MM, wide - _MARGIN_MM * MM
        foot = (_ACROSS_MARGIN_MM if is_across else _MARGIN_MM) * MM
        top = tall - foot
        canvas.setFont(FONT, 7.2)
        canvas.drawString(left, top + 2, self._job)
        canvas.drawRightString(right, top + 2, document.running)
        canvas.setLineWidth(0.5)
        canvas.line(left, top - 2, right, top - 2)
        canvas.drawRightString(right - _TOTAL_PT, foot, f"page {canvas.getPageNumber()}")
        canvas.translate(right - _TOTAL_PT, foot)
        canvas.doForm(_TOTAL)
        canvas.translate(_TOTAL_PT - right, -foot)
        canvas.drawString(
            left,
            foot,
            "Local codes, data sheets and licensed practice come first. Left and right: wearer's.",
        )
        canvas.restoreState()


class _Begin(Flowable):  # type: ignore[misc]  # reportlab is untyped
    """Notes where a section begins: for the contents, the head of its pages and the outline."""

    def __init__(self, title: str) -> None:
        super().__init__()
        self.title = title

    def wrap(self, *_: float) -> tuple[float, float]:
        return 0.0, 0.0

    def draw(self) -> None:
        """Bookmark the place."""
        self.canv.bookmarkPage(self.title)
        self.canv.addOutlineEntry(self.title, self.title, level=0)


class _PageNumber(Flowable):  # type: ignore[misc]  # reportlab is untyped
    """The page a section begins on, as a form that is drawn once that is known."""

    def __init__(self, title: str) -> None:
        super().__init__()
        self.title = title

    def wrap(self, *_: float) -> tuple[float, float]:
        return 30.0, 12.0

    def draw(self) -> None:
        """Show the form."""
        self.canv.translate(0.0, 2.5)
        self.canv.doForm(_form_of(self.title))
        self.canv.linkRect("", self.title, (-400.0, -3.0, 30.0, 11.0), relative=1)


class _Numbers(Flowable):  # type: ignore[misc]  # reportlab is untyped
    """At the book's very end: draws the forms that wait for page numbers."""

    def wrap(self, *_: float) -> tuple[float, float]:
        return 0.0, 0.0

    def draw(self) -> None:
        """Draw one form for each section's page, and one for how many pages there are."""
        document = self.canv._doctemplate
        told = {_form_of(title): (f"{page}", 9.8) for title, page in document.begins.items()}
        told[_TOTAL] = f" of {document.page}", 7.2
        for form, (words, size) in told.items():
            self.canv.beginForm(form, 0.0, -4.0, 60.0, 14.0)
            self.canv.setFont(FONT, size)
            self.canv.drawString(0.0, 0.0, words)
            self.canv.endForm()


def _form_of(title: str) -> str:
    """Return the name of the form that tells a section's page; a PDF name holds no blanks."""
    return f"page-of-{title.encode().hex()}"


class _Document(BaseDocTemplate):  # type: ignore[misc]  # reportlab is untyped
    """A document that remembers on which page each section begins."""

    def __init__(self, buffer: BytesIO, **settings: Any) -> None:
        super().__init__(buffer, **settings)
        self.begins: dict[str, int] = {}
        self.running = "Contents"

    def afterFlowable(self, flowable: Any) -> None:  # noqa: N802  reportlab's name
        """Note a section's first page."""
        if isinstance(flowable, _Begin):
            self.begins[flowable.title] = self.page
            self.running = flowable.title
