"""What is noticed about a patch's own shape before it is laid flat, and where it was opened."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fitkit.findings import Finding, Severity
from fitkit.flatten.seam_lines import SeamLine
from fitkit.patch.design import PatchDesign
from fitkit.patch.patch import Patch

__all__ = ["seam_findings", "shape_findings"]

# A plate that has no more width than this is a slip between two lines; common practice.
_NARROW_MM = 2.0
# So few triangles tell where three or four places of the body are, not how it curves between them.
_FEW_TRIANGLES = 10
# A sleeve's ends are more alike than this: a smaller one is a hole in a plate.
_HOLE_SHARE = 0.25


def shape_findings(patch: Patch) -> list[Finding]:
    """Say that a patch is hardly a plate: too few triangles, a needle, or holes not meant."""
    vertices = patch.mesh.vertices
    rounds = sorted(
        sum(
            float(np.linalg.norm(np.diff(vertices[e.vertices], axis=0), axis=1).sum()) for e in loop
        )
        for loop in patch.loops
    )
    result = []
    if len(patch.mesh.faces) < _FEW_TRIANGLES:
        result.append(
            Finding(
                "few-triangles",
                Severity.WARNING,
                patch.design.name,
                f"It has {len(patch.mesh.faces)} triangles of the form, too few to tell how it "
                "curves.",
                "Look whether its lines bound the piece that you mean; if they do, make the body "
                "of a finer mesh.",
                number=float(len(patch.mesh.faces)),
                limit=float(_FEW_TRIANGLES),
                unit="triangles",
            )
        )
    width_mm = 2.0 * patch.mesh.area_mm2() / sum(rounds)
    if width_mm < _NARROW_MM:
        result.append(
            Finding(
                "needle",
                Severity.WARNING,
                patch.design.name,
                f"It is a strip only {width_mm:.1f} mm wide on the whole: too narrow to cut.",
                "Look whether two of its lines run almost together, and move one of them.",
                number=width_mm,
                limit=_NARROW_MM,
                unit="mm",
            )
        )
    holes = [around for around in rounds[:-1] if around < _HOLE_SHARE * rounds[-1]]
    if holes:
        told = " and ".join(f"{around:.0f} mm" for around in holes)
        one = len(holes) == 1
        result.append(
            Finding(
                "hole",
                Severity.WARNING,
                patch.design.name,
                f"It has {'a hole' if one else f'{len(holes)} holes'} {told} round in it, and was "
                f"cut open from {'the hole' if one else 'each'} to its edge.",
                "If no hole is meant there, leave the line round it out of the patch or fill the "
                "gap in the body; if one is, cut it into the finished plate.",
                number=holes[0],
                limit=_HOLE_SHARE * rounds[-1],
                unit="mm",
            )
        )
    return result


def seam_findings(design: PatchDesign, seams: Sequence[SeamLine]) -> list[Finding]:
    """Say where a patch that goes right round, or has holes, was cut open."""
    if not seams:
        return []

    def way(seam: SeamLine) -> str:
        return "along the shortest way across" if seam.line is None else f"along '{seam.line}'"

    total = sum(seam.length_mm for seam in seams)
    if len(seams) == 1:
        told = f"It goes right round and was opened {way(seams[0])}, {total:.1f} mm long."
    else:
        each = "; ".join(
            f"({number}) {way(seam)}, {seam.length_mm:.0f} mm"
            for number, seam in enumerate(seams, start=1)
        )
        told = (
            f"It has {len(seams) + 1} borders and was opened by {len(seams)} seams, {total:.0f} mm "
            f"in all: {each}."
        )
    chosen = any(seam.line is None for seam in seams)
    return [
        Finding(
            "seam-opened",
            Severity.NOTE,
            design.name,
            told,
            "To open it elsewhere lay tape lines from border to border and name them: "
            f"seam = {'[...]' if len(seams) > 1 else '...'}."
            if chosen
            else "",
            number=total,
            unit="mm",
        )
    ]
