"""A surface moved to where the photos agree, in passes from coarse to fine."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from fitkit.capture.camera import Camera
from fitkit.capture.closed_surface import mesh_of_grid
from fitkit.capture.gap_guard import kept_apart
from fitkit.capture.outline_moves import Outlines
from fitkit.capture.photo_patches import PhotoStack
from fitkit.capture.refinement_pass import SOME_CERTAINTY, RefinementPass
from fitkit.capture.signed_grid import signed_grid
from fitkit.capture.start_surface import HELD_MM, START_CELL_MM
from fitkit.capture.surface_refinement import refine_surface
from fitkit.capture.surface_smoothing import fair
from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["first_pass", "refined_surface"]

# Cell of the mesh each pass starts from (0: keep the last one's), whether the halved photos
# are used, and how far to look. Lengths suit a body photographed whole.
_PASSES = (
    (START_CELL_MM, True, RefinementPass(12.0, 2.0, 4.0, 3, averaging=3)),
    (5.0, True, RefinementPass(7.5, 1.25, 3.0, 3)),
    (4.0, False, RefinementPass(4.0, 0.6, 2.2, 4)),
    (0.0, False, RefinementPass(1.6, 0.3, 2.2, 4)),
)
# The cloud's points lie so far apart: a vertex twice that from the nearest has none of its own.
_OWN_POINT_MM = 3.0
# So much more than bending counts what is surely held.
_SURELY_HELD = 30.0


def first_pass(
    surface: TriangleMesh,
    cameras: Sequence[Camera],
    stacks: tuple[PhotoStack, PhotoStack],
    *,
    scale: float,
    outlines: Outlines | None = None,
    only: Bools | None = None,
) -> tuple[TriangleMesh, Floats]:
    """Return the surface after the coarsest pass, and how certain each vertex is.

    Parameters and values are those of :func:`fitkit.capture.surface_refinement.refine_surface`.
    """
    moved, certainty = refine_surface(
        surface, cameras, stacks[0], _PASSES[0][2].scaled(scale), outlines, only
    )
    return kept_apart(surface, moved, scale=scale), certainty


def refined_surface(
    surface: TriangleMesh,
    cameras: Sequence[Camera],
    stacks: tuple[PhotoStack, PhotoStack],
    to_like_mm: Callable[[TriangleMesh], Floats],
    *,
    scale: float,
    outlines: Outlines,
    say: Callable[[float], None],
) -> TriangleMesh:
    """Return the surface moved to where the photos agree, ever finer.

    Parameters
    ----------
    surface
        To start from.
    cameras, stacks
        In the same order; the photos halved and whole.
    to_like_mm
        Tells, (V,) float mm, how far the vertices lie from those points of stereo that face as the
        surface does there. What neither they nor the patches hold bends least. Across a narrow
        gap the points of its sides are near, but say nothing of where it ends.
    scale
        Size of the subject's detail against that of a body.
    outlines
        Rims of a plain body follow them, and what nothing holds bends least. Of a body with a
        pattern only rims far from the cloud do: they bound a gap that stereo could not see into.
    say
        Told the fraction done.
    """
    plain = outlines.cloud is not None

    def bare(mesh: TriangleMesh) -> Bools | None:
        return None if plain else to_like_mm(mesh) > scale * HELD_MM

    surface, certainty = first_pass(
        surface, cameras, stacks, scale=scale, outlines=outlines, only=bare(surface)
    )
    for index, (cell_mm, halved, settings) in enumerate(_PASSES):
        if cell_mm > 0 and index > 0:
            cell_mm *= scale
            grid = signed_grid(surface, cell_mm=cell_mm, margin_mm=4 * cell_mm)
            surface = mesh_of_grid(grid)
        before = surface
        if index > 0:
            stack = stacks[0] if halved else stacks[1]
            surface, certainty = refine_surface(
                surface, cameras, stack, settings.scaled(scale), outlines, bare(surface)
            )
        if index + 1 == len(_PASSES) or _PASSES[index + 1][0] > 0:
            hold = certainty if plain else _hold(to_like_mm(surface), certainty, scale)
            surface = fair(surface, hold)
        surface = kept_apart(before, surface, scale=scale)
        say((index + 1) / len(_PASSES))
    return surface


def _hold(distance_mm: Floats, certainty: Floats, scale: float) -> Floats:
    """(V,) float: how much cloud or patches hold the surface, 0 where neither does."""
    bare = np.clip(distance_mm / (scale * _OWN_POINT_MM) - 1.0, 0.0, 1.0)
    free = bare * np.clip(1.0 - certainty / SOME_CERTAINTY, 0.0, 1.0)
    return np.asarray(np.minimum(0.5 / np.maximum(free, 1e-9) - 0.5, _SURELY_HELD))
