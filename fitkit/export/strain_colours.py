"""The colours of the strain picture, for the plate on the body."""

from __future__ import annotations

import numpy as np

from fitkit.export.strain_picture import strain_reach
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.stretch import area_strain, at_flat_vertices
from fitkit.geometry.arrays import Bytes

__all__ = ["strain_colours"]


def strain_colours(flat: FlatPatch) -> Bytes:
    """Return (V, 3) uint8 for the vertices of ``flat.form``, as ``png_of_strain`` colours them."""
    from matplotlib import colormaps

    percent = 100.0 * area_strain(flat.stretch)
    reach = strain_reach(percent)
    at_vertices = at_flat_vertices(percent, flat.flat_mm, flat.faces)
    colours = colormaps["PuOr_r"]((at_vertices + reach) / (2.0 * reach))
    shades: Bytes = np.round(255.0 * colours[:, :3]).astype(np.uint8)
    return shades
