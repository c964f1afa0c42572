"""Shared options come to each command as if they had been told there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import typer
from typer.testing import CliRunner

from fitkit.cli.spread_options import spread


@dataclass(frozen=True, slots=True)
class Size:
    width: Annotated[str | None, typer.Option(help="How wide.")] = None
    layers: Annotated[int, typer.Option(help="How many.")] = 1


def test_fields_are_options_with_their_defaults_and_come_back_as_one_value() -> None:
    app = typer.Typer()
    seen: list[tuple[str, Size, bool]] = []

    @app.command()
    @spread
    def cut(name: str, size: Size, quick: bool = False) -> None:
        """Cut it."""
        seen.append((name, size, quick))

    told = CliRunner().invoke(app, ["--width", "20 mm", "belt", "--quick"])
    assert told.exit_code == 0, told.output
    assert CliRunner().invoke(app, ["strap", "--layers", "3"]).exit_code == 0
    assert seen == [("belt", Size("20 mm"), True), ("strap", Size(None, 3), False)]
    words = CliRunner().invoke(app, ["--help"]).stdout
    for word in ("Cut it.", "--width", "How wide.", "--layers", "--quick"):
        assert word in words
    assert CliRunner().invoke(app, ["belt", "--layers", "many"]).exit_code == 2
