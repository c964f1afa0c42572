"""``fitkit strap``: straps by text."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

import typer

from fitkit.cli.answer import answering
from fitkit.cli.arguments import LENGTHS, AsJson, JobFolder, Name
from fitkit.cli.design_rows import finish_edit, finish_shown
from fitkit.cli.progress_lines import shown_progress
from fitkit.cli.row_commands import add_row_commands, finish_change, given
from fitkit.cli.spread_options import spread

__all__ = ["strap_app"]

strap_app = typer.Typer(
    no_args_is_help=True,
    help="List, add, change, rename, take out and look at straps.\n\n"
    "A PLACE is HEIGHT@BEARING (1200@30; bearing 0 is the front, 90 the wearer's left), "
    f"LIMB:ALONG@BEARING ('left arm:0.5@90'), X,Y,Z, 'on LINE:ALONG', or a landmark. {LENGTHS}",
)
add_row_commands(strap_app, "strap")

Through = Annotated[
    list[str] | None,
    typer.Option(metavar="PLACE", help="A place that it runs over on its way; repeat it."),
]
Over = Annotated[
    str | None,
    typer.Option(
        metavar="form|body", help="What it lies on between the plates; form if not given."
    ),
]
Pair = Annotated[
    bool | None, typer.Option("--pair/--no-pair", help="A mirrored one on the other side too.")
]
Width = Annotated[str | None, typer.Option(metavar="LENGTH", help="Its width; 25 mm if not given.")]
Thickness = Annotated[
    str | None, typer.Option(metavar="LENGTH", help="Its thickness; 3 mm if not given.")
]
Material = Annotated[
    str | None, typer.Option(metavar="MATERIAL", help="As leather; leather if not given.")
]
Closing = Annotated[
    str | None,
    typer.Option(metavar="HOW", help="buckle, post or 'hook and loop'; buckle if not given."),
]
Play = Annotated[
    str | None,
    typer.Option(
        metavar="LENGTH",
        help="How much farther it can be let out and taken in; 10 mm if not given.",
    ),
]
Pitch = Annotated[
    str | None, typer.Option(metavar="LENGTH", help="From hole to hole; 20 mm if not given.")
]
Rivets = Annotated[
    str | None,
    typer.Option(metavar="RIVET", help="What holds its ends, as 'blind 4' or 'solid 4 copper'."),
]
Note = Annotated[str | None, typer.Option(metavar="WORDS", help="Words for the template.")]


@dataclass(frozen=True, slots=True)
class StrapOptions:
    """What can be told of a strap beside its two plates."""

    through: Through = None
    over: Over = None
    pair: Pair = None
    width: Width = None
    thickness: Thickness = None
    material: Material = None
    closing: Closing = None
    play: Play = None
    pitch: Pitch = None
    rivets: Rivets = None
    note: Note = None

    def values(self) -> dict[str, Any]:
        """Return what was said as values of a ``[[strap]]`` row."""
        from fitkit.workflow.edit_job import anchor_values

        return given(
            through=[anchor_values(place) for place in self.through] if self.through else None,
            over=self.over,
            pair=self.pair,
            width_mm=self.width,
            thickness_mm=self.thickness,
            material=self.material,
            closing=self.closing,
            play_mm=self.play,
            pitch_mm=self.pitch,
            rivets=self.rivets,
            note=self.note,
        )


@strap_app.command("add")
@spread
def add_command(
    job: JobFolder,
    name: Name,
    riveted: Annotated[
        tuple[str, str],
        typer.Option("--from", metavar="PATCH PLACE", help="The plate it is riveted to, where."),
    ],
    closed: Annotated[
        tuple[str, str],
        typer.Option("--to", metavar="PATCH PLACE", help="The plate it is closed on, where."),
    ],
    told: StrapOptions,
    as_json: AsJson = False,
) -> None:
    """Add a strap between two plates."""
    with answering("strap add", as_json=as_json):
        from fitkit.workflow.edit_job import add_row, anchor_values

        values = {
            "name": name,
            "on": [riveted[0], closed[0]],
            "at": [anchor_values(riveted[1]), anchor_values(closed[1])],
            **told.values(),
        }
        finish_edit("strap add", add_row(job, "strap", values), as_json=as_json)


@strap_app.command("change")
@spread
def change_command(
    job: JobFolder,
    name: Name,
    told: StrapOptions,
    without: Annotated[
        list[str] | None, typer.Option(metavar="KEY", help="Take a setting out, as 'through'.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Change a strap: what is not given stays."""
    with answering("strap change", as_json=as_json):
        finish_change("strap", job, name, told.values(), without, as_json=as_json)


@strap_app.command("show")
def show_command(job: JobFolder, as_json: AsJson = False) -> None:
    """Draw the straps over the plates; tell their lengths."""
    with answering("strap show", as_json=as_json):
        from fitkit.workflow.show_straps import show_straps

        with shown_progress() as progress:
            shown = show_straps(job, progress=progress)

        def show() -> None:
            for row in shown.rows:
                print(f"{row.name:24s} {row.words}")
                for piece in row.pieces:
                    print(f"{'':7s}cut {row.count} of {piece}")

        finish_shown("strap show", shown, show, as_json=as_json)
