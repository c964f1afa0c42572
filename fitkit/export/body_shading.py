"""Seeing a body from one side: rays, soft light, and which lines are in sight."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fitkit.export.rasterised import lit_pixels, nearest_faces
from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import vertex_adjacency

__all__ = ["GROUND_RGB", "BodyView", "LitBody", "view_of"]

GROUND_RGB = (250, 250, 248)
"""The ground of body pictures, 0 to 255."""

_SKY_RAYS = 40
_SKY_REACH_MM = 250.0
_SKY_BLOCK_MM = 8.0
# A line on the form may lie a little inside the body's rendered surface.
_HIDDEN_BEHIND_MM = 4.0
_SKIN = np.array([206.0, 198.0, 188.0])


@dataclass(frozen=True, slots=True)
class BodyView:
    """An orthographic view: pixels per mm and the directions right, up and towards the eye."""

    right: Floats
    up: Floats
    eye: Floats
    low: Floats
    px_per_mm: float
    width_px: int
    height_px: int

    def pixels(self, points: Floats) -> Floats:
        """(N, 2) float px of (N, 3) points, y down."""
        flat = np.stack([points @ self.right, points @ self.up], axis=1) - self.low
        x = flat[:, 0] * self.px_per_mm - 0.5
        y = self.height_px - flat[:, 1] * self.px_per_mm - 0.5
        return np.stack([x, y], axis=1)


def view_of(mesh: TriangleMesh, turn_rad: float, px_per_mm: float) -> BodyView:
    """Return the view from a turn towards the wearer's left; the wearer faces -y, left is +x."""
    eye = np.array([np.sin(turn_rad), -np.cos(turn_rad), 0.0])
    up = np.array([0.0, 0.0, 1.0])
    right = np.cross(up, eye)
    flat = np.stack([mesh.vertices @ right, mesh.vertices @ up], axis=1)
    low, high = flat.min(axis=0), flat.max(axis=0)
    rim = 0.02 * (high[1] - low[1])
    low, high = low - rim, high + rim
    width, height = np.ceil((high - low) * px_per_mm).astype(int)
    return BodyView(right, up, eye, low, px_per_mm, int(width), int(height))


class LitBody:
    """A mesh made ready to be looked at; ``open_sky`` (V,) float 0..1 is found once.

    ``pieces`` (V,) int parts a mesh of several layers, so that one does not darken another.
    """

    def __init__(self, mesh: TriangleMesh, *, pieces: Ints | None = None) -> None:
        import open3d as o3d

        core: Any = o3d.core  # its stubs want more arguments than the library does
        self._tensor = core.Tensor
        self._mesh = mesh
        self._normals = mesh.vertex_normals()
        self._scene = o3d.t.geometry.RaycastingScene()
        self._scene.add_triangles(
            self._tensor(mesh.vertices.astype(np.float32)),
            self._tensor(mesh.faces.astype(np.uint32)),
        )
        self._neighbours = vertex_adjacency(mesh).tocsr()
        self._open_sky = self._found_open_sky(pieces)

    def _rays(self, origins: Floats, directions: Floats) -> Any:
        both = np.concatenate([origins, np.broadcast_to(directions, origins.shape)], axis=-1)
        return self._tensor(both.astype(np.float32))

    def _found_open_sky(self, pieces: Ints | None) -> Floats:
        """(V,) float 0..1: how much of the half space above each vertex is free of the body."""
        # It changes slowly over the body: one place stands for its neighbourhood.
        blocks = np.floor(self._mesh.vertices / _SKY_BLOCK_MM).astype(np.int64)
        if pieces is not None:
            blocks = np.column_stack([blocks, pieces])
        _, chosen, block = np.unique(blocks, axis=0, return_index=True, return_inverse=True)
        normals, places = self._normals[chosen], self._mesh.vertices[chosen]
        # directions spread evenly over the sphere (golden-angle spiral), the same on every run
        i = np.arange(_SKY_RAYS) + 0.5
        z = 1.0 - 2.0 * i / _SKY_RAYS
        turn = np.pi * (1.0 + 5.0**0.5) * i
        ring = np.sqrt(1.0 - z * z)
        directions = np.stack([ring * np.cos(turn), ring * np.sin(turn), z], axis=1)
        start = places + normals * 2.0
        free, weight = np.zeros(len(start)), np.zeros(len(start))
        for direction in directions:
            facing = normals @ direction
            direction = np.where(facing[:, None] < 0, -direction, direction)
            facing = np.abs(facing)
            hit = self._scene.test_occlusions(
                self._rays(start, direction), tfar=_SKY_REACH_MM
            ).numpy()
            free += np.where(hit, 0.0, facing)
            weight += facing
        share = (free / np.maximum(weight, 1e-9))[block.ravel()]
        # The mean over the neighbours, three times, so that no block shows.
        degree = np.maximum(np.asarray(self._neighbours.sum(axis=1)).ravel(), 1.0)
        for _ in range(3):
            share = 0.5 * share + 0.5 * (self._neighbours @ share) / degree
        smooth: Floats = share
        return smooth

    def shaded(self, view: BodyView, face_inks: Floats | None = None) -> Any:
        """Return the body as a Pillow image, lit from above the viewer's left, edges darkened.

        ``face_inks`` (F, 3) float 0..255, NaN where the body's own colour stays.
        """
        from PIL import Image

        inks = np.broadcast_to(_SKIN, (len(self._mesh.faces), 3)).copy()
        if face_inks is not None:
            known = np.isfinite(face_inks).all(axis=1)
            inks[known] = face_inks[known]
        eye = np.column_stack([view.right, view.up, view.eye])
        lamps = np.array([[-0.55, 0.65, 0.75], [0.9, 0.1, 0.35]])
        lamps /= np.linalg.norm(lamps, axis=1, keepdims=True)
        places = view.pixels(self._mesh.vertices)
        face, nearness = nearest_faces(
            places,
            self._mesh.vertices @ view.eye,
            self._mesh.faces,
            view.height_px,
            view.width_px,
        )
        picture = lit_pixels(
            face,
            nearness,
            places,
            self._mesh.faces,
            self._normals @ eye,
            self._open_sky,
            inks,
            np.column_stack([lamps, [0.62, 0.16]]),
            np.array(GROUND_RGB, dtype=np.float64),
        )
        return Image.fromarray(picture)

    def in_sight(self, points: Floats, view: BodyView) -> Bools:
        """(N,) bool: which points on the body nothing hides from the eye."""
        hidden = self._scene.test_occlusions(
            self._rays(points + view.eye * _HIDDEN_BEHIND_MM, view.eye)
        ).numpy()
        seen: Bools = ~hidden
        return seen

    def runs_in_sight(self, points: Floats, view: BodyView) -> list[Floats]:
        """Return stretches (N, 2) px of a line that nothing hides."""
        lengths = np.linalg.norm(np.diff(points, axis=0), axis=1)
        along = np.concatenate([[0.0], np.cumsum(lengths)])
        if along[-1] <= 0:
            return []
        # about one sample a pixel
        at = np.linspace(0.0, along[-1], max(int(along[-1] * view.px_per_mm), 2) + 1)
        dense = np.stack([np.interp(at, along, points[:, i]) for i in range(3)], axis=1)
        flat = view.pixels(dense)
        runs: list[Floats] = []
        shown = np.flatnonzero(self.in_sight(dense, view))
        for run in np.split(shown, np.flatnonzero(np.diff(shown) > 1) + 1):
            if len(run) >= 3:
                runs.append(flat[run])
        return runs
