"""Photos and solved cameras in, one closed surface out: the dense half of the scan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from fitkit.capture.body_anchored import BodyAnchor, anchor_to_body
from fitkit.capture.camera import Camera
from fitkit.capture.capture_volume import column_points, inside_volume
from fitkit.capture.closed_surface import cut_to_volume, mesh_of_grid
from fitkit.capture.depth_agreement import agreeing_depths
from fitkit.capture.fineness import dense_scale, pixel_on_subject_mm
from fitkit.capture.local_contrast import local_contrast
from fitkit.capture.moving_limbs import limb_findings
from fitkit.capture.outline_moves import Outlines
from fitkit.capture.outlined_body import outlined_body
from fitkit.capture.pair_choice import choose_pairs
from fitkit.capture.pair_depths import pair_depths, reduced_grey
from fitkit.capture.photo import Photo
from fitkit.capture.photo_patches import PhotoStack, stack_photos
from fitkit.capture.plain_surface import is_plain, patterned_points, plain_surface
from fitkit.capture.point_cloud import PointCloud, cloud_only, to_like_points_mm
from fitkit.capture.refined_surface import first_pass, refined_surface
from fitkit.capture.scan import CaptureVolume, Scan, SolvedCameras
from fitkit.capture.signed_grid import signed_grid
from fitkit.capture.start_surface import (
    BELOW_MM,
    MOST_SPANNED,
    cloud_in_volume,
    spanned_share,
    start_surface,
)
from fitkit.capture.surface_findings import few_pairs_finding, surface_findings
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
_STRAY_MM = 8.0
# Brightness that changes over more than this is taken for shading. Half of it takes too much of
# a weak pattern away, twice as much leaves too much shading.
_SHADING_MM = 11.0
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

    The cameras are first solved again on the body, which may have moved against the floor.
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
        False takes the cameras as they are, whatever the body's pattern tells.
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
    anchor: BodyAnchor | None = None
    if follow_body and len(cameras) > 1:

        def anchoring(fraction: float, words: str) -> None:
            say(0.12 * fraction, words)

        placed = replace(solved, cameras=tuple(cameras))
        anchor = anchor_to_body(greys, placed, volume, progress=anchoring)
        findings += anchor.findings
        solved = anchor.solved
        kept = {camera.photo: camera for camera in solved.cameras}
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

    wide = pair_depths(cameras, greys, pairs, column, _COARSE_PX, far=True, say=searching)
    middle = column.mean(axis=0)
    wide = agreeing_depths(wide, middle, within_mm=scale * _AGREE_COARSE_MM, maps_n=_AGREE_MAPS)
    rough = cloud_in_volume(wide, wide, volume, spacing_mm=scale * _COARSE_SPACING_MM, scale=scale)
    if len(rough.points_mm) < 100:
        raise _nothing_seen(len(rough.points_mm))

    def matching(fraction: float) -> None:
        say(0.22 + 0.33 * fraction, "matching photos")

    fine = pair_depths(cameras, greys, pairs, rough.points_mm, _FINE_PX, far=False, say=matching)
    say(0.55, "keeping what several photos agree on")
    fine = agreeing_depths(
        fine, rough.points_mm.mean(axis=0), within_mm=scale * _AGREE_MM, maps_n=_AGREE_MAPS
    )
    cloud = cloud_in_volume(fine, wide, volume, spacing_mm=scale * _SPACING_MM, scale=scale)
    if len(cloud.points_mm) < 500:
        raise _nothing_seen(len(cloud.points_mm))
    say(0.65, "closing the surface")
    lower = replace(volume, bottom_mm=volume.bottom_mm - scale * BELOW_MM)
    pictures = [_picture_of(by_name[camera.photo]) for camera in cameras]

    def looking(fraction: float) -> None:
        say(0.67 + 0.03 * fraction, "looking through gaps")

    stereo, near = cloud, cKDTree(cloud.points_mm)

    def to_like_mm(mesh: TriangleMesh) -> Floats:
        return to_like_points_mm(mesh, stereo, near)

    surface = start_surface(cloud, near, wide, pictures, cameras, lower, scale=scale, say=looking)

    def refining(fraction: float) -> None:
        say(0.75 + 0.2 * fraction, "refining the surface")

    stacks = _stacked(cameras, greys)
    held, certainty = first_pass(surface, cameras, stacks, scale=scale)
    plain = is_plain(held, certainty, lower, cameras, scale=scale)
    if plain:
        radius_px = scale * _SHADING_MM / pixel_on_subject_mm(cameras)
        stacks = _stacked(cameras, [local_contrast(one, radius_px=radius_px) for one in greys])
        held, certainty = first_pass(surface, cameras, stacks, scale=scale)
        plain = is_plain(held, certainty, lower, cameras, scale=scale)
    share = spanned_share(surface, to_like_mm(surface), bottom_mm=volume.bottom_mm, scale=scale)
    by_outlines = plain or share > MOST_SPANNED
    outlines = Outlines(pictures, volume.bottom_mm + scale * _ABOVE_CUT_MM, None)
    if by_outlines:

        def telling(fraction: float) -> None:
            say(0.7 + 0.05 * fraction, "telling body from room by colour")

        outlined = outlined_body(
            pictures, cameras, wide, fine, lower, rough.points_mm, scale=scale, say=telling
        )
        if outlined is not None:
            outlines = replace(outlines, cloud=stereo)
            cloud = cloud_only(cloud, patterned_points(cloud, held, certainty))
            surface = plain_surface(outlined, fine, cameras, outlines, scale=scale)
    surface = refined_surface(
        surface, cameras, stacks, to_like_mm, scale=scale, outlines=outlines, say=refining
    )
    surface = _cut(surface, volume, scale)
    say(0.98, "judging the surface")
    cloud = _on_surface(cloud, surface, volume, scale)
    distance, _ = cKDTree(cloud.points_mm).query(surface.vertices, workers=-1)
    if anchor is not None:
        lowest_mm = float(surface.vertices[:, 2].min())
        findings += limb_findings(anchor.regions, anchor.middle_x_mm, lowest_mm=lowest_mm)
    findings += surface_findings(surface, distance, volume, cameras, scale=scale)
    say(1.0, "surface done")
    return Scan(solved, volume, cloud.points_mm, cloud.normals, surface, distance, tuple(findings))


def _stacked(cameras: Sequence[Camera], greys: Sequence[Bytes]) -> tuple[PhotoStack, PhotoStack]:
    """Return the photos halved and whole."""
    halved = [reduced_grey(grey, 0.5) for grey in greys]
    return stack_photos(cameras, halved), stack_photos(cameras, greys)


def _grey_of(photo: Photo, camera: Camera) -> Bytes:
    height, width = photo.grey.shape
    if (width, height) != (camera.lens.width_px, camera.lens.height_px):
        raise PhotoError(
            f"{photo.name} is {width} x {height} px, but its camera was solved for "
            f"{camera.lens.width_px} x {camera.lens.height_px} px.",
            "Run the scan again from the photos as they are now.",
        )
    return photo.grey


def _picture_of(photo: Photo) -> Bytes:
    return photo.colour if photo.colour is not None else photo.grey


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
