"""``fitkit line``: tape lines by text."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from fitkit.cli.answer import answering
from fitkit.cli.arguments import AsJson, JobFolder, Name, NewName
from fitkit.cli.design_rows import finish_edit, finish_rows, finish_shown, written_length
from fitkit.cli.progress_lines import shown_progress

__all__ = ["line_app"]

line_app = typer.Typer(
    no_args_is_help=True,
    help="List, add, change, rename, take out and look at tape lines.\n\n"
    "A PLACE is HEIGHT@BEARING (1200@30; bearing 0 is the front, 90 the wearer's left), "
    "LIMB:ALONG@BEARING ('left arm:0.5@90'), X,Y,Z, a landmark, or a place on another line: 'on "
    "waist' (the nearest), 'on waist:0.25' (a quarter along it), 'on waist/left side' (where they "
    "cross).",
)

Level = Annotated[str | None, typer.Option(help="A level round at this height.")]
Limb = Annotated[str | None, typer.Option(help="Limb for --along, as 'left arm'.")]
Along = Annotated[float | None, typer.Option(help="A round on a limb, 0 to 1.")]
Tilt = Annotated[float | None, typer.Option(help="Tip the round, front down, in degrees.")]
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
Distance = Annotated[str | None, typer.Option(help="How far from that line, as '40' or '4 cm'.")]
Towards = Annotated[
    str | None,
    typer.Option(help="On which side: up, down, left, right, front, back, or in, out."),
]
Mirror = Annotated[
    str | None, typer.Option(metavar="LINE", help="This line again on the other side.")
]
Round = Annotated[
    str | None,
    typer.Option("--round", metavar="PLACE", help="A circle round a place; give --radius too."),
]
Radius = Annotated[str | None, typer.Option(help="Radius of the circle, over the surface.")]


@line_app.command("list")
def list_command(job: JobFolder, as_json: AsJson = False) -> None:
    """List the tape lines as they are told in job.toml."""
    with answering("line list", as_json=as_json):
        finish_rows("line", job, as_json=as_json)


@line_app.command("add")
def add_command(
    job: JobFolder,
    name: Name,
    level: Level = None,
    limb: Limb = None,
    along: Along = None,
    tilt_deg: Tilt = None,
    straight: Straight = None,
    through: Through = None,
    closed: Closed = False,
    middle: Middle = False,
    parallel_to: Parallel = None,
    distance: Distance = None,
    towards: Towards = None,
    mirror_of: Mirror = None,
    round_place: Round = None,
    radius: Radius = None,
    as_json: AsJson = False,
) -> None:
    """Add a tape line."""
    with answering("line add", as_json=as_json):
        from fitkit.workflow.edit_job import add_row

        values = _told(
            level=level,
            limb=limb,
            along=along,
            tilt_deg=tilt_deg,
            straight=straight,
            through=through,
            closed=closed,
            middle=middle,
            parallel_to=parallel_to,
            distance=distance,
            towards=towards,
            mirror_of=mirror_of,
            round_place=round_place,
            radius=radius,
        )
        if "kind" not in values:
            raise typer.BadParameter(f"Say what line it is: one of {_WAYS}.")
        finish_edit("line add", add_row(job, "line", {"name": name, **values}), as_json=as_json)


@line_app.command("change")
def change_command(
    job: JobFolder,
    name: Name,
    level: Level = None,
    limb: Limb = None,
    along: Along = None,
    tilt_deg: Tilt = None,
    straight: Straight = None,
    through: Through = None,
    closed: Closed = False,
    middle: Middle = False,
    parallel_to: Parallel = None,
    distance: Distance = None,
    towards: Towards = None,
    mirror_of: Mirror = None,
    round_place: Round = None,
    radius: Radius = None,
    point: Annotated[
        list[str] | None,
        typer.Option(metavar="N=PLACE", help="Move its Nth place, counted from 1; repeat it."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Change a tape line: what is not given stays, unless it is to be a line of another kind."""
    with answering("line change", as_json=as_json):
        from fitkit.workflow.edit_job import change_line

        values = _told(
            level=level,
            limb=limb,
            along=along,
            tilt_deg=tilt_deg,
            straight=straight,
            through=through,
            closed=closed,
            middle=middle,
            parallel_to=parallel_to,
            distance=distance,
            towards=towards,
            mirror_of=mirror_of,
            round_place=round_place,
            radius=radius,
        )
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


_WAYS = "--level, --along, --straight, --through, --middle, --parallel-to, --mirror-of, --round"


def _told(
    *,
    level: str | None,
    limb: str | None,
    along: float | None,
    tilt_deg: float | None,
    straight: list[str] | None,
    through: list[str] | None,
    closed: bool,
    middle: bool,
    parallel_to: str | None,
    distance: str | None,
    towards: str | None,
    mirror_of: str | None,
    round_place: str | None,
    radius: str | None,
) -> dict[str, Any]:
    """Return what the options say as values of a ``[[line]]`` row."""
    from fitkit.workflow.edit_job import anchor_values

    kinds: list[dict[str, Any]] = []
    if level is not None:
        kinds.append({"kind": "level", "height_mm": written_length(level)})
    if along is not None:
        kinds.append({"kind": "level", "axis": limb or "trunk", "along": along})
    for kind, places in (("geodesic", straight), ("through", through)):
        if places:
            kinds.append({"kind": kind, "points": [anchor_values(place) for place in places]})
    if middle:
        kinds.append({"kind": "symmetry"})
    if parallel_to is not None:
        kinds.append({"kind": "parallel", "of": parallel_to})
    if mirror_of is not None:
        kinds.append({"kind": "mirrored", "of": mirror_of})
    if round_place is not None:
        kinds.append({"kind": "round", "centre": anchor_values(round_place)})
    if len(kinds) > 1:
        raise typer.BadParameter(f"Give one of {_WAYS}.")
    values = kinds[0] if kinds else {}
    if limb is not None and along is None:
        raise typer.BadParameter("Give --along together with --limb.")
    if tilt_deg is not None:
        values["tilt_deg"] = tilt_deg
    if closed:
        values["closed"] = True
    if distance is not None:
        values["distance_mm"] = written_length(distance)
    if towards is not None:
        values["towards"] = towards
    if radius is not None:
        values["radius_mm"] = written_length(radius)
    return values


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
