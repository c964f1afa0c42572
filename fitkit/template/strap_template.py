"""The template of a strap's piece: true to size, with its holes, folds, slot and words."""

from __future__ import annotations

import numpy as np

from fitkit.body.side import Side
from fitkit.drawing.drawing import Hole
from fitkit.holding.strap import LONGEST_DRAWN_MM, Strap
from fitkit.holding.strap_pieces import RIVETS, StrapPiece
from fitkit.template.mirror import mirrored_name
from fitkit.template.part import MatchMark, NamedLine, Part
from fitkit.template.part_drawing import part_drawing
from fitkit.template.revision import revision_of
from fitkit.template.template import Template, part_title
from fitkit.template.words import Block

__all__ = ["strap_templates"]


def strap_templates(
    strap: Strap,
    *,
    number: int,
    side: Side,
    job_name: str,
    wearer: str,
    revision: str = "",
) -> tuple[Template, ...]:
    """Return the templates of a strap's pieces that go on a page, each twice for a pair.

    Parameters
    ----------
    number
        Part number of the first; the others follow.
    side
        The wearer's side that it is drawn on.
    """
    design = strap.design
    templates: list[Template] = []
    for piece in strap.fit.pieces:
        if piece.length_mm > LONGEST_DRAWN_MM:
            continue
        part = _part_of(piece)
        stand = revision_of(part, revision)
        for twin in range(strap.count):
            where = side.other if twin else side
            name = mirrored_name(piece.name) if twin else piece.name
            words = [mirrored_name(line) if twin else line for line in piece.words]
            block = Block(
                f"{number}  {part_title(name, where)}",
                (
                    f"cut 1 · {design.width_mm:g} × {piece.length_mm:.0f} mm · "
                    f"{design.material} {design.thickness_mm:g} mm",
                    *words,
                    " · ".join(word for word in (job_name, wearer, f"rev {stand}") if word),
                    *([design.note] if design.note else []),
                ),
            )
            title = f"{number} {part_title(name, where)}"
            drawing, findings = part_drawing(part, block, name=title, way=None)
            templates.append(
                Template(
                    number=number,
                    name=name,
                    side=where,
                    drawing=drawing,
                    outline_mm=part.cut_mm,
                    material=design.material,
                    thickness_mm=design.thickness_mm,
                    stretch_range=(1.0, 1.0),
                    findings=findings,
                    revision=stand,
                )
            )
            number += 1
    return tuple(templates)


def _part_of(piece: StrapPiece) -> Part:
    up = np.array([0.0, 1.0])
    across = np.array([0.0, piece.width_mm])
    marks, folds, inner, footprints = [], [], [], []
    if piece.worn_hole is not None:
        along = float(piece.holes_mm[RIVETS + piece.worn_hole - 1, 0])
        label = str(piece.worn_hole)
        marks.append(MatchMark(np.array([along, 0.0]), up, label, piece.name, False))
    if piece.fold_mm is not None:
        folds.append(NamedLine("fold", np.column_stack([np.repeat(piece.fold_mm, 2), across])))
    if piece.slot_mm is not None:
        inner.append(NamedLine("slot", piece.slot_mm))
    if piece.tape_mm is not None:
        low, high = piece.tape_mm
        inset = 0.1 * piece.width_mm
        box = [
            [low, inset],
            [high - inset, inset],
            [high - inset, piece.width_mm - inset],
            [low, piece.width_mm - inset],
        ]
        footprints.append(NamedLine("tape", np.array(box)))
    return Part(
        piece.outline_mm,
        piece.outline_mm,
        (),
        inner_lines=tuple(inner),
        marks=tuple(marks),
        holes=tuple(Hole(hole[:2], float(hole[2])) for hole in piece.holes_mm),
        footprints=tuple(footprints),
        folds=tuple(folds),
    )
