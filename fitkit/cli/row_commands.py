"""What every section of named rows is asked alike: list, rename, remove."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal, TypeAlias

import typer

from fitkit.cli.answer import answering
from fitkit.cli.arguments import AsJson, JobFolder, Name, NewName
from fitkit.cli.design_rows import finish_edit, finish_rows, written_length

__all__ = ["NamedSection", "add_row_commands", "finish_change", "given"]

NamedSection: TypeAlias = Literal["strap", "pad", "gusset", "fastener"]


def add_row_commands(app: typer.Typer, section: NamedSection) -> None:
    """Give a group of commands those that list, rename and take out rows of a section."""

    @app.command("list", help=f"List the {section}s as they are told in job.toml.")
    def list_command(job: JobFolder, as_json: AsJson = False) -> None:
        with answering(f"{section} list", as_json=as_json):
            finish_rows(section, job, as_json=as_json)

    @app.command("rename", help=f"Give a {section} another name; all that was set for it stays.")
    def rename_command(job: JobFolder, name: Name, new: NewName, as_json: AsJson = False) -> None:
        with answering(f"{section} rename", as_json=as_json):
            from fitkit.workflow.edit_job import rename_row

            report = rename_row(job, section, name, new)
            finish_edit(f"{section} rename", report, as_json=as_json)

    @app.command("remove", help=f"Take a {section} out.")
    def remove_command(job: JobFolder, name: Name, as_json: AsJson = False) -> None:
        with answering(f"{section} remove", as_json=as_json):
            from fitkit.workflow.edit_job import remove_row

            finish_edit(f"{section} remove", remove_row(job, section, name), as_json=as_json)


def finish_change(
    section: NamedSection,
    job: Path,
    name: str,
    values: dict[str, Any],
    without: list[str] | None,
    *,
    as_json: bool,
) -> None:
    """Change a row by what was given; refuse when that is nothing."""
    from fitkit.workflow.edit_job import change_row

    if not values and not without:
        raise typer.BadParameter("Say what to change.")
    report = change_row(job, section, name, values, without=without or ())
    finish_edit(f"{section} change", report, as_json=as_json)


def given(**told: Any) -> dict[str, Any]:
    """Return what was said, by the key of its row; what was left out is None, and left out here.

    Lengths, whose keys end in ``_mm``, are taken as they were written.
    """
    return {
        key: written_length(value) if key.endswith("_mm") else value
        for key, value in told.items()
        if value is not None
    }
