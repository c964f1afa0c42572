"""A patch laid flat, over fewer triangles: enough to choose by, quicker to work on."""

from __future__ import annotations

import numpy as np

from fitkit.flatten.remesh import edge_for_count, remesh
from fitkit.flatten.seam import BorderStretch, OpenedPatch
from fitkit.flatten.slit_disk import FlatDisk
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import boundary_loops

__all__ = ["coarse_disk"]

# Less of a saving than this is not worth remeshing for.
_WORTH_IT = 1.5


def coarse_disk(mesh: TriangleMesh, flat_mm: Floats, triangles: int) -> FlatDisk:
    """Return a disk and its flat map over about that many triangles, its outline kept.

    Parameters
    ----------
    flat_mm
        (V, 2) float mm: a flat map of it without flipped triangles, not lying over itself.

    Returns
    -------
    disk
        As it was where it has few triangles already, or could not be remeshed.
    """
    ring = boundary_loops(mesh)[0]
    if len(mesh.faces) > _WORTH_IT * triangles:
        whole = np.append(ring, ring[0])
        steps = np.linalg.norm(np.diff(mesh.vertices[whole], axis=0), axis=1)
        border = BorderStretch("edge", whole, np.concatenate([[0.0], np.cumsum(steps)]), ())
        opened = OpenedPatch(mesh, (border,), ())
        anew = remesh(opened, flat_mm, edge_for_count(mesh.area_mm2(), triangles))
        if anew is not None:
            return FlatDisk(anew.opened.mesh, anew.start_mm, anew.opened.round)
    return FlatDisk(mesh, flat_mm, ring)
