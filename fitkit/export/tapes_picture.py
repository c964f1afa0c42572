"""The body with every tape drawn where it was taken, and what it read."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitkit.body.tape_reading import TapeMeasure
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["png_of_tapes"]


def png_of_tapes(
    mesh: TriangleMesh,
    measures: Sequence[TapeMeasure],
    *,
    views: Sequence[str] = ("front", "left", "back"),
    height_px: int = 1000,
) -> bytes:
    """Return views of a body with its girths and lengths over it, each with its millimetres.

    Heights and breadths are not drawn; they run through the air.
    """
    from fitkit.export.body_picture import png_of_body

    paths = []
    for measure in measures:
        if measure.kind not in ("girth", "length"):
            continue
        tape = measure.tape_mm
        if measure.kind == "girth":
            tape = np.vstack([tape, tape[:1]])
        paths.append((f"{measure.name} {measure.length_mm:.0f}", tape))
    return png_of_body(mesh, paths=paths, views=views, height_px=height_px)
