"""One part's page in the build book."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from xml.sax.saxutils import escape

from reportlab.platypus import KeepTogether, PageBreak, Paragraph, Spacer, Table

from fitkit.export.book_marks import MM, BlankDrawing, GaugeDrawing, PlatesPicture
from fitkit.export.book_scene import PlatesView
from fitkit.export.book_style import (
    BODY,
    BOLD_BODY,
    BOX,
    HEAD,
    SMALL,
    SMALL_PT,
    TITLE,
    bare,
    framed,
    joined,
    ruled,
    text,
)
from fitkit.findings import Severity
from fitkit.shop.build_book import PartPage
from fitkit.shop.cautions import CAUTIONS
from fitkit.shop.forming_step import PlanCheck

__all__ = ["part_page"]

# Shares of a page that the drawings take at least, at most, where the words need two pages, and
# where even the steps do.
_LEAST, _MOST, _MOST_OF_TWO, _USUAL = 0.22, 0.45, 0.6, 0.36

_VERDICTS = {"holds": "holds", "over": "OVER", "unsure": "UNSURE"}


def part_page(part: PartPage, picture: PlatesView, width: float, height: float) -> list[Any]:
    """Return a part's page: where it sits, its blank and gauges, plan, checks, sources.

    The drawings take what room the words leave, so that most parts fill one page and no more. Of a
    part that needs two, one lies on the bench: the drawings, every step and, where they fit, the
    cautions stand on it; the checks and where the numbers come from are turned over to.
    """
    template = part.template
    facts = (
        f"{template.material} {template.thickness_mm:g} mm · blank {part.view.size_mm[0]:.0f} × "
        f"{part.view.size_mm[1]:.0f} mm · {1000 * part.mass_kg:.0f} g · {BOX} cut  {BOX} formed"
        f"  {BOX} fitted"
    )
    head = [
        text(f"{template.number}  {template.title}", TITLE),
        text(facts),
        text(" ".join(f"{one[0].upper()}{one[1:]}." for one in part.plan.shape)),
        Spacer(1, 3),
    ]
    steps = [*_legend(part), Spacer(1, 2), _steps(part, width)]
    words = [f"{CAUTIONS[key].title}: {CAUTIONS[key].short}." for key in part.plan.cautions]
    mind = [Spacer(1, 5), framed("Mind: " + " ".join(words), width)]
    below = [*_checked(part, width), Spacer(1, 4), _sources(part)]

    def beside(*told: list[Any]) -> float:
        return height - sum(_height(one, width, height) for some in told for one in some)

    left = beside(head, steps, mind, below)
    if left >= _LEAST * height:
        drawn = _drawings(part, picture, width, min(left, _MOST * height))
        return [*head, drawn, *steps, *mind, *below]
    for bench, over in (([*steps, *mind], below), (steps, [*mind, *below])):
        if (left := beside(head, bench)) >= _LEAST * height:
            drawn = _drawings(part, picture, width, min(left, _MOST_OF_TWO * height))
            return [*head, drawn, *bench, PageBreak(), *over]
    # What fills two pages anyway need not be squeezed.
    return [*head, _drawings(part, picture, width, _USUAL * height), *steps, *mind, *below]


def _height(flowable: Any, width: float, height: float) -> float:
    if isinstance(flowable, KeepTogether):
        return sum(_height(one, width, height) for one in flowable._content)
    around: float = flowable.getSpaceBefore() + flowable.getSpaceAfter()
    return around + float(flowable.wrap(width, height)[1])


def _drawings(part: PartPage, picture: PlatesView, width: float, tall: float) -> Any:
    left, gap = 0.31 * width, 6.0
    right = width - left - gap
    aside: list[Any] = [PlatesPicture(picture, left, (0.52 if part.gauges else 1.0) * tall)]
    if part.gauges:
        aside.append(GaugeDrawing(part.gauges, left, 0.48 * tall))
    blank = BlankDrawing(part.view, right, tall)
    return Table([[aside, blank]], colWidths=[left + gap, right], style=bare())


def _legend(part: PartPage) -> list[Any]:
    if not part.view.contours:
        return []
    worst = f" Ring: worst, {part.view.worst}." if part.view.worst else ""
    words = (
        "Contours in per cent of area. Unbroken, hatched: stretch it. Broken, dotted: gather "
        f"it.{worst}"
    )
    return [text(words, SMALL)]


def _steps(part: PartPage, width: float) -> Any:
    rows = []
    for number, step in enumerate(part.plan.steps, 1):
        words = [f"<b>{escape(step.title)}.</b>", *(escape(joined(line)) for line in step.lines)]
        told = " · ".join(words[1:])
        if step.tools:
            told += f' <font size="{SMALL_PT}">[{escape(step.tools)}]</font>'
        cell = Paragraph(f"{words[0]} {told}", BODY)
        rows.append([text(BOX), text(str(number), BOLD_BODY), cell])
    return Table(rows, colWidths=[6 * MM, 8 * MM, width - 14 * MM], style=ruled(header=False))


def _checked(part: PartPage, width: float) -> list[Any]:
    """Return the checks, what would do where one does not hold, and the findings that stand."""
    told: list[Any] = []
    if part.plan.checks:
        told.append(KeepTogether([Spacer(1, 5), _checks(part.plan.checks, width)]))
        remedies: dict[str, list[str]] = {}
        for one in part.plan.over:
            remedies.setdefault(one.remedy, []).append(one.what)
        told += [text(f"• {', '.join(what)}: {remedy}.") for remedy, what in remedies.items()]
    remarks = dict.fromkeys(
        f"{one.message} {one.remedy}".strip()
        for one in part.template.findings
        if one.severity is not Severity.NOTE
    )
    if remarks:
        told += [text("Findings that stand", HEAD), *(text(f"• {one}") for one in remarks)]
    return told


def _checks(checks: Sequence[PlanCheck], width: float) -> Any:
    rows = [(check.what, check.value, check.limit, _VERDICTS[check.verdict]) for check in checks]
    cells = [[text(word, BOLD_BODY) for word in ("check", "has", "limit", "")]]
    cells += [
        [*(text(word) for word in row[:3]),
         text(row[3], BODY if row[3] == "holds" else BOLD_BODY)]
        for row in rows
    ]  # fmt: skip
    rest = width / MM - 50 - 45 - 21
    return Table(
        cells,
        colWidths=[rest * MM, 50 * MM, 45 * MM, 21 * MM],
        repeatRows=1,
        style=ruled(),
    )


def _sources(part: PartPage) -> Any:
    """Return where the numbers come from, each source once."""
    by_source: dict[str, list[str]] = {}
    for number, step in enumerate(part.plan.steps, 1):
        if step.source:
            by_source.setdefault(step.source, []).append(str(number))
    told = [f"step {', '.join(numbers)}: {source}" for source, numbers in by_source.items()]
    limits: dict[str, list[str]] = {}
    for check in part.plan.checks:
        limits.setdefault(f"{check.source} ({check.confidence})", []).append(check.what)
    told += [f"{', '.join(what)}: {source}" for source, what in limits.items()]
    return text(f"Sources. {'. '.join(told)}.", SMALL)
