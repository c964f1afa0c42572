"""Disks with a first flat map, for tests of relief cuts."""

from __future__ import annotations

import numpy as np

from fitkit.flatten.conformal_start import conformal_start
from fitkit.flatten.slit_disk import FlatDisk, StraightCut
from fitkit.flatten.symmetric_dirichlet import minimise_symmetric_dirichlet
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import boundary_loops


def flat_disk(mesh: TriangleMesh) -> FlatDisk:
    """Lay a disk flat about the middle of its border."""
    ring = boundary_loops(mesh)[0]
    flat = minimise_symmetric_dirichlet(mesh, conformal_start(mesh, ring), tolerance=0.01).flat_mm
    return FlatDisk(mesh, flat - flat[ring].mean(axis=0), ring)


def radial(disk: FlatDisk, angle: float, tip_share: float) -> StraightCut:
    """Cut from the border towards the middle, up to a share of the radius there."""
    way = np.array([np.cos(angle), np.sin(angle)])
    reach = float((disk.flat_mm[disk.ring] @ way).max())
    return StraightCut(reach * way, tip_share * reach * way)
