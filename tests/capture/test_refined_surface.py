"""What photos and cloud leave open goes on as its surroundings do."""

from __future__ import annotations

import cv2
import numpy as np
from scipy.spatial import cKDTree

from fitkit.capture.camera import Camera
from fitkit.capture.closed_surface import mesh_of_grid
from fitkit.capture.outline_moves import Outlines
from fitkit.capture.photo_patches import stack_photos
from fitkit.capture.point_cloud import PointCloud, to_like_points_mm
from fitkit.capture.refined_surface import refined_surface
from fitkit.capture.signed_grid import SignedGrid
from fitkit.geometry.arrays import Bytes, Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_scene import MeshScene
from tests.truth.camera_walk import camera_at, phone_lens

# Two posts that meet at a height and lean apart below it, as arm and trunk do.
_POST_MM, _MEET_MM, _LEAN, _END_MM = 50.0, 15.0, 0.5, 150.0


def _aside_mm(places_mm: Floats, meet_mm: float) -> Floats:
    """How far from the middle of the nearer post, below 0 towards the other."""
    lean = _LEAN * np.maximum(meet_mm - places_mm[..., 2], 0.0)
    return np.asarray(np.abs(places_mm[..., 0]) - _POST_MM - lean)


def _posts(meet_mm: float, cell_mm: float) -> TriangleMesh:
    reach = np.array([2.0 * _POST_MM + _LEAN * (_MEET_MM + _END_MM), _POST_MM, _END_MM])
    low = -reach - 4 * cell_mm
    axes = [np.arange(start, -start, cell_mm) for start in low]
    nodes = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    depth = _POST_MM - np.hypot(_aside_mm(nodes, meet_mm), nodes[..., 1])
    depth = np.minimum(depth, _END_MM - np.abs(nodes[..., 2]))
    return mesh_of_grid(SignedGrid(depth.astype(np.float32), low, cell_mm))


def _cameras() -> list[Camera]:
    """Two that look through the gap at a slant, one from either side."""
    lens = phone_lens(480, 640)
    ways = np.radians([-100.0, 80.0])
    return [
        camera_at(
            f"{k}.jpg",
            lens,
            centre_mm=np.array([900.0 * np.cos(way), 900.0 * np.sin(way), 100.0]),
            target_mm=np.zeros(3),
        )
        for k, way in enumerate(ways)
    ]


def _outline(mesh: TriangleMesh, camera: Camera) -> Bytes:
    """Photograph the body, light before a dark room."""
    lens = camera.lens
    rows, columns = np.mgrid[: lens.height_px, : lens.width_px]
    places = np.column_stack([columns.ravel(), rows.ravel()]).astype(np.float64)
    even = cv2.undistortPoints(
        places.reshape(-1, 1, 2), lens.matrix(), np.asarray(lens.distortion())
    ).reshape(-1, 2)
    ways = np.column_stack([even, np.ones(len(even))]) @ camera.camera_from_world.rotation
    met = MeshScene(mesh).met_mm(np.broadcast_to(camera.centre_mm(), ways.shape), ways)
    body = np.isfinite(met).reshape(rows.shape)
    return np.where(body, 200, 40).astype(np.uint8)


def _web_mm(mesh: TriangleMesh) -> float:
    """How high the web between the posts ends half-way through the gap."""
    middle = (np.abs(mesh.vertices[:, 0]) < 3.0) & (np.abs(mesh.vertices[:, 1]) < 15.0)
    middle &= np.abs(mesh.vertices[:, 2]) < 0.8 * _END_MM
    return float(mesh.vertices[middle, 2].min())


def test_a_web_between_arm_and_trunk_does_not_creep_along_the_gap() -> None:
    """It starts 4 mm too low; a soap film, held by two photos' rims, would end lower still."""
    truth = _posts(_MEET_MM, 3.0)
    cameras = _cameras()
    pictures = [_outline(truth, camera) for camera in cameras]
    stack = stack_photos(cameras, [np.full_like(picture, 128) for picture in pictures])
    inner = _aside_mm(truth.vertices, _MEET_MM) < 0.0
    known = ~inner | (np.abs(truth.vertices[:, 1]) > 30.0)
    cloud = PointCloud(truth.vertices[known], truth.vertex_normals()[known])
    near = cKDTree(cloud.points_mm)
    start = _posts(_MEET_MM - 4.0, 7.0)
    refined = refined_surface(
        start,
        cameras,
        (stack, stack),
        lambda mesh: to_like_points_mm(mesh, cloud, near),
        scale=1.0,
        outlines=Outlines(pictures, -1000.0, None),
        say=lambda _: None,
    )
    assert _web_mm(start) < _web_mm(refined) < _MEET_MM
