"""Upright and lying photos of one lens, brought to the axes of the sensor for the adjustment.

A phone turned on its side keeps its lens. Seen in the upright pictures the lens is turned too, and
a single lying photo among upright ones could not settle one of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.photo import Photo
from fitkit.capture.sheet_view import SheetView
from fitkit.geometry.arrays import Floats
from fitkit.geometry.rigid import RigidTransform

__all__ = ["in_sensor_axes", "upright_camera"]

# A direction (right, down) of a picture that was turned clockwise to stand upright, in the
# picture before.
_BACK = np.array([[0.0, 1.0], [-1.0, 0.0]])


def in_sensor_axes(
    photos: Sequence[Photo], views: Sequence[SheetView]
) -> tuple[tuple[Photo, ...], tuple[SheetView, ...]]:
    """Return photos and what was measured in them as the sensor lay.

    Only photos of lenses whose photos were turned differently are touched; the others stay
    upright, with no quarter turns to their name.
    """
    turns: dict[str, set[int]] = {}
    for photo in photos:
        turns.setdefault(photo.lens_key, set()).add(photo.quarter_turns)
    mixed = {key for key, found in turns.items() if len(found) > 1}
    turned = tuple(
        replace(photo, grey=np.rot90(photo.grey, photo.quarter_turns))
        if photo.lens_key in mixed
        else replace(photo, quarter_turns=0)
        for photo in photos
    )
    return turned, tuple(_turned_view(view, photos[view.photo], turned) for view in views)


def upright_camera(camera: Camera, quarter_turns: int) -> Camera:
    """Return the camera of the photo as it stands after its quarter turns clockwise."""
    lens, pose = camera.lens, camera.camera_from_world
    for _ in range(quarter_turns):
        lens = Lens(
            lens.height_px,
            lens.width_px,
            lens.focal_px,
            lens.height_px - 1 - lens.centre_y_px,
            lens.centre_x_px,
            lens.k1,
            lens.k2,
            lens.p2,
            -lens.p1,
        )
    turn = np.eye(3)
    turn[:2, :2] = np.linalg.matrix_power(_BACK, quarter_turns).T
    return Camera(camera.photo, lens, RigidTransform(turn, np.zeros(3)) @ pose)


def _turned_view(view: SheetView, upright: Photo, turned: Sequence[Photo]) -> SheetView:
    count = turned[view.photo].quarter_turns
    if count == 0:
        return view
    size = np.array([upright.width_px, upright.height_px], dtype=np.float64)
    back = np.linalg.matrix_power(_BACK, count)
    # About the middle of the picture; the middle of the turned one lies elsewhere.
    middle, middle_back = (size - 1) / 2, ((size if count % 2 == 0 else size[::-1]) - 1) / 2

    def places(pixels_px: Floats) -> Floats:
        moved: Floats = (pixels_px - middle) @ back.T + middle_back
        return moved

    edges = replace(
        view.edges,
        pixels_px=places(view.edges.pixels_px),
        outward=view.edges.outward @ back.T,
        corners_px=places(view.edges.corners_px),
    )
    saddles = replace(view.saddles, pixels_px=places(view.saddles.pixels_px))
    return replace(view, edges=edges, saddles=saddles)
