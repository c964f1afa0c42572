"""``fitkit line``: tape lines by text."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

import typer

from fitkit.cli.answer import answering
from fitkit.cli.arguments import LENGTHS, AsJson, JobFolder, Name, NewName
from fitkit.cli.design_rows import finish_edit, finish_rows, finish_shown, written_length
from fitkit.cli.progress_lines import shown_progress
from fitkit.cli.spread_options import spread

__all__ = ["line_app"]

line_app = typer.Typer(
    no_args_is_help=True,
    help="List, add, change, rename, take out and look at tape lines.\n\n"
    "A PLACE is HEIGHT@BEARING (1200@30; bearing 0 is the front, 90 the wearer's left), "
    "LIMB:ALONG@BEARING ('left arm:0.5@90'), X,Y,Z, a landmark, or a place on another line: 'on "
    "waist' (the nearest), 'on waist:0.25' (a quarter along it), 'on waist/left side' (where they "
    f"cross). {LENGTHS}",
)

Level = Annotated[
    str | None, typer.Option(metavar="LENGTH", help="A level round at this height over the floor.")
]
Limb = Annotated[str | None, typer.Option(metavar="LIMB", help="Limb for --along, as 'left arm'.")]
Along = Annotated[
    float | None,
    typer.Option(metavar="SHARE", help="A round so far along a limb: 0 at its root, 1 at its end."),
]
Tilt = Annotated[float | None, typer.Option(metavar="DEGREES", help="Tip the round, front down.")]
Straight = Annotated[
    list[str] | None,
    typer.Option(metavar="PLACE", help="The shortest way through places; repeat it."),
]
Through = Annotated[
    list[str] | None,
    typer.Option(metavar="PLACE", help="A smooth line through places; repeat it."),
]
Closed = Annotated[bool, typer.Option("--closed", help="Join its end to its start.")]
Middle = Annotated[bool, typer.Option("--middle", help="The line down the middle.")]
Parallel = Annotated[
    str | None, typer.Option(metavar="LINE", help="Parallel to this line; give --distance too.")
]
Distance = Annotated[
    str | None, typer.Option(metavar="LENGTH", help="How far from that line, as '40' or '4 cm'.")
]
Towards = Annotated[
    str | None,
    typer.Option(
        metavar="WAY", help="On which side: up, down, left, right, front, back, or in, out."
    ),
]
Mirror = Annotated[
    str | None, typer.Option(metavar="LINE", help="This line again on the other side.")
]
Round = Annotated[
    str | None,
    typer.Option("--round", metavar="PLACE", help="A circle round a place; give --radius too."),
]
Radius = Annotated[
    str | None, typer.Option(metavar="LENGTH", help="Radius of the circle, over the surface.")
]


@line_app.command("list")
def list_command(job: JobFolder, as_json: AsJson = False) -> None:
    """List the tape lines as they are told in job.toml."""
    with answering("line list", as_json=as_json):
        finish_rows("line", job, as_json=as_json)


_WAYS = "--level, --along, --straight, --through, --middle, --parallel-to, --mirror-of, --round"


@dataclass(frozen=True, slots=True)
class LineOptions:
    """How a tape line runs."""

    level: Level = None
    limb: Limb = None
    along: Along = None
    tilt_deg: Tilt = None
    straight: Straight = None
    through: Through = None
    closed: Closed = False
    middle: Middle = False
    parallel_to: Parallel = None
    distance: Distance = None
    towards: Towards = None
    mirror_of: Mirror = None
    round_place: Round = None
    radius: Radius = None

    def values(self) -> dict[str, Any]:
        """Return what was said as values of a ``[[line]]`` row.

        Raises
        ------
        BadParameter
            When it names more than one kind of line.
        """
        from fitkit.workflow.edit_job import anchor_values

        kinds: list[dict[str, Any]] = []
        if self.level is not None:
            kinds.append({"kind": "level", "height_mm": written_length(self.level)})
        if self.along is not None:
            kinds.append({"kind": "level", "axis": self.limb or "trunk", "along": self.along})
        for kind, places in (("geodesic", self.straight), ("through", self.through)):
            if places:
                kinds.append({"kind": kind, "points": [anchor_values(place) for place in places]})
        if self.middle:
            kinds.append({"kind": "symmetry"})
        if self.parallel_to is not None:
            kinds.append({"kind": "parallel", "of": self.parallel_to})
        if self.mirror_of is not None:
            kinds.append({"kind": "mirrored", "of": self.mirror_of})
        if self.round_place is not None:
            kinds.append({"kind": "round", "centre": anchor_values(self.round_place)})
        if len(kinds) > 1:
            raise typer.BadParameter(f"Give one of {_WAYS}.")
        values = kinds[0] if kinds else {}
        if self.limb is not None and self.along is None:
            raise typer.BadParameter("Give --along together with --limb.")
        if self.tilt_deg is not None:
            values["tilt_deg"] = self.tilt_deg
        if self.closed:
            values["closed"] = True
        if self.distance is not None:
            values["distance_mm"] = written_length(self.distance)
        if self.towards is not None:
            values["towards"] = self.towards
        if self.radius is not None:
            values["radius_mm"] = written_length(self.radius)
        return values


@line_app.command("add")
@spread
def add_command(job: JobFolder, name: Name, told: LineOptions, as_json: AsJson = False) -> None:
    """Add a tape line."""
    with answering("line add", as_json=as_json):
        from fitkit.workflow.edit_job import add_row

        values = told.values()
        if "kind" not in values:
            raise typer.BadParameter(f"Say what line it is: one of {_WAYS}.")
        finish_edit("line add", add_row(job, "line", {"name": name, **values}), as_json=as_json)


@line_app.command("change")
@spread
def change_command(
    job: JobFolder,
    name: Name,
    told: LineOptions,
    point: Annotated[
        list[str] | None,
        typer.Option(metavar="N=PLACE", help="Move its Nth place, counted from 1; repeat it."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Change a tape line: what is not given stays.

    Made a line of another kind it keeps its name alone.
    """
    with answering("line change", as_json=as_json):
        from fitkit.workflow.edit_job import change_line

        values = told.values()
        if not values and not point:
            raise typer.BadParameter("Say what to change, as --level 1060 or --point 2=1210@85.")
        report = change_line(job, name, values, moved=_moved(point or ()))
        finish_edit("line change", report, as_json=as_json)


