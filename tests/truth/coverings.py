"""What a body can wear in the studio: prints of less and less contrast, plain cloth, lacquer.

The names say how much the photos have to go by. ``busy``, ``mid`` and ``low`` are one print
whose grey levels deviate by about 7.7, 3.9 and 1.9 in windows of 13 px, noise taken off;
``crosses`` is plain cloth with crosses of tape about 150 mm apart; ``glossy`` is a pale
mannequin as it comes, in which the lamps shine.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from tests.truth.studio import Look, Part
from tests.truth.texture import Material

__all__ = ["COVERINGS", "Covering", "covering"]

COVERINGS = ("busy", "mid", "low", "crosses", "glossy")

_CONTRAST = {"busy": 1.0, "mid": 0.43, "low": 0.195}
_CROSS_GAP_MM = 150.0
# Refractive index 1.5, as clear lacquers have (Fresnel: ((n - 1) / (n + 1))^2).
_LACQUER = 0.04


@dataclass(frozen=True, slots=True)
class Covering:
    """One way to dress a body; the seed moves the print or the crosses."""

    kind: str
    seed: int

    def on(self, mesh: TriangleMesh, *, cap_above_mm: float = np.inf) -> Part:
        """Return a body so dressed.

        Parameters
        ----------
        mesh
            Closed, outward wound, mm.
        cap_above_mm
            Height above which the neck is a wooden cap.
        """
        if self.kind == "glossy":
            return Part(mesh, Material.PALE, Look(gloss=_LACQUER, cap_above_mm=cap_above_mm))
        rng = np.random.default_rng([self.seed, COVERINGS.index(self.kind)])
        if self.kind == "crosses":
            crosses = _crosses(mesh, rng)
            return Part(
                mesh, Material.PLAIN_CLOTH, Look(crosses=crosses, cap_above_mm=cap_above_mm)
            )
        # Whole cells of the print's noise lie within 4096 of its origin; stay well inside.
        shift = rng.uniform(-1500.0, 1500.0, 3) if self.seed else np.zeros(3)
        look = Look((shift[0], shift[1], shift[2]), _CONTRAST[self.kind], 0.0, cap_above_mm)
        return Part(mesh, Material.COVERING, look)


def covering(kind: str, seed: int = 0) -> Covering:
    """Return a covering by its name; seed 0 of ``busy`` is the sample's own cloth.

    Raises
    ------
    ValueError
        When there is no such kind.
    """
    if kind not in COVERINGS:
        raise ValueError(f"There is no covering {kind}; choose from {', '.join(COVERINGS)}.")
    return Covering(kind, seed)


def _crosses(mesh: TriangleMesh, rng: np.random.Generator) -> Floats:
    """(K, 12) float: middles and axes of crosses that leave no place farther than the gap."""
    places, normals = mesh.vertices, mesh.vertex_normals()
    chosen = [int(rng.integers(len(places)))]
    away = np.linalg.norm(places - places[chosen[0]], axis=1)
    while away.max() > 0.75 * _CROSS_GAP_MM:
        # A hand does not measure: any of the places that are still bare.
        bare = np.flatnonzero(away > 0.75 * _CROSS_GAP_MM)
        chosen.append(int(rng.choice(bare)))
        away = np.minimum(away, np.linalg.norm(places - places[chosen[-1]], axis=1))
    rows = []
    for index in chosen:
        normal = normals[index]
        along = np.cross(normal, rng.normal(0.0, 1.0, 3))
        along /= np.linalg.norm(along)
        rows.append([*places[index], *along, *np.cross(normal, along), *normal])
    return np.array(rows)
