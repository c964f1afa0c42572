"""A form with its patches coloured and numbered, the tape lines over it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fitkit.geometry.arrays import Floats
    from fitkit.patch.cut_patches import CutForm
    from fitkit.patch.patch import Patch
    from fitkit.patch.tape_line import TapeLine

__all__ = ["ALL_ROUND", "png_of_cut", "png_of_lines"]

ALL_ROUND = ("front", "left", "back", "right")
"""The views from all four sides."""

# A number's place is sought among so many vertices of its patch.
_PLACES = 300


def png_of_cut(
    cut: CutForm,
    lines: Sequence[TapeLine],
    numbers: Mapping[str, str],
    *,
    views: tuple[str, ...] = ALL_ROUND,
    height_px: int = 900,
    all_lines: bool = False,
) -> bytes:
    """Return views of a cut form: patches coloured, their numbers in them, lines named.

    Parameters
    ----------
    numbers
        What is written in each patch, by its name.
    all_lines
        Draw also the lines that no patch is bounded or opened by.
    """
    from fitkit.export.body_picture import png_of_body

    used = {edge.line for patch in cut.patches for loop in patch.loops for edge in loop}
    used |= {name for patch in cut.patches for name in patch.design.seams}
    return png_of_body(
        cut.lined.mesh,
        paths=[
            (line.name, line.path.round_points_mm)
            for line in lines
            if all_lines or line.name in used
        ],
        face_values=cut.patch_of_face,
        views=views,
        height_px=height_px,
        numbers=[(numbers[patch.design.name], _places(patch)) for patch in cut.patches],
    )


def png_of_lines(cut: CutForm, lines: Sequence[TapeLine], *, height_px: int = 900) -> bytes:
    """Return the four views of a form with all its lines and nothing else."""
    from fitkit.export.body_picture import png_of_body

    paths = [(line.name, line.path.round_points_mm) for line in lines]
    return png_of_body(cut.lined.mesh, paths=paths, views=ALL_ROUND, height_px=height_px)


def _places(patch: Patch) -> Floats:
    vertices = patch.mesh.vertices
    step = max(1, len(vertices) // _PLACES)
    places: Floats = vertices[::step]
    return places
