"""The patches laid flat as they are looked at: place on the body, strain, choices, templates."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fitkit.findings import Finding

if TYPE_CHECKING:
    from fitkit.flatten.cut_choice import CutChoice
    from fitkit.flatten.flat_patch import FlatPatch
    from fitkit.flatten.sheet_demand import SheetDemand
    from fitkit.geometry.arrays import Bytes
    from fitkit.geometry.mesh import TriangleMesh

__all__ = ["SeenFlat", "see_flat"]


@dataclass(frozen=True, slots=True, eq=False)
class SeenFlat:
    """One patch laid flat.

    Attributes
    ----------
    name, sheet
        The patch, and what it is cut from in words.
    mesh, colours
        The plate on the body, and the strain picture's colour at each of its vertices.
    side
        From where it is seen best: ``front``, ``left``, ``back``, ``right`` or ``top``.
    demand
        What the plate asks of its sheet.
    choices
        Relief cuts to choose from, the first without any.
    lines
        The tape lines round it, in the order of its edges; ``"seam"`` where it was opened.
    has_cuts
        Whether it is cut already.
    strain_file, cuts_file
        Names of its pictures among the blanks.
    templates
        Names of its templates' pictures.
    findings
        What was noticed about it.
    """

    name: str
    sheet: str
    mesh: TriangleMesh
    colours: Bytes
    side: str
    demand: SheetDemand
    choices: tuple[CutChoice, ...]
    lines: tuple[str, ...]
    has_cuts: bool
    strain_file: str
    cuts_file: str
    templates: tuple[str, ...]
    findings: tuple[Finding, ...]


def see_flat(folder: Path | str) -> tuple[SeenFlat, ...]:
    """Return every patch that the last flattening laid flat, in the order of ``job.toml``.

    A patch that was drawn or renamed since is left out: it is not flat yet.

    Raises
    ------
    JobError
        When the folder is not a job, or a file is damaged.
    """
    from fitkit.export.strain_colours import strain_colours
    from fitkit.flatten.sheet_demand import sheet_demand
    from fitkit.job.cut_choice_files import read_cut_choices
    from fitkit.job.designs import patch_designs
    from fitkit.job.flat_patch_files import read_flat_patch
    from fitkit.job.job_folder import open_job
    from fitkit.job.made_from import MadeFrom
    from fitkit.job.settings import file_stem

    job = open_job(folder)
    blanks = job.result_folder("blanks")
    record = MadeFrom.read(blanks)
    if record is None:
        return ()
    templates = _templates_by_patch(job.result_folder("templates"))
    seen = []
    for design in patch_designs(job.settings):
        stem = file_stem(design.name)
        if f"{stem}.npz" not in record.files:
            continue
        flat = read_flat_patch(blanks, design)
        about = [one for one in record.findings if design.name in one.where.split(", ")]
        seen.append(
            SeenFlat(
                design.name,
                f"{design.material}, {design.thickness_mm:g} mm",
                flat.form,
                strain_colours(flat),
                _facing(flat.form),
                sheet_demand(flat),
                read_cut_choices(blanks, design.name),
                _lines_of(flat),
                bool(design.cuts),
                f"{stem}-strain.png",
                f"{stem}.cuts.png",
                templates.get(design.name, ()),
                tuple(about),
            )
        )
    return tuple(seen)


def _lines_of(flat: FlatPatch) -> tuple[str, ...]:
    """Return the names of the edges of a blank, its seams as one, its relief cuts left out."""
    from fitkit.flatten.edge_names import SEAM, is_cut_edge, is_seam

    names = (edge.line for edge in flat.outline if not is_cut_edge(edge.line))
    return tuple(dict.fromkeys(SEAM if is_seam(name) else name for name in names))


def _templates_by_patch(folder: Path) -> dict[str, tuple[str, ...]]:
    from fitkit.errors import JobError
    from fitkit.job.made_from import MadeFrom
    from fitkit.job.template_files import read_templates, template_stem

    if MadeFrom.read(folder) is None:
        return {}
    try:
        drawn = read_templates(folder)
    except JobError:
        return {}  # which the step's own state tells
    found: dict[str, tuple[str, ...]] = {}
    for template in drawn:
        picture = f"{template_stem(template)}.png"
        found[template.name] = (*found.get(template.name, ()), picture)
    return found


def _facing(mesh: TriangleMesh) -> str:
    """Return the side that most of a plate's outside faces; the wearer faces -y, z is up."""
    import numpy as np

    corners = mesh.vertices[mesh.faces]
    x, y, z = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]).sum(axis=0)
    ways = {"front": -y, "back": y, "left": x, "right": -x, "top": z}
    return max(ways, key=lambda side: float(ways[side]))
