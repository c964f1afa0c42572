"""The straps of a job, laid over its plates for the templates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitkit.errors import DesignError, FitkitError

if TYPE_CHECKING:
    from fitkit.body.body import Body
    from fitkit.flatten.flat_patch import FlatPatch
    from fitkit.geometry.arrays import Floats
    from fitkit.geometry.mesh import TriangleMesh
    from fitkit.holding.seat import FlatSeat
    from fitkit.holding.strap import Strap
    from fitkit.holding.strap_design import StrapDesign
    from fitkit.holding.worn_sheet import WornSheet
    from fitkit.job.job_folder import Job
    from fitkit.patch.design import Anchor, PatchDesign
    from fitkit.template.template import Template

__all__ = ["SeatsOn", "laid_straps", "seats_on", "strap_drawings", "straps_picture"]

# Of a plate's places so many are enough to tell how far out it lies.
_EVERY = 10
# A place farther than this off its plate is meant for another.
_OFF_PLATE_MM = 40.0
# Plates on forms of their own lie so near to that of the picture at most.
_SAME_PLATE_MM = 15.0


@dataclass(frozen=True, slots=True, eq=False)
class SeatsOn:
    """What is drilled and marked on a blank: on the part as drawn, and on its twin."""

    drawn: tuple[FlatSeat, ...] = ()
    twin: tuple[FlatSeat, ...] = ()


def laid_straps(job: Job) -> tuple[Strap, ...]:
    """Return the straps of a job as they lie on its plates; the blanks need not be made.

    Raises
    ------
    DesignError
        When a strap cannot be laid; the cause names it.
    """
    from fitkit.job.designs import strap_designs

    designs = strap_designs(job.settings)
    if not designs:
        return ()
    plates = _Plates(job)
    straps = []
    for design in designs:
        try:
            straps.append(_laid(plates, design))
        except FitkitError as error:
            said = f"In the strap '{design.name}': {error.cause}"
            cause = error.cause if f"'{design.name}'" in error.cause else said
            raise DesignError(cause, error.remedy) from error
    return tuple(straps)


def seats_on(flat: FlatPatch, straps: Sequence[Strap]) -> SeatsOn:
    """Return where straps sit on a blank."""
    from fitkit.holding.seat import laid_seat

    own = [seat for strap in straps for seat in strap.seats if seat.patch == flat.design.name]
    return SeatsOn(
        tuple(laid_seat(flat, seat) for seat in own if not seat.twin),
        tuple(laid_seat(flat, seat) for seat in own if seat.twin),
    )


def strap_drawings(job: Job, straps: Sequence[Strap], *, number: int) -> list[Template]:
    """Return the templates of all pieces of straps that go on a page."""
    from fitkit.body.side import Side
    from fitkit.template.strap_template import strap_templates

    drawn: list[Template] = []
    for strap in straps:
        side = Side.CENTRE
        if strap.design.paired:
            side = Side.LEFT if strap.run.points_mm[:, 0].mean() > 0 else Side.RIGHT
        drawn += strap_templates(
            strap,
            number=number + len(drawn),
            side=side,
            job_name=job.settings.job.name,
            wearer=job.settings.wearer.name,
            revision=job.settings.job.revision,
        )
    return drawn


def straps_picture(job: Job, straps: Sequence[Strap]) -> bytes:
    """Return the straps on the wearer, with the plates they hold."""
    from fitkit.export.body_picture import png_of_body
    from fitkit.geometry.nearest import nearest_on_mesh
    from fitkit.holding.worn_sheet import ACROSS

    plates = _Plates(job)
    form = plates.form(plates.upper(straps[0].design.on))
    middles = form.corners.mean(axis=1)
    values = np.full(len(middles), -1)
    names = dict.fromkeys(sheet.patch for strap in straps for sheet in strap.sheets)
    for number, name in enumerate(names):
        for sheet in plates.sheets(name):
            near = nearest_on_mesh(sheet.mesh, middles)[2] < _SAME_PLATE_MM
            values[near] = np.where(sheet.holds(middles[near]), number, values[near])
    lines: list[tuple[str, Floats]] = []
    for strap in straps:
        outline = strap.outline_mm()
        lines.append((strap.design.name, outline))
        if strap.design.paired:
            lines.append((f"{strap.design.name}, other side", outline * ACROSS))
    return png_of_body(
        form,
        paths=lines,
        face_values=values,
        views=("front", "left", "back", "right"),
        height_px=620,
    )


class _Plates:
    """The plates of a job as worn, and the forms they lie on."""

    def __init__(self, job: Job) -> None:
        from fitkit.job.body_files import read_body
        from fitkit.job.designs import patch_designs

        self._job = job
        self._designs = patch_designs(job.settings)
        self.body: Body = read_body(job.result_folder("body"))
        self._sheets: dict[str, tuple[WornSheet, ...]] = {}
        self._forms: dict[str, TriangleMesh] = {}

    def design(self, name: str) -> PatchDesign:
        """Return a patch's design."""
        return next(one for one in self._designs if one.name == name)

    def sheets(self, name: str) -> tuple[WornSheet, ...]:
        """Return a patch's sheet as drawn, and its twin's."""
        from fitkit.holding.worn_sheet import worn_sheets
        from fitkit.job.patch_files import read_patch

        if name not in self._sheets:
            folder = self._job.result_folder("patches")
            self._sheets[name] = worn_sheets(read_patch(folder, self.design(name)))
        return self._sheets[name]

    def form(self, name: str) -> TriangleMesh:
        """Return the form that a patch lies on."""
        from fitkit.geometry.mesh_files import mesh_from_ply
        from fitkit.job.result_reading import read_result_bytes
        from fitkit.workflow.patches_step import form_file

        file = form_file(self.design(name), self._designs)
        if file not in self._forms:
            content = read_result_bytes(self._job.result_folder("patches"), file)
            self._forms[file] = mesh_from_ply(content)
        return self._forms[file]

    def place(self, mesh: TriangleMesh, name: str, anchor: Anchor) -> Floats:
        """Return where an anchor lies on a form, (3,) mm."""
        from fitkit.patch.design import LineAnchor
        from fitkit.patch.form import Form
        from fitkit.patch.line_anchor import place_among_lines
        from fitkit.workflow.place_cuts import laid_lines

        form = Form(mesh, self.design(name).clearance_mm or 0.0, self.body)
        lines = laid_lines(self._job) if isinstance(anchor, LineAnchor) else {}
        return place_among_lines(form, [anchor], lines)[0].point_mm

    def upper(self, names: tuple[str, str]) -> str:
        """Return which of two patches lies farther out."""
        from fitkit.geometry.nearest import nearest_on_mesh

        def away(name: str) -> float:
            some = self.sheets(name)[0].mesh.vertices[::_EVERY]
            return float(nearest_on_mesh(self.body.mesh, some)[2].mean())

        return names[0] if names[0] == names[1] else max(names, key=away)


