"""From templates to what goes to the printer and the cutter."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fitkit.workflow.run_step import Made, run_step
from fitkit.workflow.step_report import Progress, StepReport

if TYPE_CHECKING:
    from fitkit.drawing.page import PageSet
    from fitkit.job.job_folder import Job
    from fitkit.job.made_from import FileDigests
    from fitkit.template.template import Template

__all__ = ["print_job"]

_PREVIEW_PAGES = 4
_PART_COLUMNS = (
    "number", "part", "side", "material", "thickness_mm", "width_mm", "height_mm",
    "area_cm2", "mass_g", "least_stretch", "most_stretch", "revision",
)  # fmt: skip


def print_job(job: Job, *, digests: FileDigests, progress: Progress | None = None) -> StepReport:
    """Make the tiled pages, SVG, DXF and the part list, if stale. Hold the lock."""
    return run_step(
        job, "pages", lambda told: _pages(job, told), digests=digests, progress=progress
    )


def _pages(job: Job, progress: Progress | None) -> Made:
    from fitkit.drawing.paper import paper_named
    from fitkit.drawing.tiling import tile_drawings
    from fitkit.export.drawing_dxf import dxf_of_drawing
    from fitkit.export.drawing_picture import png_of_page
    from fitkit.export.drawing_svg import svg_of_drawing
    from fitkit.export.page_pdf import pdf_of_pages
    from fitkit.job.template_files import read_templates, template_stem

    def told(fraction: float, words: str) -> None:
        if progress is not None:
            progress(fraction, words)

    drawn = read_templates(job.result_folder("templates"))
    settings = job.settings.print
    told(0.0, "spreading the parts over pages")
    pages = tile_drawings(
        [template.drawing for template in drawn],
        paper=paper_named(settings.paper),
        margin_mm=settings.margin_mm,
        overlap_mm=settings.overlap_mm,
        title=job.settings.job.name,
        numbers=[template.number for template in drawn],
    )
    told(0.3, "writing the pages")
    files = {
        "templates.pdf": pdf_of_pages(pages, printed_mm=settings.printed_mm),
        "parts.csv": _part_list(drawn),
    }
    for index, template in enumerate(drawn):
        told(0.4 + 0.4 * index / len(drawn), f"writing {template.title}")
        stem = template_stem(template)
        files[f"{stem}.svg"] = svg_of_drawing(template.drawing)
        files[f"{stem}.dxf"] = dxf_of_drawing(template.drawing)
    count = len(pages.pages)
    first = _first_page_of_part(pages)
    for index in sorted({*range(min(count, _PREVIEW_PAGES)), first}):
        told(0.9, "drawing the pages")
        files[f"page-{index + 1:02d}.png"] = png_of_page(pages, index)
    files["overview.png"] = _overview(job, drawn[0], files[f"page-{first + 1:02d}.png"])
    return Made(files, (), f"{count} {settings.paper} pages, {len(drawn)} parts as SVG and DXF")


def _first_page_of_part(pages: PageSet, part: int = 0) -> int:
    """Return the index of the first page that shows a part: not the map, which comes first."""
    for index, page in enumerate(pages.pages):
        if any(window.part == part for window in page.windows):
            return index
    return 0


def _overview(job: Job, template: Template, page_png: bytes) -> bytes:
    """Return the whole line of work for the first part, from the photo to a page."""
    from fitkit.export.line_picture import png_of_line
    from fitkit.job.result_reading import read_result_bytes
    from fitkit.job.settings import file_stem
    from fitkit.job.template_files import template_stem

    body = job.result_folder("body")
    return png_of_line(
        read_result_bytes(job.result_folder("scan"), "front.png")
        if job.from_photos
        else read_result_bytes(body, "body.png"),
        read_result_bytes(job.result_folder("patches"), "front.png"),
        read_result_bytes(job.result_folder("blanks"), f"{file_stem(template.name)}-strain.png"),
        read_result_bytes(job.result_folder("templates"), f"{template_stem(template)}.png"),
        page_png,
    )


def _part_list(drawn: Sequence[Template]) -> bytes:
    import numpy as np

    from fitkit.materials.sheet_material import sheet_material_named
    from fitkit.spreadsheet import spreadsheet

    rows: list[list[object]] = []
    for template in drawn:
        x, y = template.outline_mm.T
        area_mm2 = 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))
        mass_kg_m2 = sheet_material_named(template.material).mass_kg_m2(template.thickness_mm)
        rows.append(
            [template.number, template.name, template.side.value, template.material]
            + [f"{template.thickness_mm:g}", f"{np.ptp(x):.1f}", f"{np.ptp(y):.1f}"]
            + [f"{area_mm2 / 100:.1f}", f"{area_mm2 * mass_kg_m2 / 1000:.0f}"]
            + [f"{value:.4f}" for value in template.stretch_range]
            + [template.revision]
        )
    return spreadsheet(_PART_COLUMNS, rows)
