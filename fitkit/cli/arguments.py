"""Arguments and options that commands have in common."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["LENGTHS", "AsJson", "JobFolder", "Name", "NewName"]

LENGTHS = "A LENGTH is 12, '1.2 cm' or '0.5 in'; a bare number is millimetres."
"""Said where lengths are asked for."""

JobFolder = Annotated[Path, typer.Argument(metavar="JOB", help="The job folder.")]
AsJson = Annotated[bool, typer.Option("--json", help="Answer in JSON, for another program.")]
Name = Annotated[str, typer.Argument(metavar="NAME", help="Its name.")]
NewName = Annotated[str, typer.Argument(metavar="NEW", help="The new name.")]
