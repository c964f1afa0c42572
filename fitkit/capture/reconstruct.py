"""Photos and solved cameras in, one closed surface out: the dense half of the scan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import cv2
import numpy as np
from scipy.spatial import cKDTree

from fitkit.capture.body_anchored import anchor_to_body
from fitkit.capture.camera import Camera
from fitkit.capture.capture_volume import column_points, inside_volume
from fitkit.capture.closed_surface import (
    carving_field,
    cut_to_volume,
    mesh_of_grid,
    poisson_surface,
)
from fitkit.capture.depth_agreement import agreeing_depths
from fitkit.capture.depth_map import DepthMap
from fitkit.capture.fineness import dense_scale
from fitkit.capture.free_space import seen_through
from fitkit.capture.outline_moves import Outlines
from fitkit.capture.outlined_body import outlined_body
from fitkit.capture.pair_choice import choose_pairs
from fitkit.capture.photo import Photo
from fitkit.capture.photo_patches import PhotoStack, stack_photos
from fitkit.capture.plain_surface import is_plain, patterned_points, plain_surface
from fitkit.capture.point_cloud import PointCloud, cloud_of_maps, cloud_only, largest_clusters
from fitkit.capture.refinement_pass import SOME_CERTAINTY, RefinementPass
from fitkit.capture.scan import CaptureVolume, Scan, SolvedCameras
from fitkit.capture.seen_gaps import open_gaps, spanned_areas
from fitkit.capture.signed_grid import SignedGrid, signed_grid
from fitkit.capture.stereo_matching import match_pair
from fitkit.capture.stereo_pair import rectify_pair
from fitkit.capture.surface_findings import few_pairs_finding, surface_findings
from fitkit.capture.surface_refinement import refine_surface
from fitkit.capture.surface_smoothing import even_out, fair
from fitkit.errors import PhotoError
from fitkit.findings import Finding
from fitkit.geometry.arrays import Bytes, Floats
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["reconstruct"]

Progress = Callable[[float, str], None]

# Lengths suit a body photographed whole; all shrink by one factor for a small subject.
# Depth precision falls with the square of distance over focal length; a view of about
# 1000 px leaves a few tenths of a millimetre after averaging, at an eighth of the full cost.
_FINE_PX, _COARSE_PX = 1008, 420
_AGREE_MM, _AGREE_COARSE_MM, _AGREE_MAPS = 8.0, 20.0, 3
_SPACING_MM, _COARSE_SPACING_MM = 3.0, 8.0
_CELL_MM = 4.0
_BELOW_MM = 40.0
_FLOOR_MM = 30.0
_FAR_FACTOR = 3.0
_FREE_VOTES, _FREE_MARGIN_MM = 3, 25.0
# Cell of the mesh each pass starts from (0: keep the last one's), whether the halved photos
# are used, and how far to look.
_REFINEMENT = (
    (7.0, True, RefinementPass(12.0, 2.0, 4.0, 3, averaging=3)),
    (5.0, True, RefinementPass(7.5, 1.25, 3.0, 3)),
    (4.0, False, RefinementPass(4.0, 0.6, 2.2, 4)),
    (0.0, False, RefinementPass(1.6, 0.3, 2.2, 4)),
)
_CARVE_STEP = 2
# Where stereo holds less than the rest, the subject is plain: its outlines are sought as a whole.
_MOST_SPANNED = 0.2
_STRAY_MM = 8.0
_ABOVE_CUT_MM = 3.0
_FEW_PAIRS_PER_PHOTO = 0.8


def reconstruct(
    photos: Sequence[Photo],
    solved: SolvedCameras,
    volume: CaptureVolume,
    *,
    follow_body: bool = True,
    progress: Progress | None = None,
) -> Scan:
    """Return point cloud and closed surface of what stands in the capture volume.

    Should the body have moved against the floor, the cameras are first solved again on it.
    Neighbouring photos are matched in pairs, first coarsely over the whole depth of the
    room, which finds the body and the space that is free, then finely round the body.
    Depths that several pairs agree on make the cloud; a screened Poisson surface through it
    is cut flat at the bottom of the volume.

    Parameters
    ----------
    photos
        The photos, by name; those without a solved camera are not used.
    solved
        Cameras in the world frame.
    volume
        The column to search.
    follow_body
        False takes the cameras as they are, however the body swayed.
    progress
        Told the fraction done and what is being done.

    Raises
    ------
    PhotoError
        When no two photos can be matched, or nothing in the volume is seen alike by three.
    """
    say = progress or (lambda _fraction, _words: None)
    by_name = {photo.name: photo for photo in photos}
    cameras = [camera for camera in solved.cameras if camera.photo in by_name]
    greys = [_grey_of(by_name[camera.photo], camera) for camera in cameras]
    say(0.0, "looking at the photos")
    findings: list[Finding] = []
    if follow_body and len(cameras) > 1:

        def anchoring(fraction: float, words: str) -> None:
            say(0.12 * fraction, words)

        placed = replace(solved, cameras=tuple(cameras))
        anchor = anchor_to_body(greys, placed, volume, progress=anchoring)
        findings += anchor.findings
        solved = anchor.solved if anchor.moved_mm.any() else solved
        kept = {camera.photo: camera for camera in anchor.solved.cameras}
        greys = [grey for grey, one in zip(greys, cameras, strict=True) if one.photo in kept]
        cameras = list(kept.values())
    say(0.12, "choosing pairs of photos")
    scale = dense_scale(cameras, volume) if cameras else 1.0
    column = column_points(volume)
    pairs = choose_pairs(cameras, column) if len(cameras) > 1 else ()
    if not pairs:
        raise PhotoError(
            f"None of the {len(cameras)} placed photos overlaps another one well enough to "
            "measure depth.",
            "Take photos all round the body, each 10 to 15 degrees from the last.",
        )
    least = _FEW_PAIRS_PER_PHOTO * len(cameras)
    if len(pairs) < least:
        findings.append(few_pairs_finding(len(pairs), len(cameras), least=least))

    def searching(fraction: float) -> None:
        say(0.12 + 0.1 * fraction, "looking for the body")

    wide = _depth_maps(cameras, greys, pairs, column, _COARSE_PX, far=True, say=searching)
    middle = column.mean(axis=0)
    wide = agreeing_depths(wide, middle, within_mm=scale * _AGREE_COARSE_MM, maps_n=_AGREE_MAPS)
    rough = _cloud_in_volume(wide, wide, volume, _COARSE_SPACING_MM, scale)
    if len(rough.points_mm) < 100:
        raise _nothing_seen(len(rough.points_mm))

    def matching(fraction: float) -> None:
        say(0.22 + 0.33 * fraction, "matching photos")

    fine = _depth_maps(cameras, greys, pairs, rough.points_mm, _FINE_PX, far=False, say=matching)
    say(0.55, "keeping what several photos agree on")
    fine = agreeing_depths(
        fine, rough.points_mm.mean(axis=0), within_mm=scale * _AGREE_MM, maps_n=_AGREE_MAPS
    )
    cloud = _cloud_in_volume(fine, wide, volume, _SPACING_MM, scale)
    if len(cloud.points_mm) < 500:
        raise _nothing_seen(len(cloud.points_mm))
    say(0.65, "closing the surface")
    surface = poisson_surface(cloud, cell_mm=scale * _CELL_MM)
    lower = replace(volume, bottom_mm=volume.bottom_mm - scale * _BELOW_MM)
    pictures = [_picture_of(by_name[camera.photo]) for camera in cameras]

    def looking(fraction: float) -> None:
        say(0.67 + 0.03 * fraction, "looking through gaps")

    near = cKDTree(cloud.points_mm)
    surface = _opened(
        _carved(surface, lower, wide, scale), near, pictures, cameras, lower, scale, looking
    )

    def refining(fraction: float) -> None:
        say(0.75 + 0.2 * fraction, "refining the surface")

    stacks = (
        stack_photos(cameras, [_reduced(grey, 0.5) for grey in greys]),
        stack_photos(cameras, greys),
    )
    held, certainty = refine_surface(surface, cameras, stacks[0], _scaled(0, scale))
    outlines = None
    if is_plain(held, certainty, lower, cameras, scale=scale):

        def telling(fraction: float) -> None:
            say(0.7 + 0.05 * fraction, "telling body from room by colour")

        hull = outlined_body(
            pictures, cameras, wide, fine, lower, rough.points_mm, scale=scale, say=telling
        )
        if hull is not None:
            cloud = cloud_only(cloud, patterned_points(cloud, held, certainty))
            outlines = Outlines(pictures, volume.bottom_mm + scale * _ABOVE_CUT_MM)
            held = plain_surface(hull, fine, cameras, outlines, scale=scale)
            held, certainty = refine_surface(held, cameras, stacks[0], _scaled(0, scale), outlines)
    surface = _refined(held, certainty, cameras, stacks, near, scale, outlines, refining)
    surface = _cut(surface, volume, scale)
    say(0.98, "judging the surface")
    cloud = _on_surface(cloud, surface, volume, scale)
    distance, _ = cKDTree(cloud.points_mm).query(surface.vertices, workers=-1)
    findings += surface_findings(surface, distance, volume, cameras, scale=scale)
    say(1.0, "surface done")
    return Scan(solved, volume, cloud.points_mm, cloud.normals, surface, distance, tuple(findings))


def _grey_of(photo: Photo, camera: Camera) -> Bytes:
    height, width = photo.grey.shape
    if (width, height) != (camera.lens.width_px, camera.lens.height_px):
        raise PhotoError(
            f"{photo.name} is {width} x {height} px, but its camera was solved for "
            f"{camera.lens.width_px} x {camera.lens.height_px} px.",
            "Run the scan again from the photos as they are now.",
        )
    return photo.grey


def _depth_maps(
    cameras: Sequence[Camera],
    greys: Sequence[Bytes],
    pairs: Sequence[tuple[int, int]],
    points_mm: Floats,
    longest_px: int,
    *,
    far: bool,
    say: Callable[[float], None],
) -> tuple[DepthMap, ...]:
    """Return the two depth maps of every pair that can be rectified."""
    factors = [min(1.0, longest_px / max(grey.shape)) for grey in greys]
    reduced = [_reduced(grey, factor) for grey, factor in zip(greys, factors, strict=True)]
    maps: list[DepthMap] = []
    for done, (i, j) in enumerate(pairs):
        focal = min(factors[i] * cameras[i].lens.focal_px, factors[j] * cameras[j].lens.focal_px)
        reach = np.linalg.norm(cameras[i].centre_mm() - points_mm.mean(axis=0))
        pair = rectify_pair(
            cameras[i],
            cameras[j],
            points_mm,
            focal_px=focal,
            depth_margin_mm=30.0,
            far_mm=_FAR_FACTOR * float(reach) if far else None,
        )
        if pair is not None:
            swapped = pair.first is not cameras[i]
            first, second = (j, i) if swapped else (i, j)
            maps += match_pair(pair, reduced[first], reduced[second])
        say((done + 1) / len(pairs))
    return tuple(maps)


def _reduced(grey: Bytes, factor: float) -> Bytes:
    if factor > 0.95:
        return grey
    smaller = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    return np.asarray(smaller, dtype=np.uint8)


def _cloud_in_volume(
    maps: Sequence[DepthMap],
    wide: Sequence[DepthMap],
    volume: CaptureVolume,
    spacing_mm: float,
    scale: float,
) -> PointCloud:
    """Return the cloud of what stands in the volume, continued a little below its bottom."""
    keep = []
    spacing_mm, floor_mm = scale * spacing_mm, scale * _FLOOR_MM
    for one in maps:
        points = one.points_mm()
        inside = inside_volume(volume, points, margin_mm=scale * _BELOW_MM)
        inside &= points[:, 2] > min(volume.bottom_mm, floor_mm)
        radial = np.hypot(points[:, 0] - volume.centre_x_mm, points[:, 1] - volume.centre_y_mm)
        inside &= (radial <= volume.radius_mm) & (points[:, 2] <= volume.top_mm)
        keep.append(inside)
    cloud = cloud_of_maps(maps, keep, spacing_mm=spacing_mm)
    if len(cloud.points_mm) == 0:
        return cloud
    floor = (cloud.points_mm[:, 2] < floor_mm) & (cloud.normals[:, 2] > 0.8)
    margin_mm = scale * _FREE_MARGIN_MM
    free = seen_through(wide, cloud.points_mm, margin_mm=margin_mm) >= _FREE_VOTES
    return largest_clusters(cloud_only(cloud, ~floor & ~free), gap_mm=4.0 * spacing_mm)


def _carved(
    surface: TriangleMesh, volume: CaptureVolume, wide: Sequence[DepthMap], scale: float
) -> SignedGrid:
    """Return the grid of the surface within the volume, freed of what the photos look through."""
    cell_mm = scale * _REFINEMENT[0][0]
    grid = signed_grid(surface, cell_mm=cell_mm, margin_mm=4 * cell_mm)
    axes = [grid.nodes_mm(axis)[::_CARVE_STEP] for axis in range(3)]
    nodes = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    filled = grid.values_mm[::_CARVE_STEP, ::_CARVE_STEP, ::_CARVE_STEP] > -_CARVE_STEP * cell_mm
    free = np.zeros(filled.shape, dtype=np.bool_)
    margin_mm = scale * _FREE_MARGIN_MM
    free[filled] = seen_through(wide, nodes[filled], margin_mm=margin_mm) >= _FREE_VOTES
    carved = carving_field(free, step=_CARVE_STEP, cell_mm=cell_mm) if free.any() else None
    return cut_to_volume(grid, volume, carved=carved)


def _opened(
    grid: SignedGrid,
    near: cKDTree,
    pictures: Sequence[Bytes],
    cameras: Sequence[Camera],
    volume: CaptureVolume,
    scale: float,
    say: Callable[[float], None],
) -> TriangleMesh:
    """Return the surface of a grid, open where it only spans a gap that photos look through."""
    surface = mesh_of_grid(grid)
    distance, _ = near.query(surface.vertices, workers=-1)
    areas = spanned_areas(
        surface,
        distance,
        bottom_mm=volume.bottom_mm + scale * _BELOW_MM,
        scale=scale,
        far_mm=scale * _AGREE_MM,
    )
    bare = sum(float(surface.face_areas_mm2()[area].sum()) for area in areas)
    if not areas or bare > _MOST_SPANNED * float(surface.face_areas_mm2().sum()):
        return surface
    return mesh_of_grid(open_gaps(grid, surface, areas, pictures, cameras, say=say))


def _picture_of(photo: Photo) -> Bytes:
    return photo.colour if photo.colour is not None else photo.grey


def _scaled(index: int, scale: float) -> RefinementPass:
    return _REFINEMENT[index][2].scaled(scale)


def _refined(
    surface: TriangleMesh,
    certainty: Floats,
    cameras: Sequence[Camera],
    stacks: tuple[PhotoStack, PhotoStack],
    near: cKDTree,
    scale: float,
    outlines: Outlines | None,
    say: Callable[[float], None],
) -> TriangleMesh:
    """Return the surface, after its first pass, moved to where the photos agree, ever finer."""
    for index, (cell_mm, halved, settings) in enumerate(_REFINEMENT):
        if cell_mm > 0 and index > 0:
            cell_mm *= scale
            grid = signed_grid(surface, cell_mm=cell_mm, margin_mm=4 * cell_mm)
            surface = mesh_of_grid(grid)
        if index > 0:
            stack = stacks[0] if halved else stacks[1]
            surface, certainty = refine_surface(
                surface, cameras, stack, settings.scaled(scale), outlines
            )
        if index + 1 == len(_REFINEMENT) or _REFINEMENT[index + 1][0] > 0:
            if outlines is None:
                surface = even_out(surface, _freedom(surface, certainty, near, scale))
            else:
                surface = fair(surface, certainty)
        say((index + 1) / len(_REFINEMENT))
    return surface


def _freedom(surface: TriangleMesh, certainty: Floats, near: cKDTree, scale: float) -> Floats:
    """(V,) float: 1 where neither the cloud nor the patches hold the surface, else 0."""
    distance, _ = near.query(surface.vertices, workers=-1)
    bare = np.clip(distance / (scale * _AGREE_MM) - 1.0, 0.0, 1.0)
    return np.asarray(bare * np.clip(1.0 - certainty / SOME_CERTAINTY, 0.0, 1.0))


def _cut(surface: TriangleMesh, volume: CaptureVolume, scale: float) -> TriangleMesh:
    cell_mm = scale * _CELL_MM
    grid = signed_grid(surface, cell_mm=cell_mm, margin_mm=4 * cell_mm, flat_mm=volume.bottom_mm)
    return mesh_of_grid(cut_to_volume(grid, volume, carved=None))


def _on_surface(
    cloud: PointCloud, surface: TriangleMesh, volume: CaptureVolume, scale: float
) -> PointCloud:
    """Drop what the surface did not follow and what continues below the cut; turn normals out."""
    distance, nearest = cKDTree(surface.vertices).query(cloud.points_mm, workers=-1)
    outward = np.einsum("pi,pi->p", cloud.normals, surface.vertex_normals()[nearest])
    turned = PointCloud(cloud.points_mm, np.where(outward < 0, -1.0, 1.0)[:, None] * cloud.normals)
    return cloud_only(
        turned, (distance < scale * _STRAY_MM) & inside_volume(volume, cloud.points_mm)
    )


def _nothing_seen(points: int) -> PhotoError:
    return PhotoError(
        f"The photos agree on only {points} points in the capture volume; that is no surface.",
        "Take more photos that overlap, wear or drape something with an uneven pattern, and "
        "check the radius and the heights of the capture volume.",
    )
