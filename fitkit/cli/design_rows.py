"""How the commands on rows of ``job.toml`` answer."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fitkit.cli.answer import finish, print_findings

if TYPE_CHECKING:
    from fitkit.workflow.edit_job import Section
    from fitkit.workflow.show_design import Shown
    from fitkit.workflow.step_report import StepReport

__all__ = ["finish_edit", "finish_rows", "finish_shown", "written_length"]


def finish_edit(command: str, report: StepReport, *, as_json: bool) -> None:
    """Say what was edited."""
    finish(command, report.as_dict(), (), as_json=as_json, show=lambda: print(f"{report.words}."))


def finish_rows(section: Section, job: Path, *, as_json: bool) -> None:
    """List the rows of a section of ``job.toml``."""
    from fitkit.workflow.edit_job import list_rows

    rows = list_rows(job, section)

    def show() -> None:
        for row in rows:
            told = ", ".join(
                f"{key} {_words(value)}" for key, value in row.items() if key != "name"
            )
            print(f"{row['name']:28s} {told}")
        if not rows:
            print(f"No {section} yet.")

    plural = "patches" if section == "patch" else f"{section}s"
    finish(f"{section} list", {plural: rows}, (), as_json=as_json, show=show)


def finish_shown(
    command: str, shown: Shown[Any], show: Callable[[], None], *, as_json: bool
) -> None:
    """Show what was drawn, what was noticed, and where the picture is."""

    def all_of_it() -> None:
        show()
        print_findings(shown.findings)
        for path in shown.files:
            print(f"Picture: {path}")

    finish(command, shown.as_dict(), shown.findings, as_json=as_json, show=all_of_it)


def written_length(told: str) -> float | str:
    """Return a length as the maker wrote it, a bare number as a number."""
    try:
        return float(told)
    except ValueError:
        return told


_PLACES = {"landmark", "xyz_mm", "line", "axis", "height_mm", "bearing_deg"}


def _words(value: Any) -> str:
    """Return a value of a row as one would say it: places as they are typed after a command."""
    if isinstance(value, dict):
        if _PLACES & value.keys():
            from fitkit.workflow.edit_job import anchor_words

            return anchor_words(value)
        return ", ".join(f"{key} {_words(inner)}" for key, inner in value.items())
    if isinstance(value, list):
        return "; ".join(_words(item) for item in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)
