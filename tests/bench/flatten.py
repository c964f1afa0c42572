"""How flat our blanks lie and what they cost, beside libigl's LSCM, ARAP and SLIM.

``python -m tests.bench.flatten`` prints three tables: spherical caps against the best possible
map, plates and round pieces of a standing body, and one large mesh. The distortion is lr, the log
of the largest singular value over the smallest; times are CPU seconds on the very same meshes in
one run. Name tables (``caps``, ``bodies``, ``large``) to run those alone.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from functools import partial

import numpy as np

from fitkit.flatten.conformal_start import conformal_start
from fitkit.flatten.flatten_patch import flatten_patch
from fitkit.flatten.minimax import log_ratio, minimise_largest_strain
from fitkit.flatten.symmetric_dirichlet import (
    minimise_symmetric_dirichlet,
    symmetric_dirichlet_energy,
)
from fitkit.geometry.arrays import Floats
from fitkit.geometry.mesh import TriangleMesh
from tests.references.flat_maps import arap_map, lscm_map, slim_map
from tests.truth import solids
from tests.truth.body_patches import BODY_PATCHES, body_patch, round_patch

Map = Callable[[TriangleMesh], Floats]


def dirichlet_map(mesh: TriangleMesh) -> Floats:
    start = conformal_start(mesh, solids.border_rounds(mesh)[0])
    return minimise_symmetric_dirichlet(mesh, start).flat_mm


def minimax_map(mesh: TriangleMesh) -> Floats:
    start = conformal_start(mesh, solids.border_rounds(mesh)[0])
    even = minimise_symmetric_dirichlet(mesh, start, tolerance=0.1)
    return minimise_largest_strain(mesh, even.flat_mm).flat_mm


MAPS: dict[str, Map] = {
    "LSCM": lscm_map,
    "ARAP": arap_map,
    "SLIM": slim_map,
    "sym. Dirichlet": dirichlet_map,
    "minimax": minimax_map,
}


def cap_of(half_angle: float, triangles: int) -> TriangleMesh:
    area = 2.0 * np.pi * 100.0**2 * (1.0 - np.cos(half_angle))
    edge_mm = float(np.sqrt(area / (1.15 * triangles) * 4.0 / np.sqrt(3.0)))
    return solids.spherical_cap(100.0, half_angle, edge_mm)


def timed(method: Map, mesh: TriangleMesh) -> tuple[Floats, float]:
    begin = time.process_time()
    flat = method(mesh)
    return flat, time.process_time() - begin


def caps() -> None:
    """Print lr over Milnor's bound (1969) for caps of about 5 k triangles, and the cost."""
    print("spherical caps, lr over log(a / sin a); CPU s")
    for degrees in (20, 40, 60, 80):
        alpha = np.radians(degrees)
        mesh = cap_of(alpha, 5000)
        bound = np.log(alpha / np.sin(alpha))
        cells = []
        for name, method in MAPS.items():
            flat, seconds = timed(method, mesh)
            cells.append(f"{name} {log_ratio(mesh, flat) / bound:.4f} {seconds:.2f}")
        print(f"  {degrees} deg, {len(mesh.faces)}: " + " | ".join(cells))


def bodies() -> None:
    """Print lr of body pieces on the triangles that flattening gives them."""
    print("body pieces, lr; CPU s; root mean square strain of minimax over symmetric Dirichlet")
    for place in BODY_PATCHES:
        compare(f"{place}, a maker's plate", body_patch(place))
        if round_patch(place) is not body_patch(place):
            compare(f"{place}, round", round_patch(place))


def compare(name: str, piece: TriangleMesh) -> None:
    begin = time.process_time()
    mesh = flatten_patch(solids.patch_of(piece, material="aluminium 1100-O")).form
    whole = time.process_time() - begin
    reached = {way: timed(method, mesh) for way, method in MAPS.items()}
    cells = [f"{way} {log_ratio(mesh, flat):.4f} {s:.2f}" for way, (flat, s) in reached.items()]
    energies = [
        symmetric_dirichlet_energy(mesh, reached[way][0]) for way in ("minimax", "sym. Dirichlet")
    ]
    ratio = log_ratio(mesh, reached["minimax"][0]) / log_ratio(mesh, reached["sym. Dirichlet"][0])
    print(f"  {name}, {len(mesh.faces)}: " + " | ".join(cells))
    print(
        f"    lr ratio {ratio:.2f}, mean strain x {np.sqrt(energies[0] / energies[1]):.2f}, "
        f"whole step {whole:.2f} s"
    )


def large() -> None:
    """Print the cost of 100 k triangles: each map by itself, and the step with its remeshing.

    SLIM is cut off after 3 of its 40 rounds, which take it minutes here; its lr is not its best.
    """
    mesh = cap_of(np.radians(60), 100_000)
    print(f"one cap of {len(mesh.faces)} triangles, CPU s; SLIM cut off after 3 of 40 rounds")
    for name, method in {**MAPS, "SLIM": partial(slim_map, rounds=3)}.items():
        flat, seconds = timed(method, mesh)
        print(f"  {name}: lr {log_ratio(mesh, flat):.4f}, {seconds:.1f} s")
    begin = time.process_time()
    flatten_patch(solids.patch_of(mesh, material="aluminium"))
    print(f"  the whole step: {time.process_time() - begin:.1f} s")


if __name__ == "__main__":
    minimax_map(cap_of(0.5, 500))  # compiles
    for table in (caps, bodies, large):
        if not sys.argv[1:] or table.__name__ in sys.argv[1:]:
            table()
