"""The patches of one form as a picture: coloured, with the tape lines round them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitkit.geometry.arrays import Ints
    from fitkit.patch.form import Form
    from fitkit.patch.patch import Patch
    from fitkit.patch.tape_line import TapeLine

__all__ = ["faces_in_patches", "png_of_patches"]

# A face of the form belongs to a patch when its middle lies on the patch's surface.
_ON_SURFACE_MM = 0.01


def png_of_patches(
    form: Form,
    lines: Sequence[TapeLine],
    patches: Sequence[Patch],
    *,
    patch_of_face: Ints | None = None,
    views: tuple[str, ...] = ("front", "left", "back"),
    height_px: int = 900,
) -> bytes:
    """Return views of a form with its patches coloured and the lines that bound them.

    Lines that no patch is bounded or opened by are left out. ``patch_of_face`` saves finding
    it again, see :func:`faces_in_patches`.
    """
    import numpy as np

    from fitkit.export.body_picture import png_of_body

    used = {name for patch in patches for name in patch.design.boundary}
    used |= {patch.design.seam for patch in patches if patch.design.seam is not None}
    paths = []
    for line in lines:
        if line.name in used:
            points = line.path.points_mm
            if line.path.closed:
                points = np.vstack([points, points[:1]])
            paths.append((line.name, points))
    if patch_of_face is None:
        patch_of_face = faces_in_patches(form, patches)
    return png_of_body(
        form.mesh, paths=paths, face_values=patch_of_face, views=views, height_px=height_px
    )


def faces_in_patches(form: Form, patches: Sequence[Patch]) -> Ints:
    """(F,) int: index of the patch that each face of the form lies in, -1 for none."""
    import numpy as np

    from fitkit.geometry.nearest import nearest_on_mesh

    middles = form.mesh.corners.mean(axis=1)
    index_of_face = np.full(len(middles), -1, dtype=np.int64)
    for index, patch in enumerate(patches):
        _, _, distance_mm = nearest_on_mesh(patch.mesh, middles)
        index_of_face[distance_mm < _ON_SURFACE_MM] = index
    return index_of_face
