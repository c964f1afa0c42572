"""The only place where the job meets the steps: one function a step, with progress and findings.

Every function takes a job folder and returns a report; heavy libraries are imported when
the step that needs them runs, so that opening a job is quick.
"""

from __future__ import annotations

from fitkit.workflow.adapt_job import JobAdapted, adapt_job
from fitkit.workflow.body_job import body_job
from fitkit.workflow.book_job import book_job
from fitkit.workflow.check_job import JobCheck, check_job
from fitkit.workflow.demo import DEMO_FOLDER, demo
from fitkit.workflow.edit_job import add_row, anchor_values, list_rows, remove_row
from fitkit.workflow.make_job import make_job
from fitkit.workflow.measure_job import JobMeasures, MeasureRow, measure_job
from fitkit.workflow.scan_job import scan_job
from fitkit.workflow.start_job import start_job
from fitkit.workflow.step_report import Progress, StepReport, stands
from fitkit.workflow.write_marker_sheets import write_marker_sheets

__all__ = [
    "DEMO_FOLDER",
    "JobAdapted",
    "JobCheck",
    "JobMeasures",
    "MeasureRow",
    "Progress",
    "StepReport",
    "adapt_job",
    "add_row",
    "anchor_values",
    "body_job",
    "book_job",
    "check_job",
    "demo",
    "list_rows",
    "make_job",
    "measure_job",
    "remove_row",
    "scan_job",
    "stands",
    "start_job",
    "write_marker_sheets",
]
