"""Gaps that a start surface spans although photos look through them.

Between arm and trunk stereo is blind: the room shows in a strip too narrow to match. A surface
through the cloud then spans the gap. Wherever it spans a hole in the cloud, the photos are asked by
colour: near by are pixels that surely show body and pixels that surely show the room.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from fitkit.capture.camera import Camera
from fitkit.capture.signed_grid import SignedGrid
from fitkit.capture.silhouette import reduced_colour, silhouette
from fitkit.capture.visual_hull import hull_grid
from fitkit.geometry.arrays import Bools, Bytes, Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_scene import MeshScene, tensor

__all__ = ["held_amid_held", "open_gaps", "spanned_areas"]

_LONGEST_PX = 672
_LEAST_MM2 = 50.0
# A pattern leaves some ten to forty areas; a plain body many more, each of which costs time.
_MOST_AREAS = 40
_ASIDE_PX = 36
_DOUBT_PX, _OUTSIDE_PX = 2, 3
# Photos that may be wrong about a place: colours deceive one, seldom two the same way.
_SPARE = 1


def spanned_areas(
    surface: TriangleMesh, distance_mm: Floats, *, bottom_mm: float, scale: float, far_mm: float
) -> list[Bools]:
    """Return the faces, (F,) bool each, of the connected areas that span holes of the cloud.

    The largest come first; what there is beyond forty is left out.

    Parameters
    ----------
    surface
        Closed.
    distance_mm
        (V,) float mm: from each vertex to the nearest point of the cloud.
    bottom_mm
        Height below which the surface is cut off later.
    scale
        Size of the subject's detail against that of a body; areas below half a square
        centimetre times its square are left out.
    far_mm
        Vertices farther than this from the cloud span a hole.
    """
    bare = (distance_mm > far_mm) & (surface.vertices[:, 2] > bottom_mm)
    faces = np.flatnonzero(bare[surface.faces].all(axis=1))
    corners = surface.faces[faces]
    edges = np.vstack([corners[:, :2], corners[:, 1:]])
    count = len(surface.vertices)
    graph = coo_matrix((np.ones(len(edges)), (edges[:, 0], edges[:, 1])), shape=(count, count))
    _, label = connected_components(graph, directed=False)
    of_face = label[corners[:, 0]]
    size = np.bincount(of_face, surface.face_areas_mm2()[faces], minlength=1)
    areas = []
    large = np.flatnonzero(size > _LEAST_MM2 * scale**2)
    for part in large[np.argsort(-size[large], kind="stable")][:_MOST_AREAS]:
        chosen = np.zeros(len(surface.faces), dtype=np.bool_)
        chosen[faces[of_face == part]] = True
        areas.append(chosen)
    return areas


def held_amid_held(surface: TriangleMesh, near: Bools) -> Bools:
    """(F,) bool: faces whose vertices, (V,) bool, are near the cloud with all faces round them.

    At the narrow end of a gap the rim of its sides is near the cloud, and in the way of rays.
    """
    whole = np.all(near[surface.faces], axis=1)
    inner = np.ones(len(surface.vertices), dtype=np.bool_)
    inner[surface.faces[~whole]] = False
    return np.asarray(inner[surface.faces].all(axis=1))


def open_gaps(
    grid: SignedGrid,
    surface: TriangleMesh,
    areas: Sequence[Bools],
    held: Bools,
    pictures: Sequence[Bytes],
    cameras: Sequence[Camera],
    *,
    say: Callable[[float], None],
) -> SignedGrid:
    """Return the grid without what at least two photos show as room.

    A photo can show the room only where its ray meets nothing behind the area that stereo holds:
    what looks like the room on an arm's inner side, whose outer side is known, is the arm.

    Parameters
    ----------
    grid
        Signed distances of the surface.
    surface
        The zero level of the grid.
    areas
        Of :func:`spanned_areas`; only pixels that show one of them are judged.
    held
        (F,) bool: faces that are known to be there.
    pictures, cameras
        (h, w, 3) or (h, w) uint8, of any size, in the same order.
    say
        Told the fraction done.
    """
    scene = MeshScene(surface)
    unsure: Bools = np.any(np.stack(areas), axis=0)
    outlines = []
    for index, (picture, camera) in enumerate(zip(pictures, cameras, strict=True)):
        colour = reduced_colour(picture, _LONGEST_PX)
        outline = np.ones(colour.shape[:2], dtype=np.bool_)
        for area in areas:
            box = _box_px(surface.vertices[np.unique(surface.faces[area])], camera, colour.shape)
            if box is not None:
                outline[box] &= _not_room(colour, box, camera, scene, area, unsure, held)
        outlines.append(outline)
        say((index + 1) / len(cameras))
    told = [k for k, outline in enumerate(outlines) if not outline.all()]
    if len(told) <= _SPARE:
        return grid
    places = surface.vertices[np.unique(surface.faces[unsure])]
    # The room shows in front of the area and behind it: the field goes on that far.
    margin = 4.0 * grid.cell_mm
    first = np.floor((places.min(axis=0) - margin - grid.low_mm) / grid.cell_mm).astype(int)
    last = np.ceil((places.max(axis=0) + margin - grid.low_mm) / grid.cell_mm).astype(int)
    first, last = np.maximum(first, 0), np.minimum(last, np.array(grid.values_mm.shape) - 1)
    low = grid.low_mm + grid.cell_mm * first
    hull = hull_grid(
        [outlines[k] for k in told],
        [cameras[k] for k in told],
        low,
        low + grid.cell_mm * (last - first - 1e-3),
        cell_mm=grid.cell_mm,
        spare=_SPARE,
    )
    values = grid.values_mm.copy()
    part = tuple(slice(a, b + 1) for a, b in zip(first, last, strict=True))
    values[part] = np.minimum(values[part], hull.values_mm)
    return SignedGrid(values, grid.low_mm, grid.cell_mm)


def _box_px(
    points_mm: Floats, camera: Camera, shape: tuple[int, ...]
) -> tuple[slice, slice] | None:
    """Return the rows and columns round the points' places in a photo, None outside it."""
    height, width = shape[:2]
    ahead = points_mm[camera.camera_from_world.apply(points_mm)[:, 2] > 1.0]
    if len(ahead) == 0:
        return None
    factor = np.array([width / camera.lens.width_px, height / camera.lens.height_px])
    seen = (camera.project(ahead) + 0.5) * factor - 0.5
    low = np.maximum(np.floor(seen.min(axis=0)).astype(int) - _ASIDE_PX, 0)
    high = np.minimum(np.ceil(seen.max(axis=0)).astype(int) + _ASIDE_PX, (width - 1, height - 1))
    if (high - low < 2 * _OUTSIDE_PX).any():
        return None
    return slice(low[1], high[1] + 1), slice(low[0], high[0] + 1)


