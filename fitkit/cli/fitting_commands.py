"""``fitkit pad``, ``fitkit gusset`` and ``fitkit fastener``: what lines, joins and holds plates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

import typer

from fitkit.cli.answer import answering
from fitkit.cli.arguments import LENGTHS, AsJson, JobFolder, Name
from fitkit.cli.design_rows import finish_edit
from fitkit.cli.row_commands import add_row_commands, finish_change, given
from fitkit.cli.spread_options import spread

__all__ = ["fastener_app", "gusset_app", "pad_app"]

_PLACE = (
    "A PLACE is HEIGHT@BEARING (1200@30), LIMB:ALONG@BEARING ('left arm:0.5@90'), X,Y,Z, "
    f"'on LINE:ALONG', or a landmark. {LENGTHS}"
)

pad_app = typer.Typer(
    no_args_is_help=True,
    help=f"List, add, change, rename, take out pads inside plates.\n\n{LENGTHS}",
)
gusset_app = typer.Typer(
    no_args_is_help=True,
    help=f"List, add, change, rename, take out soft pieces in gaps.\n\n{_PLACE}",
)
fastener_app = typer.Typer(
    no_args_is_help=True,
    help="List, add, change, rename, take out what holds loose parts.\n\n" + _PLACE,
)
add_row_commands(pad_app, "pad")
add_row_commands(gusset_app, "gusset")
add_row_commands(fastener_app, "fastener")

Between = Annotated[
    tuple[str, str], typer.Option("--between", metavar="PATCH PATCH", help="Its two plates.")
]
Fastened = Annotated[
    tuple[str, str],
    typer.Option("--on", metavar="PATCH UNDER", help="What comes off, and the plate under it."),
]
Place = Annotated[str, typer.Option("--at", metavar="PLACE", help="A place in it.")]
NewPlace = Annotated[str | None, typer.Option("--at", metavar="PLACE", help="A place in it.")]
Without = Annotated[
    list[str] | None, typer.Option(metavar="KEY", help="Take a setting out, as 'pair'.")
]
Pair = Annotated[
    bool | None, typer.Option("--pair/--no-pair", help="A mirrored one on the other side too.")
]
PadThickness = Annotated[
    str | None,
    typer.Option(
        "--thickness", metavar="LENGTH", help="Its thickness; fills the room if not given."
    ),
]
SoftThickness = Annotated[
    str | None,
    typer.Option("--thickness", metavar="LENGTH", help="Its thickness; 1.5 mm if not given."),
]
Layers = Annotated[
    int | None, typer.Option(metavar="COUNT", help="Of how many layers; 1 if not given.")
]
Edge = Annotated[
    str | None,
    typer.Option(
        metavar="LENGTH", help="How far inside the plate's own edge it ends; 10 mm if not given."
    ),
]
Under = Annotated[
    str | None,
    typer.Option(metavar="LENGTH", help="How far it lies under each plate; 25 mm if not given."),
]
Seam = Annotated[
    str | None, typer.Option(metavar="LENGTH", help="Seam allowance beyond; 10 mm if not given.")
]
Reach = Annotated[
    str | None,
    typer.Option(metavar="LENGTH", help="The widest gap that it may fill; 80 mm if not given."),
]
Kind = Annotated[
    str | None,
    typer.Option(
        metavar="WHAT",
        help="'screw and post', 'turn button', 'hook and loop' or magnet; else it is chosen.",
    ),
]
Load = Annotated[
    str | None,
    typer.Option(metavar="light|medium|heavy", help="What hangs on it; medium if not given."),
]
Often = Annotated[
    bool | None, typer.Option("--often/--seldom", help="Opened each time it is worn.")
]
PadMaterial = Annotated[
    str | None, typer.Option("--material", metavar="MATERIAL", help="As foam; foam if not given.")
]
SoftMaterial = Annotated[
    str | None,
    typer.Option("--material", metavar="MATERIAL", help="As leather; leather if not given."),
]


@dataclass(frozen=True, slots=True)
class PadOptions:
    """What can be told of a pad beside its plate."""

    thickness: PadThickness = None
    material: PadMaterial = None
    layers: Layers = None
    edge: Edge = None

    def values(self) -> dict[str, Any]:
        """Return what was said as values of a ``[[pad]]`` row."""
        return given(
            thickness_mm=self.thickness,
            material=self.material,
            layers=self.layers,
            edge_mm=self.edge,
        )


@dataclass(frozen=True, slots=True)
class GussetOptions:
    """What can be told of a soft piece beside its plates and its place."""

    pair: Pair = None
    material: SoftMaterial = None
    thickness: SoftThickness = None
    under: Under = None
    seam: Seam = None
    reach: Reach = None

    def values(self) -> dict[str, Any]:
        """Return what was said as values of a ``[[gusset]]`` row."""
        return given(
            pair=self.pair,
            material=self.material,
            thickness_mm=self.thickness,
            under_mm=self.under,
            seam_mm=self.seam,
            reach_mm=self.reach,
        )


@dataclass(frozen=True, slots=True)
class FastenerOptions:
    """What can be told of a fastener beside what it holds and its place."""

    kind: Kind = None
    load: Load = None
    often: Often = None
    pair: Pair = None

    def values(self) -> dict[str, Any]:
        """Return what was said as values of a ``[[fastener]]`` row."""
        return given(kind=self.kind, load=self.load, often=self.often, pair=self.pair)


@pad_app.command("add")
@spread
def add_pad_command(
    job: JobFolder,
    name: Name,
    on: Annotated[str, typer.Option("--on", metavar="PATCH", help="The plate that it lines.")],
    told: PadOptions,
    as_json: AsJson = False,
) -> None:
    """Add a pad inside a plate."""
    with answering("pad add", as_json=as_json):
        from fitkit.workflow.edit_job import add_row

        values = {"name": name, "on": on, **told.values()}
        finish_edit("pad add", add_row(job, "pad", values), as_json=as_json)


@pad_app.command("change")
@spread
def change_pad_command(
    job: JobFolder,
    name: Name,
    told: PadOptions,
    without: Without = None,
    as_json: AsJson = False,
) -> None:
    """Change a pad: what is not given stays."""
    with answering("pad change", as_json=as_json):
        finish_change("pad", job, name, told.values(), without, as_json=as_json)


@gusset_app.command("add")
@spread
def add_gusset_command(
    job: JobFolder,
    name: Name,
    between: Between,
    at: Place,
    told: GussetOptions,
    as_json: AsJson = False,
) -> None:
    """Add a soft piece in the gap between two plates."""
    with answering("gusset add", as_json=as_json):
        from fitkit.workflow.edit_job import add_row

        values = {"name": name, "between": list(between), **_at(at), **told.values()}
        finish_edit("gusset add", add_row(job, "gusset", values), as_json=as_json)


@gusset_app.command("change")
@spread
def change_gusset_command(
    job: JobFolder,
    name: Name,
    told: GussetOptions,
    at: NewPlace = None,
    without: Without = None,
    as_json: AsJson = False,
) -> None:
    """Change a soft piece: what is not given stays."""
    with answering("gusset change", as_json=as_json):
        finish_change("gusset", job, name, _at(at) | told.values(), without, as_json=as_json)


@fastener_app.command("add")
@spread
def add_fastener_command(
    job: JobFolder,
    name: Name,
    on: Fastened,
    at: Place,
    told: FastenerOptions,
    as_json: AsJson = False,
) -> None:
    """Add what holds a part that comes off on the plate under it."""
    with answering("fastener add", as_json=as_json):
        from fitkit.workflow.edit_job import add_row

        values = {"name": name, "on": list(on), **_at(at), **told.values()}
        finish_edit("fastener add", add_row(job, "fastener", values), as_json=as_json)


@fastener_app.command("change")
@spread
def change_fastener_command(
    job: JobFolder,
    name: Name,
    told: FastenerOptions,
    at: NewPlace = None,
    without: Without = None,
    as_json: AsJson = False,
) -> None:
    """Change a fastener: what is not given stays."""
    with answering("fastener change", as_json=as_json):
        finish_change("fastener", job, name, _at(at) | told.values(), without, as_json=as_json)


def _at(place: str | None) -> dict[str, Any]:
    from fitkit.workflow.edit_job import anchor_values

    return {} if place is None else {"at": anchor_values(place)}
