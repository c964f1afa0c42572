"""The picture of the patches colours the faces that lie in each."""

from __future__ import annotations

import io
from types import SimpleNamespace
from typing import Any

import numpy as np
from PIL import Image

from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.design import HeightAnchor, PatchDesign
from fitkit.workflow.patches_picture import faces_in_patches, png_of_patches


def standing_tube(rows: int = 6, around: int = 24) -> TriangleMesh:
    """Return a tube of radius 50 mm from z = 0 to 120 mm, wound outward, open at both ends."""
    angle = 2 * np.pi * np.arange(around) / around
    ring = np.stack([50 * np.cos(angle), 50 * np.sin(angle)], axis=1)
    points = [
        np.column_stack([ring, np.full(around, 120.0 * row / rows)]) for row in range(rows + 1)
    ]
    faces = []
    for row in range(rows):
        for i in range(around):
            a, b = row * around + i, row * around + (i + 1) % around
            faces += [[a, b, b + around], [a, b + around, a + around]]
    return TriangleMesh(np.vstack(points), np.array(faces))


def test_faces_are_told_by_the_patch_they_lie_in() -> None:
    tube = standing_tube()
    height = tube.corners.mean(axis=1)[:, 2]
    low, high = height < 40.0, height > 100.0
    patches: list[Any] = [
        SimpleNamespace(
            mesh=tube.faces_only(chosen)[0],
            design=PatchDesign(name, (name,), HeightAnchor(0.0, 0.0)),
        )
        for name, chosen in (("low", low), ("high", high))
    ]
    form: Any = SimpleNamespace(mesh=tube)
    expected = np.where(low, 0, np.where(high, 1, -1))
    assert np.array_equal(faces_in_patches(form, patches), expected)
    plain = Image.open(io.BytesIO(png_of_patches(form, (), (), views=("front",))))
    shown = Image.open(io.BytesIO(png_of_patches(form, (), patches, views=("front",))))
    assert plain.size == shown.size
    x, height_px = shown.width // 2, shown.height
    column = [np.abs(np.subtract(shown.getpixel((x, y)), plain.getpixel((x, y)))).max()
              for y in range(height_px)]  # fmt: skip
    changed = np.array(column) > 20
    # 20 of 120 mm at the top and 40 at the bottom are coloured, the middle half is not
    assert changed[: height_px // 2].any()
    assert changed[height_px // 2 :].any()
    assert 0.3 < changed.mean() < 0.6
