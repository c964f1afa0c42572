"""Marker sheets, ready to print."""

from __future__ import annotations

from pathlib import Path

from fitkit.workflow.step_report import StepReport

__all__ = ["write_marker_sheets"]


def write_marker_sheets(out: Path | str, *, paper: str = "A4", count: int = 8) -> StepReport:
    """Write marker sheets as one PDF, one sheet to a page.

    Parameters
    ----------
    out
        The PDF to write.
    paper
        A4, A3 or Letter.
    count
        How many sheets, numbered from 1.

    Raises
    ------
    InputError
        When there are no sheets for that paper or not as many.
    FileError
        When the file cannot be written.
    """
    from fitkit.capture.marker_sheet import marker_sheet
    from fitkit.capture.marker_sheet_drawing import marker_sheet_drawing
    from fitkit.errors import FileError, InputError
    from fitkit.export.page_pdf import pdf_of_full_pages
    from fitkit.job.whole_writes import write_whole

    out = Path(out).expanduser()
    if count < 1:
        raise InputError(f"{count} marker sheets cannot be printed.", "Ask for at least one.")
    if not out.parent.is_dir():
        raise FileError(
            f"There is no folder '{out.parent}' to write into.", "Make it, or choose another."
        )
    sheets = [marker_sheet(paper, number) for number in range(1, count + 1)]
    drawings = [marker_sheet_drawing(sheet, of_count=count) for sheet in sheets]
    write_whole(out, pdf_of_full_pages(drawings, [sheet.paper for sheet in sheets]))
    across, up = sheets[0].check_mm
    return StepReport(
        "markers",
        ran=True,
        words=f"{count} marker sheets on {sheets[0].paper.name}; print at actual size, then "
        f"measure the check lengths: {across:g} mm across, {up:g} mm up",
        files=(out,),
        facts={"paper": sheets[0].paper.name, "count": count, "check_mm": [across, up]},
    )