def _laid(plates: _Plates, design: StrapDesign) -> Strap:
    from fitkit.geometry.geodesic import join_paths, shortest_legs
    from fitkit.geometry.nearest import nearest_on_mesh
    from fitkit.geometry.surface_point import SurfacePoint
    from fitkit.holding.strap import lay_strap

    ends = [
        _on_plate(plates, design, name, plates.place(plates.form(name), name, anchor))
        for name, anchor in zip(design.on, design.at, strict=True)
    ]
    (first, first_at), (last, last_at) = ends
    upper = plates.upper(design.on)
    surface = plates.body.mesh if design.over == "body" else plates.form(upper)
    via = [plates.place(surface, upper, anchor) for anchor in design.through]
    stops = np.stack([first_at, *via, last_at])
    on, faces, _ = nearest_on_mesh(surface, stops)
    if np.linalg.norm(np.diff(on, axis=0), axis=1).min() < 1.0:
        raise DesignError(
            f"The strap '{design.name}' starts and ends in one place.",
            "Give a place on each plate where its rivets are to be, apart from each other.",
        )
    points = [SurfacePoint(point, int(face)) for point, face in zip(on, faces, strict=True)]
    path = join_paths(shortest_legs(surface, points))
    return lay_strap(
        design, surface, path, (first, last), (first_at, last_at), body=plates.body.mesh
    )


def _on_plate(
    plates: _Plates, design: StrapDesign, name: str, at: Floats
) -> tuple[WornSheet, Floats]:
    """Return the plate that a place is nearest to, as drawn or its twin, and the place on it."""
    from fitkit.geometry.nearest import nearest_on_mesh

    found = [(sheet, nearest_on_mesh(sheet.mesh, at[None])) for sheet in plates.sheets(name)]
    sheet, (point, _, away) = min(found, key=lambda one: float(one[1][2][0]))
    if away[0] > _OFF_PLATE_MM:
        raise DesignError(
            f"The place of the strap '{design.name}' on '{name}' lies {away[0]:.0f} mm off it.",
            "Give a place on the plate, or name the plate that lies there.",
        )
    return sheet, point[0]
