"""The template of a soft piece, and of its mirrored twin."""

from __future__ import annotations

from fitkit.body.side import Side
from fitkit.drawing.drawing import Hole
from fitkit.holding.soft_piece import SoftPiece
from fitkit.template.mirror import mirrored_name, part_and_twin
from fitkit.template.part import NamedLine, Part
from fitkit.template.part_drawing import part_drawing
from fitkit.template.revision import revision_of
from fitkit.template.template import Template, part_title
from fitkit.template.words import Block

__all__ = ["soft_templates"]


def soft_templates(
    piece: SoftPiece,
    *,
    number: int,
    side: Side,
    paired: bool,
    job_name: str,
    wearer: str,
    revision: str = "",
) -> tuple[Template, ...]:
    """Return the template of a soft piece; for a pair the mirrored twin's as well.

    Parameters
    ----------
    number
        Part number of the drawn one; its twin gets the next.
    side
        The wearer's side that it is drawn on.
    """
    part = Part(
        piece.outline_mm,
        piece.outline_mm,
        (),
        inner_lines=tuple(NamedLine(name, points) for name, points in piece.lines),
        footprints=tuple(NamedLine("cut out", ring) for ring in piece.openings_mm),
        holes=tuple(Hole(hole[:2], float(hole[2])) for hole in piece.holes_mm),
    )
    templates = []
    for twin, one, where in part_and_twin(part, side, paired=paired):
        name = mirrored_name(piece.name) if twin else piece.name
        title = f"{number + twin} {part_title(name, where)}"
        stand = revision_of(one, revision)
        lines = (
            *(mirrored_name(line) if twin else line for line in piece.words),
            " · ".join(word for word in (job_name, wearer, f"rev {stand}") if word),
        )
        drawing, findings = part_drawing(
            one,
            Block(f"{number + twin}  {part_title(name, where)}", lines),
            name=title,
            way=piece.shown.upper() or None,
        )
        templates.append(
            Template(
                number=number + twin,
                name=name,
                side=where,
                drawing=drawing,
                outline_mm=one.cut_mm,
                material=piece.material,
                thickness_mm=piece.thickness_mm,
                stretch_range=(1.0, 1.0),
                findings=findings,
                revision=stand,
            )
        )
    return tuple(templates)