@line_app.command("rename")
def rename_command(job: JobFolder, name: Name, new: NewName, as_json: AsJson = False) -> None:
    """Give a tape line another name, wherever it is named."""
    with answering("line rename", as_json=as_json):
        from fitkit.workflow.edit_job import rename_row

        finish_edit("line rename", rename_row(job, "line", name, new), as_json=as_json)


@line_app.command("remove")
def remove_command(job: JobFolder, name: Name, as_json: AsJson = False) -> None:
    """Take a tape line out."""
    with answering("line remove", as_json=as_json):
        from fitkit.workflow.edit_job import remove_row

        finish_edit("line remove", remove_row(job, "line", name), as_json=as_json)


@line_app.command("show")
def show_command(job: JobFolder, as_json: AsJson = False) -> None:
    """Draw all tape lines on the body and tell their lengths."""
    with answering("line show", as_json=as_json):
        from fitkit.workflow.show_design import show_lines

        with shown_progress() as progress:
            shown = show_lines(job, progress=progress)

        def show() -> None:
            print(f"{'line':28s} {'length mm':>10s}  runs")
            for row in shown.rows:
                runs = "closed" if row.closed else f"from {row.start} to {row.end}"
                print(f"{row.name:28s} {row.length_mm:10.1f}  {runs}")

        finish_shown("line show", shown, show, as_json=as_json)


def _moved(points: list[str] | tuple[str, ...]) -> dict[int, dict[str, Any]]:
    from fitkit.errors import InputError
    from fitkit.workflow.edit_job import anchor_values

    moved = {}
    for row in points:
        number, equals, place = row.partition("=")
        if not equals or not number.strip().isdigit() or int(number) < 1:
            raise InputError(f"'{row}' does not say which place moves.", "Write it as 2=1210@85.")
        moved[int(number)] = anchor_values(place)
    return moved
