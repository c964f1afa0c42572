"""The nest command: templates on the maker's sheets."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fitkit.cli.answer import answering, finish, print_findings, print_reports
from fitkit.cli.arguments import AsJson, JobFolder
from fitkit.cli.progress_lines import shown_progress

if TYPE_CHECKING:
    from fitkit.sheets.nesting import Nesting

__all__ = ["nest_command"]


def nest_command(
    job: JobFolder,
    seconds: Annotated[
        float | None,
        typer.Option(
            min=0.0,
            metavar="SECONDS",
            help="How long to look for a better layout; 20 if neither this nor [nest] says.",
        ),
    ] = None,
    improve: Annotated[
        bool, typer.Option("--improve", help="Look on from the layout there is.")
    ] = False,
    pin: Annotated[
        str | None, typer.Option(metavar="PART", help="Keep a part where it lies now.")
    ] = None,
    release: Annotated[
        str | None, typer.Option(metavar="PART", help="Let a pinned part go.")
    ] = None,
    offcuts_of: Annotated[
        Path | None,
        typer.Option(
            "--offcuts-of", metavar="OTHER", help="Put what another job left over into the stock."
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Lay every part on the stock: does it fit, on how many sheets.

    Stopped by hand, it keeps the best layout it had.
    """
    with answering("nest", as_json=as_json):
        from fitkit.workflow.edit_stock import add_offcuts
        from fitkit.workflow.nest_job import (
            nest_job,
            pin_part,
            read_layout,
            release_part,
            sums_of_layout,
        )

        if sum(one is not None for one in (pin, release, offcuts_of)) > 1:
            raise typer.BadParameter("Give --pin, --release or --offcuts-of, one at a time.")
        report = None
        if pin is not None:
            report = pin_part(job, pin)
        elif release is not None:
            report = release_part(job, release)
        elif offcuts_of is not None:
            report = add_offcuts(job, offcuts_of)
        if report is not None:
            told = f"{report.words}. Now run: fitkit nest {job}"
            finish("nest", report.as_dict(), (), as_json=as_json, show=lambda: print(told))
            return
        with shown_progress() as progress, _stopped_by_hand() as cancelled:
            reports = nest_job(
                job, seconds=seconds, improve=improve, progress=progress, cancelled=cancelled
            )
        layout = read_layout(job)
        sums = sums_of_layout(job)

        def show() -> None:
            print_reports(reports)
            _print_sheets(layout)
            print(sums)
            print_findings(reports[-1].findings)
            if cancelled():
                print("Stopped by hand: this is the best layout so far; --improve looks on.")
            print(f"Layouts, cut list and tags to stick on: {job / 'sheets'}")

        values = {
            "steps": [one.as_dict() for one in reports],
            "sheets": _as_values(layout),
            "sums": sums,
        }
        finish("nest", values, reports[-1].findings, as_json=as_json, show=show)


@contextmanager
def _stopped_by_hand() -> Iterator[Callable[[], bool]]:
    """Yield what tells whether the maker, or the system, asked to stop; twice stops at once.

    Until that is asked for the first time nobody would heed it, so the work stops at once too.
    """
    asked, heeded = False, False

    def ask(number: int, frame: Any) -> None:
        nonlocal asked
        del number, frame
        if asked or not heeded:
            raise KeyboardInterrupt
        asked = True

    def cancelled() -> bool:
        nonlocal heeded
        heeded = True
        return asked

    before = {number: signal.signal(number, ask) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield cancelled
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _print_sheets(layout: Nesting) -> None:
    for sheet in layout.sheets:
        length, width = sheet.stock.size_mm
        print(
            f"{sheet.title}: {len(sheet.placed)} part{'s' * (len(sheet.placed) != 1)} on "
            f"{length:.0f} × {width:.0f} mm, up to {sheet.used_length_mm:.0f} mm along it, "
            f"{100.0 * sheet.utilisation:.0f} % used"
        )
        for placed in sheet.placed:
            pinned = ", pinned" if placed.pinned else ""
            print(f"  {placed.part.number:3d}  {placed.part.title}{pinned}")


def _as_values(layout: Nesting) -> list[dict[str, Any]]:
    return [
        {
            "sheet": sheet.stock.name,
            "copy": sheet.copy,
            "used_length_mm": round(sheet.used_length_mm, 1),
            "utilisation": round(sheet.utilisation, 4),
            "parts": [placed.part.number for placed in sheet.placed],
        }
        for sheet in layout.sheets
    ]
