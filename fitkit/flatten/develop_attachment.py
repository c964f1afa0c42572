"""The development of what stands on a plate, its edge trimmed to the plate's outside."""

from __future__ import annotations

from fitkit.flatten.attachment_blank import AttachmentBlank
from fitkit.flatten.attachment_seat import PlateSeat, plate_outside, seat_of
from fitkit.flatten.dome_blank import dome_blank
from fitkit.flatten.fin_blank import fin_blank
from fitkit.flatten.ruled_blank import ruled_blank
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.patch.attachment_design import AttachmentDesign

__all__ = ["develop_attachment"]


def develop_attachment(
    design: AttachmentDesign, form: TriangleMesh, at_mm: Floats, plate_thickness_mm: float
) -> tuple[AttachmentBlank, PlateSeat]:
    """Return the blank of an attachment and what it asks of its plate.

    Parameters
    ----------
    form
        The patch on which it stands: the middle of the plate's sheet.
    at_mm
        (3,) float mm: where its axis meets the form.

    Raises
    ------
    DesignError
        When it does not stand on the plate all round.

    Notes
    -----
    Sizes are outside measures; what is rolled or folded is developed along the middle of its
    sheet. Every ruling is cut where it meets the plate, so the trimmed edge is as true as the
    form's triangles are (a chord of 4 mm on a radius of 60 mm leaves 0.03 mm).
    """
    outside = plate_outside(form, plate_thickness_mm)
    seat = seat_of(design, outside, at_mm)
    if design.kind == "fin":
        return fin_blank(design, outside, seat)
    if design.kind == "dome":
        return dome_blank(design, outside, seat)
    return ruled_blank(design, outside, seat)
