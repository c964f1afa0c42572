"""Whether a hand or a driver gets at a fastening on the worn, closed costume."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.nearest import rays_of
from fitkit.holding.worn_sheet import WornSheet

__all__ = ["Reached", "Tool", "reach", "reach_finding"]

Tool: TypeAlias = Literal["hand", "driver"]


@dataclass(frozen=True, slots=True)
class _Way:
    """What a tool wants: how far off square it may come, how thick it is, how much way it needs."""

    lean_rad: float
    radius_mm: float
    length_mm: float


# A hand with fingers ahead, a short screwdriver with the fist on it; common practice, no source.
_WAYS: dict[Tool, _Way] = {
    "hand": _Way(np.radians(65.0), 35.0, 160.0),
    "driver": _Way(np.radians(10.0), 12.0, 160.0),
}
_DIRECTIONS, _BUNDLE = 60, 8
_OFF_MM = 4.0


@dataclass(frozen=True, slots=True)
class Reached:
    """Of the ways tried, the share that is free, and which plate is oftenest in the way of others.

    ``blocked_by`` is empty where nothing is.
    """

    free_share: float
    blocked_by: str = ""


def reach(at_mm: Floats, outward: Floats, tool: Tool, others: Sequence[WornSheet]) -> Reached:
    """Return how free the ways to a place are.

    Parameters
    ----------
    at_mm, outward
        (3,) float mm and unit: the place on the outside of its plate, and the plate's normal.
    others
        The plates that may be in the way.

    Notes
    -----
    Ways lie evenly in a cone about the normal. Each is a bundle of rays as thick as the tool; it is
    free when none of them meets a plate on its length.
    """
    if not others:
        return Reached(1.0)
    way = _WAYS[tool]
    starts, ahead = _bundles(at_mm, outward, way)
    starts_flat, ahead_flat = starts.reshape(-1, 3), ahead.reshape(-1, 3)
    hit = np.zeros((len(others), len(starts_flat)), dtype=np.bool_)
    for k, sheet in enumerate(others):
        met = rays_of(sheet.mesh).first_hit(starts_flat, ahead_flat)
        hit[k] = met.distance_mm < way.length_mm
    blocked: Bools = np.asarray(hit.reshape(len(others), _DIRECTIONS, -1).any(axis=2))
    free = np.logical_not(blocked.any(axis=0))
    worst = int(blocked.sum(axis=1).argmax())
    return Reached(float(free.mean()), others[worst].patch if blocked[worst].any() else "")


def reach_finding(name: str, tool: Tool, reached: Reached) -> Finding | None:
    """Return what is wrong where no way is free."""
    if reached.free_share > 0.0:
        return None
    what = "No hand" if tool == "hand" else "No driver"
    return Finding(
        "fastening-out-of-reach",
        Severity.WARNING,
        name,
        f"{what} gets at '{name}' on the worn costume: '{reached.blocked_by}' is in the way.",
        "Move it, close it before that plate is put on and write so in its note, or fasten that "
        "plate later.",
        number=0.0,
    )


def _bundles(at_mm: Floats, outward: Floats, way: _Way) -> tuple[Floats, Floats]:
    """Return starts and directions, (D, B, 3) each, of bundles of rays in a cone."""
    k = np.arange(_DIRECTIONS, dtype=np.float64)
    cosine = 1.0 - (1.0 - np.cos(way.lean_rad)) * (k + 0.5) / _DIRECTIONS
    turn = np.pi * (1.0 + np.sqrt(5.0)) * k
    sine = np.sqrt(1.0 - cosine**2)
    aside, across = _square(outward)
    ahead = (
        cosine[:, None] * outward
        + (sine * np.cos(turn))[:, None] * aside
        + (sine * np.sin(turn))[:, None] * across
    )
    round_ = 2.0 * np.pi * np.arange(_BUNDLE) / _BUNDLE
    starts = np.empty((_DIRECTIONS, _BUNDLE + 1, 3))
    for row, one in enumerate(ahead):
        u, v = _square(one)
        # A leaning bundle starts so much higher that its lower side clears the plate itself.
        foot = at_mm + (_OFF_MM + way.radius_mm * float(sine[row])) * outward
        starts[row, 0] = foot
        starts[row, 1:] = foot + way.radius_mm * (
            np.cos(round_)[:, None] * u + np.sin(round_)[:, None] * v
        )
    return starts, np.repeat(ahead[:, None], _BUNDLE + 1, axis=1)


def _square(way: Floats) -> tuple[Floats, Floats]:
    """Return two unit directions square to one and to each other."""
    other = np.eye(3)[int(np.abs(way).argmin())]
    aside = np.cross(way, other)
    aside /= np.linalg.norm(aside)
    return aside, np.cross(way, aside)
