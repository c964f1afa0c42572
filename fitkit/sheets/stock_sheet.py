"""A sheet or offcut of material to cut parts from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from fitkit.errors import InputError
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.materials.sheet_material import sheet_material_named

__all__ = ["StockSheet", "checked_outline", "rectangle_mm"]


def rectangle_mm(length_mm: float, width_mm: float) -> Floats:
    """Return the outline of a rectangle, its length along x, lower left at the origin."""
    return np.array([[0.0, 0.0], [length_mm, 0.0], [length_mm, width_mm], [0.0, width_mm]])


def checked_outline(outline_mm: Floats, whose: str) -> shapely.Polygon:
    """Return the area within corners (N, 2) mm; ``whose`` they are is told where they are wrong.

    Raises
    ------
    InputError
        When the outline crosses itself or has no area.
    """
    polygon = shapely.Polygon(outline_mm) if len(outline_mm) >= 3 else shapely.Polygon()
    if not polygon.is_valid or polygon.area <= 0:
        raise InputError(
            f"The outline of {whose} crosses itself or has no area.",
            "Give its corners in order, once round.",
        )
    return polygon


@dataclass(frozen=True, slots=True, eq=False)
class StockSheet:
    """One row of the stock: a size of sheet, or an offcut, and how many there are.

    Attributes
    ----------
    name
        As the maker calls it, unique in the job.
    material, thickness_mm
        What it is; the material's name holds its temper (``"aluminium 3003-H14"``).
    outline_mm
        (N, 2) float mm, counter-clockwise, lower left of its bounds at the origin.
    quantity
        How many there are; None for a size to buy, as many as it takes.
    bad_zones_mm
        Outlines, (N, 2) float mm each, that no part may touch: dents, holes, brands.
    grain_rad
        Direction of rolling or grain from +x; None where it does not matter.
    faced
        Whether one side is to be seen and the other not, so that no part may lie mirrored.
    price
        Of one sheet, in the maker's money; None when not told.
    """

    name: str
    material: str
    thickness_mm: float
    outline_mm: Floats
    quantity: int | None = 1
    bad_zones_mm: tuple[Floats, ...] = ()
    grain_rad: float | None = None
    faced: bool = False
    price: float | None = None

    def __post_init__(self) -> None:
        outline = frozen_floats(self.outline_mm, (None, 2), "outline_mm")
        polygon = checked_outline(outline, f"the sheet '{self.name}'")
        ring = shapely.get_coordinates(shapely.orient_polygons(polygon).exterior)[:-1]
        low = ring.min(axis=0)
        object.__setattr__(self, "outline_mm", frozen_floats(ring - low, (None, 2), "outline_mm"))
        zones = tuple(
            frozen_floats(np.asarray(zone, dtype=np.float64) - low, (None, 2), "bad_zones_mm")
            for zone in self.bad_zones_mm
        )
        object.__setattr__(self, "bad_zones_mm", zones)
        if self.quantity is not None and self.quantity < 0:
            raise InputError(
                f"There cannot be {self.quantity} of the sheet '{self.name}'.", "Give 0 or more."
            )

    @property
    def size_mm(self) -> tuple[float, float]:
        """Length along x and width along y of its bounds."""
        length, width = self.outline_mm.max(axis=0)
        return float(length), float(width)

    @property
    def is_rectangle(self) -> bool:
        """Whether it is a whole rectangle without bad zones."""
        length, width = self.size_mm
        return not self.bad_zones_mm and self.polygon().area > length * width - 1e-6

    def polygon(self) -> shapely.Polygon:
        """Return the sheet's own area, bad zones included."""
        return shapely.Polygon(self.outline_mm)

    def good_area(self) -> shapely.Geometry:
        """Return the sheet less its bad zones."""
        bad = shapely.union_all([shapely.Polygon(zone).buffer(0) for zone in self.bad_zones_mm])
        return shapely.difference(self.polygon(), bad)

    def serves(self, material: str, thickness_mm: float) -> bool:
        """Tell whether a part of that material and thickness may be cut from it.

        A part that names no alloy, ``"aluminium"``, may be cut from any alloy of it.
        """
        if abs(thickness_mm - self.thickness_mm) > 0.005:
            return False
        wanted = sheet_material_named(material).name
        own = sheet_material_named(self.material).name
        return own == wanted or own.startswith(f"{wanted} ")
