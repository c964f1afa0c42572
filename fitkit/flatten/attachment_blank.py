"""What an attachment is cut from: its outline, tabs and folds on the flat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.findings import Finding
from fitkit.flatten.flat_patch import FlatCut, FlatLine
from fitkit.geometry.arrays import Floats
from fitkit.patch.attachment_design import AttachmentDesign

__all__ = ["AttachmentBlank", "Tab", "tab_along"]


@dataclass(frozen=True, slots=True, eq=False)
class Tab:
    """A tab beyond the foot: (4, 2) float mm, its first two corners on the foot; its hole."""

    corners_mm: Floats
    hole_at_mm: Floats


@dataclass(frozen=True, slots=True, eq=False)
class AttachmentBlank:
    """A developed attachment, seen from its outside.

    Attributes
    ----------
    design
        What the maker asked for.
    edges
        Its outline, counter-clockwise, joining end to end and closing, without tabs and laps:
        ``foot`` (trimmed to the plate), ``top``, ``seam`` or the sides of a dome's petals.
    lapped
        Number of the edge that the seam's lap goes beyond, if any.
    bends_mm
        Lines (2, 2) along which it is folded.
    tabs
        Along the foot.
    up_mm, up_inward
        (2,) float mm: where the mark on the plate meets the foot; (2,) unit, into the blank.
    stop_holes
        Cuts that end in a hole.
    stretch_range
        Smallest and largest principal stretch from flat to formed.
    findings
        What was noticed.
    """

    design: AttachmentDesign
    edges: tuple[FlatLine, ...]
    lapped: int | None
    bends_mm: tuple[Floats, ...]
    tabs: tuple[Tab, ...]
    up_mm: Floats
    up_inward: Floats
    stop_holes: tuple[FlatCut, ...] = ()
    stretch_range: tuple[float, float] = (1.0, 1.0)
    findings: tuple[Finding, ...] = ()


def tab_along(foot: Floats, arc: Floats, middle: float, width: float, reach: float) -> Tab:
    """Return the tab of a width and reach about a place ``middle`` on a foot, by its arc length."""

    def place(at: float) -> Floats:
        return np.array([np.interp(at, arc, foot[:, k]) for k in range(2)])

    a, b = place(middle - 0.5 * width), place(middle + 0.5 * width)
    along = (b - a) / np.linalg.norm(b - a)
    out = np.array([along[1], -along[0]])
    narrower = 0.12 * width * along
    corners = np.stack([a, b, b + reach * out - narrower, a + reach * out + narrower])
    return Tab(corners, place(middle) + 0.5 * reach * out)
