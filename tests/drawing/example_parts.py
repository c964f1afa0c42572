"""Parts of the Heron Warden's costume, made of smooth round outlines."""

from __future__ import annotations

import numpy as np

from fitkit.drawing.drawing import Drawing, Hole, Layer, Stroke, Words
from fitkit.geometry.arrays import Floats

WEARER = "Zoë Łukasz Ωmega"


def round_outline(width_mm: float, height_mm: float, *, points: int, waves: float) -> Floats:
    """(N, 2) float mm: a wavy closed line of exactly that width and height from the origin."""
    t = np.linspace(0.0, 2.0 * np.pi, points, endpoint=False)
    radius = 1.0 + 0.12 * np.cos(3.0 * t + waves) + 0.05 * np.sin(5.0 * t)
    outline = np.stack([radius * np.cos(t), radius * np.sin(t)], axis=1)
    outline -= outline.min(axis=0)
    return outline / outline.max(axis=0) * [width_mm, height_mm]


def plate(
    name: str, width_mm: float, height_mm: float, *, points: int = 240, waves: float = 0.0
) -> Drawing:
    """Return a plate with its edge inside a lap, rivet holes, level and grain line and words."""
    cut = round_outline(width_mm, height_mm, points=points, waves=waves)
    middle = cut.mean(axis=0)
    edge = (cut - middle) * 0.9 + middle
    right, up = np.array([0.3 * width_mm, 0.0]), np.array([0.0, 0.3 * height_mm])
    words_at = middle - right + 4.0
    return Drawing(
        name,
        strokes=(
            Stroke(cut, Layer.CUT, closed=True),
            Stroke(edge, Layer.EDGE, closed=True),
            Stroke(np.array([middle - up, middle + up]), Layer.GRAIN),
            Stroke(np.array([middle - right, middle + right]), Layer.MARK),
        ),
        holes=tuple(Hole(at, 3.2) for at in edge[:: max(points // 8, 1)]),
        words=(
            Words(name, words_at, min(5.0, width_mm / 24)),
            Words(f"for {WEARER}", words_at - np.array([0.0, 12.0]), min(3.5, width_mm / 40)),
        ),
    )


def costume() -> tuple[Drawing, ...]:
    """One part that needs tiles, and four that fit a page."""
    return (
        plate("breastplate, front", 420.0, 480.0),
        plate("shoulder cap, left", 180.0, 150.0, waves=1.0),
        plate("shoulder cap, right", 180.0, 150.0, waves=2.0),
        plate("knee", 90.0, 120.0, waves=3.0),
        plate("elbow", 80.0, 70.0, waves=4.0),
    )
