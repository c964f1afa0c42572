"""What edges that no tape line drew are called: the sides of seams and of relief cuts."""

from __future__ import annotations

import re

from fitkit.patch.design import EdgeTreatment, PatchDesign

__all__ = [
    "CUT",
    "SEAM",
    "cut_edge_name",
    "edge_treatment",
    "is_cut_edge",
    "is_seam",
    "seam_name",
]

SEAM = "seam"
"""What both sides of a patch's only seam are called; what is told of it holds for every seam."""
CUT = "cut"
"""What a treatment for every relief cut is told of."""

_PLAIN = EdgeTreatment()
_SEAM_EDGE = re.compile(r"seam( opening \d+)?")
_CUT_EDGE = re.compile(r"relief cut \d+")


def seam_name(number: int, count: int) -> str:
    """Return what both sides of one seam of several are called; ``number`` counts from 1."""
    return SEAM if count == 1 else f"{SEAM} opening {number}"


def is_seam(line: str) -> bool:
    """Whether an edge of that name is a side of an opened seam."""
    return _SEAM_EDGE.fullmatch(line) is not None


def cut_edge_name(number: int) -> str:
    """Return what both sides of a cut are called; ``number`` counts from 1."""
    return f"relief cut {number}"


def is_cut_edge(line: str) -> bool:
    """Whether an edge of that name is a side of a relief cut."""
    return _CUT_EDGE.fullmatch(line) is not None


def edge_treatment(design: PatchDesign, line: str) -> EdgeTreatment:
    """Return what is done along an edge of the blank."""
    if is_seam(line):
        line = SEAM
    elif is_cut_edge(line):
        line = CUT
    return design.edges.get(line, _PLAIN)
