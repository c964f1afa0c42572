"""One closed surface from an oriented cloud: screened Poisson, carved, cut and re-meshed."""

from __future__ import annotations

from typing import Any

import numpy as np
import open3d as o3d
from scipy.ndimage import gaussian_filter
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from skimage.measure import marching_cubes

from fitkit.capture.point_cloud import PointCloud
from fitkit.capture.scan import CaptureVolume
from fitkit.capture.signed_grid import GridValues, SignedGrid, upsampled
from fitkit.errors import PhotoError
from fitkit.geometry.arrays import Bools
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["carving_field", "cut_to_volume", "mesh_of_grid", "poisson_surface"]


def poisson_surface(cloud: PointCloud, *, cell_mm: float) -> TriangleMesh:
    """Return the screened Poisson surface of a cloud.

    References
    ----------
    Kazhdan and Hoppe 2013, Screened Poisson surface reconstruction,
    doi:10.1145/2487228.2487237.
    """
    points = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(cloud.points_mm))
    points.normals = o3d.utility.Vector3dVector(cloud.normals)
    side = 1.1 * float(np.ptp(cloud.points_mm, axis=0).max())
    depth = int(np.clip(np.ceil(np.log2(side / cell_mm)), 5, 9))
    # One thread: the order of sums, and with it the last digits, would else differ each time.
    with o3d.utility.VerbosityContextManager(o3d.utility.VerbosityLevel.Error):
        mesh, _ = o3d.geometry.TriangleMesh.create_from_point_cloud_poisson(
            points, depth=depth, n_threads=1
        )
    return _largest_part(TriangleMesh(np.asarray(mesh.vertices), np.asarray(mesh.triangles)))


def cut_to_volume(
    grid: SignedGrid, volume: CaptureVolume, *, carved: GridValues | None
) -> SignedGrid:
    """Return the grid of the part inside the column and outside the carved places.

    Parameters
    ----------
    grid
        Signed distances.
    volume
        The column; the surface ends flat at its bottom.
    carved
        (X, Y, Z) float mm on the same nodes, negative in free space; or None.
    """
    x, y, z = (grid.nodes_mm(axis) for axis in range(3))
    radial = volume.radius_mm - np.hypot(
        x[:, None] - volume.centre_x_mm, y[None, :] - volume.centre_y_mm
    )
    upright = np.minimum(z - volume.bottom_mm, volume.top_mm - z)
    values = np.minimum(grid.values_mm, radial[:, :, None].astype(np.float32))
    if carved is not None:
        values = np.minimum(values, carved.astype(np.float32))
    values = np.minimum(values, upright[None, None, :].astype(np.float32))
    return SignedGrid(values, grid.low_mm, grid.cell_mm)


def carving_field(free: Bools, *, step: int, cell_mm: float) -> GridValues:
    """Return a field on a fine grid, negative where free: a smoothed, upsampled mask.

    Parameters
    ----------
    free
        (A, B, C) bool on every ``step``-th node of the fine grid.
    step
        Fine nodes per coarse node.
    cell_mm
        Of the fine grid.
    """
    field: GridValues = np.float32(2 * step * cell_mm) * (
        np.float32(0.5) - gaussian_filter(free.astype(np.float32), 1.0)
    )
    for axis in range(3):
        field = upsampled(field, axis, step)
    return field


def mesh_of_grid(grid: SignedGrid) -> TriangleMesh:
    """Return the largest closed piece of the zero level, wound outward.

    Raises
    ------
    PhotoError
        When nothing is left.
    """
    values = np.pad(grid.values_mm, 1, constant_values=-grid.cell_mm)
    # A node exactly on the surface would give triangles without area.
    least = np.float32(1e-3 * grid.cell_mm)
    values[np.abs(values) < least] = -least
    if values.max() <= 0:
        raise PhotoError(
            "Nothing of the surface lies in the capture volume.",
            "Check the bottom height and the radius of the capture volume.",
        )
    extract: Any = marching_cubes
    places, faces, _, _ = extract(values, 0.0)
    vertices = (places - 1.0) * grid.cell_mm + grid.low_mm
    mesh = TriangleMesh(vertices, faces)
    if mesh.volume_mm3() < 0:
        mesh = TriangleMesh(vertices, faces[:, ::-1])
    return _largest_part(mesh)


def _largest_part(mesh: TriangleMesh) -> TriangleMesh:
    """Return the connected piece that encloses most."""
    count = len(mesh.vertices)
    edge = np.vstack([mesh.faces[:, :2], mesh.faces[:, 1:]])
    graph = coo_matrix((np.ones(len(edge)), (edge[:, 0], edge[:, 1])), shape=(count, count))
    _, label = connected_components(graph, directed=False)
    of_face = label[mesh.faces[:, 0]]
    a, b, c = np.moveaxis(mesh.corners, 1, 0)
    enclosed = np.bincount(of_face, np.einsum("fi,fi->f", a, np.cross(b, c)) / 6.0)
    return mesh.faces_only(of_face == int(np.argmax(np.abs(enclosed))))[0]
