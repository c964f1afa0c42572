"""The command line: parses, calls the workflow, shows findings; computes nothing."""

from __future__ import annotations

__all__ = ["main"]


def main() -> None:
    """Run the ``fitkit`` command."""
    from typer.main import get_command

    from fitkit.cli.app import app
    from fitkit.cli.plain_help import plain_help

    plain_help(get_command(app))(prog_name="fitkit")