def _not_room(
    colour: Bytes,
    box: tuple[slice, slice],
    camera: Camera,
    scene: MeshScene,
    area: Bools,
    unsure: Bools,
    held: Bools,
) -> Bools:
    """(h, w) bool within the box: False where the area shows the room.

    Other unsure places are not told: the box may cut them off from what is known round them.
    """
    rows, columns = np.mgrid[box]
    shape = rows.shape
    lens = camera.lens
    factor = np.array([lens.width_px / colour.shape[1], lens.height_px / colour.shape[0]])
    places = (np.column_stack([columns.ravel(), rows.ravel()]) + 0.5) * factor - 0.5
    even = cv2.undistortPoints(
        places.reshape(-1, 1, 2), lens.matrix(), np.asarray(lens.distortion())
    ).reshape(-1, 2)
    ways = np.column_stack([even, np.ones(len(even))]) @ camera.camera_from_world.rotation
    starts = np.broadcast_to(camera.centre_mm() - scene.centre_mm, ways.shape)
    rays = np.hstack([starts, ways]).astype(np.float32)
    face = scene.scene.cast_rays(tensor(rays))["primitive_ids"].numpy().reshape(shape)
    on = face != scene.scene.INVALID_ID
    own_px, open_px = np.zeros(shape, dtype=np.uint8), np.zeros(shape, dtype=np.uint8)
    own_px[on], open_px[on] = area[face[on]], unsure[face[on]]
    if not own_px.any():
        return np.ones(shape, dtype=np.bool_)
    own_px = cv2.dilate(own_px, _square(_DOUBT_PX))
    open_px = cv2.dilate(open_px, _square(_DOUBT_PX))
    judged = np.flatnonzero(open_px)
    open_px.ravel()[judged] = ~_stopped(rays[judged], scene, held)
    shown = on.astype(np.uint8)
    room = (cv2.dilate(shown, _square(_OUTSIDE_PX)) == 0) & (open_px == 0)
    body = cv2.erode(shown & (1 - open_px), _square(_DOUBT_PX)) > 0
    outline = silhouette(np.ascontiguousarray(colour[box]), body=body, room=room)
    if outline is None:
        return np.ones(shape, dtype=np.bool_)
    return np.asarray(outline | (open_px == 0) | (own_px == 0) | ~on, dtype=np.bool_)


def _stopped(rays: NDArray[np.float32], scene: MeshScene, held: Bools) -> Bools:
    """(N,) bool: whether a ray meets a held face behind the first one that it meets."""
    if len(rays) == 0:  # asked for the crossings of no rays the library ends the process
        return np.zeros(0, dtype=np.bool_)
    met = scene.scene.list_intersections(tensor(rays))
    ray, face, far = (met[key].numpy() for key in ("ray_ids", "primitive_ids", "t_hit"))
    first = np.full(len(rays), np.inf)
    np.minimum.at(first, ray, far)
    stopped = np.zeros(len(rays), dtype=np.bool_)
    stopped[ray[held[face] & (far > first[ray])]] = True
    return stopped


def _square(by_px: int) -> Bytes:
    return np.ones((2 * by_px + 1, 2 * by_px + 1), dtype=np.uint8)
