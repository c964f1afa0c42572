"""The design drawn on the bare body: quick to make, and enough to see and edit it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitkit.errors import JobError
from fitkit.workflow.step_report import Progress

if TYPE_CHECKING:
    from fitkit.job.job_folder import Job
    from fitkit.patch.design import TapeLineDesign
    from fitkit.patch.form import Form
    from fitkit.patch.tape_line import TapeLine

__all__ = ["DrawnBody", "bare_form", "draw_body"]


@dataclass(frozen=True, slots=True, eq=False)
class DrawnBody:
    """Tape lines on the bare body.

    Attributes
    ----------
    form
        The body without clearance.
    designs, lines
        The lines as told and as laid, in the same order.
    """

    form: Form
    designs: tuple[TapeLineDesign, ...]
    lines: tuple[TapeLine, ...]


def bare_form(job: Job) -> Form:
    """Return the body of a job as a form without clearance.

    Raises
    ------
    JobError
        When the body has not been made.
    """
    from fitkit.job.body_files import read_body
    from fitkit.job.made_from import MadeFrom
    from fitkit.patch.form import Form

    folder = job.result_folder("body")
    if MadeFrom.read(folder) is None:
        raise JobError(
            "There is no body to draw on yet.", f"Make it with: fitkit make {job.called}"
        )
    shaped = read_body(folder)
    return Form(shaped.mesh, 0.0, shaped)


def draw_body(
    job: Job, *, before: DrawnBody | None = None, progress: Progress | None = None
) -> DrawnBody:
    """Lay the lines of a job on its bare body.

    Parameters
    ----------
    before
        The same body drawn before: lines that did not change since, nor any they lean on, are
        taken over.

    Raises
    ------
    JobError
        When the body has not been made.
    DesignError
        When a line cannot be laid.
    """
    from fitkit.job.designs import line_designs
    from fitkit.patch.line_network import lay_tape_lines, unchanged_lines

    designs = line_designs(job.settings)
    form = bare_form(job) if before is None else before.form
    kept = {} if before is None else unchanged_lines(before.designs, before.lines, designs)
    lines = lay_tape_lines(form, designs, kept=kept, progress=progress)
    return DrawnBody(form, designs, lines)
