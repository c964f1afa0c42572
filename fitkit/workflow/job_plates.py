"""The plates of a job as worn, and the forms they lie on."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from fitkit.body.body import Body
    from fitkit.geometry.arrays import Floats
    from fitkit.geometry.mesh import TriangleMesh
    from fitkit.holding.worn_sheet import WornSheet
    from fitkit.job.job_folder import Job
    from fitkit.patch.design import Anchor, PatchDesign

__all__ = ["JobPlates"]

# Of a plate's places one in so many is enough to tell how far out it lies.
_EVERY = 10


class JobPlates:
    """Reads them from the made patches, each once."""

    def __init__(self, job: Job) -> None:
        from fitkit.job.designs import patch_designs

        self._job = job
        self._designs = patch_designs(job.settings)
        self._sheets: dict[str, tuple[WornSheet, ...]] = {}
        self._forms: dict[str, TriangleMesh] = {}

    @cached_property
    def body(self) -> Body:
        """The body they are worn on."""
        from fitkit.job.body_files import read_body

        return read_body(self._job.result_folder("body"))

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

    def all_sheets(self) -> tuple[WornSheet, ...]:
        """Return the sheets of all patches, twins among them."""
        return tuple(sheet for one in self._designs for sheet in self.sheets(one.name))

    def edge(self, sheet: WornSheet, near_mm: Floats) -> Floats:
        """(N, 3) float mm: the edge of a plate, along one tape line, nearest to a place.

        The plate is on its left seen from outside.
        """
        from fitkit.holding.worn_sheet import ACROSS
        from fitkit.job.patch_files import read_patch

        folder = self._job.result_folder("patches")
        patch = read_patch(folder, self.design(sheet.patch))
        drawn = [patch.mesh.vertices[edge.vertices] for loop in patch.loops for edge in loop]
        worn = [edge[::-1] * ACROSS for edge in drawn] if sheet.twin else drawn
        return min(worn, key=lambda edge: float(np.linalg.norm(edge - near_mm, axis=1).min()))
