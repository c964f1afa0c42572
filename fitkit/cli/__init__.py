"""The command line: parses, calls the workflow, shows findings; computes nothing."""

from __future__ import annotations

__all__ = ["main"]


def main() -> None:
    """Run the ``fitkit`` command."""
    from fitkit.cli.app import app

    app(prog_name="fitkit")
