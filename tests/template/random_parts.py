"""Parts of any shape and size, with any edges, marks, holes and lines across."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely

from fitkit.drawing.drawing import Hole
from fitkit.geometry.arrays import Floats
from fitkit.patch.design import EdgeKind, EdgeTreatment
from fitkit.template.correction import edge_frames
from fitkit.template.edge_allowance import edge_allowance
from fitkit.template.outline import cut_outline
from fitkit.template.part import MatchMark, NamedLine, Part
from fitkit.template.words import Block

__all__ = ["random_block", "random_part"]

_NAMES = ("hem", "left side seam", "waist", "collar base", "upright 45", "inside of the left arm")
_TREATMENTS: tuple[tuple[EdgeKind, float], ...] = (
    ("plain", 0.0), ("plain", 0.0), ("lap", 12.0), ("lap", 16.0), ("hem", 6.0), ("double hem", 5.0),
    ("wire", 3.0), ("bead", 4.0), ("flange", 10.0), ("trim", 10.0),
)  # fmt: skip


def random_part(rng: np.random.Generator) -> Part:
    """Return a part 20 to 400 mm across whose blank does not cross itself."""
    while True:
        blank = _blank(rng)
        if shapely.Polygon(blank).is_valid:
            return _with_marks(rng, blank)


def random_block(rng: np.random.Generator) -> Block:
    """Return words about a part: few or many."""
    lines = ["wearer's LEFT · cut 1", "aluminium 1 mm", "outside shown", "Heron Warden · Robin"]
    more = (
        "dish and raise · blank 0.5 % small",
        "turn edges away from the skin",
        "7 blind rivets 3.2 × 6: drill 3.3 mm",
        "Right half laps over the left at the centre.",
    )
    lines += [one for one in more if rng.random() < 0.5]
    title = str(rng.choice(["4  cop", "12  upper-arm sleeve", "31  breast plate, lower lame"]))
    return Block(title, tuple(lines))


def _blank(rng: np.random.Generator) -> Floats:
    """(N, 2) mm, counter-clockwise: a wavy round of any stretch, walked in short steps."""
    angle = np.linspace(0.0, 2.0 * np.pi, 180, endpoint=False)
    radius = np.ones_like(angle)
    for wave in range(2, 6):
        radius += rng.uniform(0.0, 0.3) / wave * np.cos(wave * angle + rng.uniform(0.0, 6.3))
    size = np.exp(rng.uniform(np.log(20.0), np.log(400.0)))
    narrow = rng.uniform(0.12, 1.0)
    points = np.column_stack([radius * np.cos(angle), narrow * radius * np.sin(angle)])
    turn = rng.uniform(0.0, 2.0 * np.pi)
    c, s = np.cos(turn), np.sin(turn)
    return np.asarray(0.5 * size * points @ np.array([[c, s], [-s, c]]))


def _with_marks(rng: np.random.Generator, blank: Floats) -> Part:
    count = int(rng.integers(1, 6))
    corners = np.sort(rng.choice(len(blank), count, replace=False))
    blank = np.roll(blank, -corners[0], axis=0)
    stops = [*(corners - corners[0]), len(blank)]
    closed = np.vstack([blank, blank[:1]])
    lines = [closed[a : b + 1] for a, b in pairwise(stops)]
    allowances = []
    for _ in lines:
        kind, size = _TREATMENTS[int(rng.integers(len(_TREATMENTS)))]
        allowances.append(edge_allowance(EdgeTreatment(kind, size, radius_mm=1.5), 1.0))
    names = [str(rng.choice(_NAMES)) for _ in lines]
    told = [
        f"{name}: {allowance.words}" if allowance.turned else name
        for name, allowance in zip(names, allowances, strict=True)
    ]
    edges = [NamedLine(name, line) for name, line in zip(told, lines, strict=True)]
    cut = cut_outline(
        "part", edges, [max(a.width_mm, 0.0) for a in allowances], [a.turned for a in allowances]
    ).points_mm
    marks, holes, folds = [], [], []
    for name, line, allowance in zip(names, lines, allowances, strict=True):
        share, _, outward = edge_frames(line)
        for number in range(int(rng.integers(0, 5))):
            at = int(rng.integers(1, max(len(line) - 1, 2))) if len(line) > 2 else 0
            crossing = bool(rng.random() < 0.3)
            label = str(rng.choice(_NAMES)) if crossing else str(number + 1)
            marks.append(
                MatchMark(line[at], -outward[at], label, name, crossing, allowance.width_mm)
            )
        if rng.random() < 0.3:
            places = np.linspace(0.1, 0.9, int(rng.integers(2, 9)))
            for place in places:
                at = int(np.argmin(np.abs(share - place)))
                holes.append(Hole(line[at] - 8.0 * outward[at], 3.3))
        folds += [NamedLine(allowance.words, line + f * outward) for f in allowance.folds_mm]
    inner = [
        NamedLine(str(rng.choice(_NAMES)), closed[np.array([a, b])])
        for a, b in rng.integers(0, len(blank), (int(rng.integers(0, 3)), 2))
        if a != b
    ]
    corner = cut.min(axis=0)

    def moved(line: NamedLine) -> NamedLine:
        return NamedLine(line.name, line.points_mm - corner)

    return Part(
        blank - corner,
        cut - corner,
        tuple(moved(edge) for edge in edges),
        tuple(
            moved(edge)
            for edge, allowance in zip(edges, allowances, strict=True)
            if allowance.width_mm > 0 and not allowance.turned
        ),
        tuple(moved(line) for line in inner),
        tuple(
            MatchMark(m.at_mm - corner, m.inward, m.label, m.line, m.crossing, m.outward_mm)
            for m in marks
        ),
        tuple(Hole(hole.centre_mm - corner, hole.diameter_mm) for hole in holes),
        (),
        tuple(moved(fold) for fold in folds),
    )
