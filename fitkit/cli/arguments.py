"""Arguments and options that commands have in common."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["AsJson", "JobFolder", "Name", "NewName"]

JobFolder = Annotated[Path, typer.Argument(metavar="JOB", help="The job folder.")]
AsJson = Annotated[bool, typer.Option("--json", help="Answer in JSON, for another program.")]
Name = Annotated[str, typer.Argument(metavar="NAME", help="Which one.")]
NewName = Annotated[str, typer.Argument(metavar="NEW", help="The new name.")]
