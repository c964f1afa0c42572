"""``fitkit patch``: patches by text."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from fitkit.cli.answer import answering
from fitkit.cli.arguments import LENGTHS, AsJson, JobFolder, Name, NewName
from fitkit.cli.design_rows import finish_edit, finish_rows, finish_shown, written_length
from fitkit.cli.progress_lines import shown_progress

__all__ = ["patch_app"]

patch_app = typer.Typer(
    no_args_is_help=True,
    help="List, add, change, rename, divide, join, show patches.\n\n"
    "A PLACE is HEIGHT@BEARING (1200@30; bearing 0 is the front, 90 the wearer's left), "
    f"LIMB:ALONG@BEARING ('left arm:0.5@90'), X,Y,Z, or a landmark. {LENGTHS}",
)

Lines = Annotated[
    list[str] | None, typer.Option("--line", metavar="LINE", help="A line round it; repeat it.")
]
Side = Annotated[
    str | None,
    typer.Option(metavar="SIDE", help="left, right or centre, the wearer's; centre if not given."),
]
Pair = Annotated[bool | None, typer.Option("--pair/--no-pair", help="Make the mirrored twin too.")]
Seam = Annotated[
    list[str] | None,
    typer.Option(
        metavar="LINE", help="Where it is opened, if it goes round or has holes; repeat it."
    ),
]
Material = Annotated[
    str | None,
    typer.Option(
        metavar="MATERIAL", help="As card, leather, brass, 'aluminium 3003-O'; card if not given."
    ),
]
Thickness = Annotated[
    float | None, typer.Option(metavar="MM", help="Thickness of the sheet in mm; 0.5 if not given.")
]
Clearance = Annotated[
    float | None,
    typer.Option(metavar="MM", help="Room under it in mm; as [form] says if not given."),
]
Lap = Annotated[
    list[str] | None,
    typer.Option(metavar="LINE=WIDTH", help="A lap, as 'left side=12'; 0 for none; repeat it."),
]
GrainWay = Annotated[
    str | None,
    typer.Option("--grain", metavar="WAY", help="Which way the grain runs: up, round, or a line."),
]
GrainTurn = Annotated[
    float | None,
    typer.Option(
        metavar="DEGREES", help="Turn the grain by this, counter-clockwise seen from outside."
    ),
]
Ease = Annotated[
    str | None,
    typer.Option(
        metavar="WHERE",
        help="Where the sheet is to give least: 'overall', or 'worst spot' as if not given.",
    ),
]
Note = Annotated[str | None, typer.Option(metavar="WORDS", help="Words for the template.")]


@patch_app.command("list")
def list_command(job: JobFolder, as_json: AsJson = False) -> None:
    """List the patches as they are told in job.toml."""
    with answering("patch list", as_json=as_json):
        finish_rows("patch", job, as_json=as_json)


@patch_app.command("add")
def add_command(
    job: JobFolder,
    name: Name,
    inside: Annotated[str, typer.Option(metavar="PLACE", help="Any place inside it, as 1200@30.")],
    line: Lines = None,
    radius: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH", help="Make it round with this radius, --inside being its centre."
        ),
    ] = None,
    side: Side = None,
    pair: Pair = None,
    seam: Seam = None,
    material: Material = None,
    thickness_mm: Thickness = None,
    clearance_mm: Clearance = None,
    lap: Lap = None,
    grain: GrainWay = None,
    grain_deg: GrainTurn = None,
    ease: Ease = None,
    note: Note = None,
    as_json: AsJson = False,
) -> None:
    """Add a patch. Without --line its lines are found by the place inside it."""
    with answering("patch add", as_json=as_json):
        from fitkit.workflow.edit_job import add_row, anchor_values

        values = {
            "name": name,
            **({"lines": line} if line else {}),
            "inside": anchor_values(inside),
            **({"radius_mm": written_length(radius)} if radius is not None else {}),
            **_told(side, pair, seam, material, thickness_mm, clearance_mm, lap, grain, grain_deg,
                    ease, note),
        }  # fmt: skip
        with shown_progress() as progress:
            report = add_row(job, "patch", values, progress=progress)
        finish_edit("patch add", report, as_json=as_json)


@patch_app.command("change")
def change_command(
    job: JobFolder,
    name: Name,
    inside: Annotated[
        str | None, typer.Option(metavar="PLACE", help="Another place inside it.")
    ] = None,
    line: Lines = None,
    radius: Annotated[str | None, typer.Option(metavar="LENGTH", help="Another radius.")] = None,
    side: Side = None,
    pair: Pair = None,
    seam: Seam = None,
    material: Material = None,
    thickness_mm: Thickness = None,
    clearance_mm: Clearance = None,
    lap: Lap = None,
    grain: GrainWay = None,
    grain_deg: GrainTurn = None,
    ease: Ease = None,
    note: Note = None,
    without: Annotated[
        list[str] | None, typer.Option(metavar="KEY", help="Take a setting out, as 'seam'.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Change a patch: what is not given stays."""
    with answering("patch change", as_json=as_json):
        from fitkit.workflow.edit_job import anchor_values, change_row

        values = {
            **({"lines": line} if line else {}),
            **({"inside": anchor_values(inside)} if inside is not None else {}),
            **({"radius_mm": written_length(radius)} if radius is not None else {}),
            **_told(side, pair, seam, material, thickness_mm, clearance_mm, lap, grain, grain_deg,
                    ease, note),
        }  # fmt: skip
        if not values and not without:
            raise typer.BadParameter("Say what to change, as --material leather.")
        report = change_row(job, "patch", name, values, without=without or ())
        finish_edit("patch change", report, as_json=as_json)


