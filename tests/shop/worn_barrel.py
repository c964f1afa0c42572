"""A barrel of riveted panels and what is worn over it, for the tests of assembly and book."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np

from fitkit.body.side import Side
from fitkit.flatten.flat_patch import FlatPatch
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.design import EdgeTreatment, RivetRow
from fitkit.shop.joint import Joint, riveted_joints
from fitkit.shop.worn_plate import WornPlate, worn_plates
from fitkit.template.rivet_joint import RivetHoles, rivet_holes
from tests.template.parts import barrel_panels
from tests.truth import solids


def with_edges(flat: FlatPatch, edges: dict[str, EdgeTreatment], **design: object) -> FlatPatch:
    given = {"edges": edges, "thickness_mm": 1.0, "material": "aluminium 1100-O", **design}
    return replace(flat, design=replace(flat.design, **given))  # type: ignore[arg-type]


RIVETED = EdgeTreatment("lap", rivets=RivetRow("blind 3.2"))


@cache
def barrel() -> tuple[FlatPatch, ...]:
    """Return an upper and a lower panel, each made in a pair, the upper's lap riveted."""
    panels = barrel_panels()
    paired = {"side": Side.LEFT, "paired": True}
    upper = with_edges(panels["left upper"], {"waist": RIVETED}, name="upper", **paired)
    lower = with_edges(panels["left lower"], {"hem": EdgeTreatment("wire", 3.0)}, name="lower",
                       **paired)  # fmt: skip
    return upper, lower


def belt(**design: object) -> FlatPatch:
    """Return a plate that stands 8 mm outside the barrel's front, over its waist."""
    whole = solids.cylinder_panel(148.0, 2.4, 120.0, 8.0)
    shifted = TriangleMesh(whole.vertices + np.array([0.0, 0.0, 20.0]), whole.faces)
    flat = flatten_patch(solids.patch_of(shifted, name="belt", lines=("rim",)))
    return with_edges(flat, {}, **design)


def put_together(
    flats: Sequence[FlatPatch],
) -> tuple[tuple[WornPlate, ...], tuple[Joint, ...], tuple[RivetHoles, ...]]:
    """Return plates, joints and rows of holes."""
    numbers: dict[str, int] = {}
    following = 1
    for flat in flats:
        numbers[flat.design.name] = following
        following += 2 if flat.design.paired else 1
    rows = rivet_holes(flats)[0]
    plates = worn_plates(flats, numbers)
    return plates, riveted_joints(flats, rows, plates), rows