@patch_app.command("rename")
def rename_command(job: JobFolder, name: Name, new: NewName, as_json: AsJson = False) -> None:
    """Give a patch another name; all that was set for it stays."""
    with answering("patch rename", as_json=as_json):
        from fitkit.workflow.edit_job import rename_row

        finish_edit("patch rename", rename_row(job, "patch", name, new), as_json=as_json)


@patch_app.command("split")
def split_command(
    job: JobFolder,
    name: Name,
    new: Annotated[str, typer.Argument(metavar="NEW", help="What the other part is called.")],
    along: Annotated[str, typer.Option(metavar="LINE", help="The line that divides it.")],
    as_json: AsJson = False,
) -> None:
    """Divide a patch along a line; both parts keep what was set."""
    with answering("patch split", as_json=as_json):
        from fitkit.workflow.divide_patches import split_patch

        with shown_progress() as progress:
            report = split_patch(job, name, along, new, progress=progress)
        finish_edit("patch split", report, as_json=as_json)


@patch_app.command("join")
def join_command(
    job: JobFolder,
    name: Name,
    other: Annotated[str, typer.Argument(metavar="OTHER", help="The one that goes into it.")],
    as_json: AsJson = False,
) -> None:
    """Join a patch with its neighbour; it keeps what was set for it."""
    with answering("patch join", as_json=as_json):
        from fitkit.workflow.divide_patches import join_patches

        with shown_progress() as progress:
            report = join_patches(job, name, other, progress=progress)
        finish_edit("patch join", report, as_json=as_json)


@patch_app.command("remove")
def remove_command(job: JobFolder, name: Name, as_json: AsJson = False) -> None:
    """Take a patch out."""
    with answering("patch remove", as_json=as_json):
        from fitkit.workflow.edit_job import remove_row

        finish_edit("patch remove", remove_row(job, "patch", name), as_json=as_json)


@patch_app.command("show")
def show_command(job: JobFolder, as_json: AsJson = False) -> None:
    """Draw the patches on the body; tell sizes and edges."""
    with answering("patch show", as_json=as_json):
        from fitkit.workflow.show_design import show_patches

        with shown_progress() as progress:
            shown = show_patches(job, progress=progress)

        def show() -> None:
            for row in shown.rows:
                made = f"{row.material} {row.thickness_mm:g} mm"
                print(f"{row.number:>5s}  {row.name:24s} {row.area_cm2:8.1f} cm2  {made}")
                for edge in row.edges:
                    beside = f", beside {', '.join(edge.beside)}" if edge.beside else ""
                    print(f"{'':7s}{edge.line:24s} {edge.length_mm:8.1f} mm{beside}")

        finish_shown("patch show", shown, show, as_json=as_json)


def _told(
    side: str | None,
    pair: bool | None,
    seam: list[str] | None,
    material: str | None,
    thickness_mm: float | None,
    clearance_mm: float | None,
    lap: list[str] | None,
    grain: str | None,
    grain_deg: float | None,
    ease: str | None,
    note: str | None,
) -> dict[str, Any]:
    """Return what the options say as values of a ``[[patch]]`` row."""
    from fitkit.errors import InputError

    given = {
        "side": side,
        "pair": pair,
        "seam": seam[0] if seam and len(seam) == 1 else seam or None,
        "material": material,
        "thickness_mm": thickness_mm,
        "clearance_mm": clearance_mm,
        "grain": grain,
        "grain_deg": grain_deg,
        "ease": ease,
        "note": note,
    }
    values: dict[str, Any] = {key: value for key, value in given.items() if value is not None}
    edges: dict[str, Any] = {}
    for row in lap or ():
        which, equals, width = row.rpartition("=")
        if not equals:
            raise InputError(f"'{row}' is not a lap.", "Write it as 'left side=12'.")
        edges[which.strip()] = {"lap_mm": written_length(width.strip())}
    if edges:
        values["edges"] = edges
    return values
