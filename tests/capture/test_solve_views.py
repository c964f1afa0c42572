"""What is measured is given exactly here, so that each case shows what it alone does."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.marker_sheet import MarkerSheet, marker_sheet
from fitkit.capture.photo import Photo
from fitkit.capture.saddle_points import SeenSaddles
from fitkit.capture.scan import SolvedCameras
from fitkit.capture.sheet_view import SheetView
from fitkit.capture.solve_views import solve_views
from fitkit.capture.tag_edges import EdgeStations
from fitkit.errors import InputError, PhotoError
from fitkit.geometry.rigid import RigidTransform
from tests.capture.sheet_scene import PHONE, ring_of_cameras, sheets_on_floor, similarity

CHECK_MM = (180.0, 200.0)
Sheets = Sequence[tuple[MarkerSheet, RigidTransform]]


def photos_of(cameras: Sequence[Camera], *, focal_part: float = 0.97) -> list[Photo]:
    return [
        Photo(
            camera.photo,
            np.zeros((camera.lens.height_px, camera.lens.width_px), np.uint8),
            focal_part * camera.lens.focal_px,
            True,
            f"phone {camera.lens.width_px}x{camera.lens.height_px}",
        )
        for camera in cameras
    ]


def flat_as_printed(points_mm: np.ndarray) -> np.ndarray:
    return points_mm


def exact_views(
    cameras: Sequence[Camera],
    sheets: Sheets,
    *,
    noise_px: float = 0.03,
    seed: int = 1,
    shape: Callable[[np.ndarray], np.ndarray] = flat_as_printed,
) -> list[SheetView]:
    """Every sheet wholly in a photo, measured but for a little noise.

    ``shape`` tells where paper that does not lie flat has its printed points.
    """
    rng = np.random.default_rng(seed)
    views = []
    along = np.linspace(-65, 65, 6)
    flat = np.zeros(6)
    stations = np.concatenate(
        [
            np.stack([along, flat + 75, flat], axis=1),
            np.stack([flat + 75, along, flat], axis=1),
            np.stack([along, flat - 75, flat], axis=1),
            np.stack([flat - 75, along, flat], axis=1),
        ]
    )
    outwards = np.repeat([[0.0, 1, 0], [1, 0, 0], [0, -1, 0], [-1, 0, 0]], 6, axis=0)
    for index, camera in enumerate(cameras):
        for sheet, world_from_sheet in sheets:
            pose = camera.camera_from_world @ world_from_sheet
            rim = pose.apply(1.2 * sheet.saddles_mm())
            if rim[:, 2].min() < 100 or pose.inverse().translation_mm[2] < 100:
                continue
            seen = camera.lens.project(rim)
            limits = [camera.lens.width_px - 1, camera.lens.height_px - 1]
            if (seen < 0).any() or (seen > limits).any():
                continue

            def look(points: np.ndarray, pose: RigidTransform = pose, lens: Lens = camera.lens):
                return lens.project(pose.apply(shape(points)))

            pixels = look(stations)
            along_px = look(stations + outwards[:, [1, 0, 2]]) - pixels
            normals = np.stack([along_px[:, 1], -along_px[:, 0]], axis=1)
            normals /= np.linalg.norm(normals, axis=1, keepdims=True)
            ahead = look(stations + outwards) - pixels
            normals *= np.sign((normals * ahead).sum(axis=1, keepdims=True))
            views.append(
                SheetView(
                    index,
                    sheet,
                    EdgeStations(
                        stations,
                        pixels + rng.normal(0, noise_px, (24, 1)) * normals,
                        normals,
                        look(sheet.tag_corners_mm()),
                        0.7,
                    ),
                    SeenSaddles(
                        np.arange(4),
                        look(sheet.saddles_mm()) + rng.normal(0, noise_px, (4, 2)),
                    ),
                )
            )
    return views


def codes(solved: SolvedCameras) -> list[str]:
    return [finding.code for finding in solved.findings]


def off_mm(solved: SolvedCameras, cameras: Sequence[Camera]) -> np.ndarray:
    """Distances of the cameras from the true ones after the best rigid motion."""
    true = {camera.photo: camera.centre_mm() for camera in cameras}
    found = np.array([camera.centre_mm() for camera in solved.cameras])
    wanted = np.array([true[camera.photo] for camera in solved.cameras])
    return similarity(found, wanted, with_scale=False)[1]


def test_a_plain_set_is_solved_whole() -> None:
    cameras, sheets = ring_of_cameras(), sheets_on_floor()
    solved = solve_views(photos_of(cameras), exact_views(cameras, sheets), printed_mm=CHECK_MM)
    assert [camera.photo for camera in solved.cameras] == [camera.photo for camera in cameras]
    assert [sheet.tag_id for sheet in solved.sheets] == list(range(8))
    assert codes(solved) == []
    assert off_mm(solved, cameras).max() < 1.0
    assert 0.02 < solved.reprojection_rms_px < 0.05
    # One reading of 0.3 mm on each check line outweighs what the photos leave open.
    assert solved.scale_sigma == pytest.approx(0.00112, rel=0.05)
    for (_, pose), sheet in zip(sheets, solved.sheets, strict=True):
        tilt = np.degrees(np.arccos(sheet.world_from_sheet.rotation[2, 2]))
        assert tilt < 0.2
        assert abs(sheet.world_from_sheet.translation_mm[2] - pose.translation_mm[2]) < 1.0


def test_printed_lengths_scale_the_world() -> None:
    """All sheets printed at 98.5 %: everything is that much nearer than it seems."""
    cameras, sheets = ring_of_cameras(), sheets_on_floor()
    views, photos = exact_views(cameras, sheets), photos_of(cameras)
    solved = solve_views(photos, views, printed_mm=(0.985 * 180, 0.985 * 200))
    found = np.array([camera.centre_mm() for camera in solved.cameras])
    true = np.array([camera.centre_mm() for camera in cameras])
    assert similarity(true, found, with_scale=True)[0] == pytest.approx(0.985, abs=2e-4)
    unmeasured = solve_views(photos, views)
    assert codes(unmeasured) == ["print-not-measured"]
    assert unmeasured.scale_sigma > 0.01


def test_two_cameras_of_different_sizes_get_two_lenses() -> None:
    other = Lens(1000, 750, 900.0, 490.0, 380.0, k1=-0.04)
    cameras = ring_of_cameras(per_ring=4)
    cameras += [
        replace(camera, photo=f"other-{k}.jpg")
        for k, camera in enumerate(ring_of_cameras(other, per_ring=3))
    ]
    solved = solve_views(
        photos_of(cameras), exact_views(cameras, sheets_on_floor()), printed_mm=CHECK_MM
    )
    assert len(solved.cameras) == len(cameras)
    assert off_mm(solved, cameras).max() < 2.0
    by_size = {camera.lens.width_px: camera.lens for camera in solved.cameras}
    assert by_size[756].focal_px == pytest.approx(PHONE.focal_px, rel=2e-3)
    assert by_size[1000].focal_px == pytest.approx(900.0, rel=2e-3)


def test_a_sheet_moved_half_way_is_left_out_by_name() -> None:
    """Someone kicked sheet 4 by 60 mm after six photos."""
    cameras, sheets = ring_of_cameras(), sheets_on_floor()
    kicked = list(sheets)
    sheet, pose = kicked[3]
    kicked[3] = (
        sheet,
        RigidTransform(pose.rotation, pose.translation_mm + np.array([60.0, 0.0, 0.0])),
    )
    views = [v for v in exact_views(cameras, sheets) if v.photo % 2 == 0]
    views += [v for v in exact_views(cameras, kicked) if v.photo % 2 == 1]
    solved = solve_views(photos_of(cameras), views, printed_mm=CHECK_MM)
    assert [(f.code, f.where) for f in solved.findings] == [("sheet-misfit", "sheet 4")]
    assert len(solved.cameras) == len(cameras)
    assert off_mm(solved, cameras).max() < 1.0


def test_a_photo_of_another_layout_is_left_out_by_name() -> None:
    cameras = ring_of_cameras()
    views = [v for v in exact_views(cameras, sheets_on_floor()) if v.photo != 7]
    views += [v for v in exact_views(cameras, sheets_on_floor(radius_mm=480.0)) if v.photo == 7]
    solved = solve_views(photos_of(cameras), views, printed_mm=CHECK_MM)
    assert [(f.code, f.where) for f in solved.findings] == [("photo-misfit", "photo-07.jpg")]
    assert off_mm(solved, cameras).max() < 1.0


def test_photos_that_share_no_sheet_are_left_out_by_name() -> None:
    cameras = ring_of_cameras()
    views = [v for v in exact_views(cameras, sheets_on_floor()) if v.photo not in (3, 4)]
    lonely = [(marker_sheet("A4", 40), sheets_on_floor()[2][1])]
    views += [v for v in exact_views(cameras, lonely) if v.photo in (3, 4)]
    solved = solve_views(photos_of(cameras), views, printed_mm=CHECK_MM)
    left_out = [f.where for f in solved.findings if f.code == "photo-not-connected"]
    assert left_out == sorted({cameras[v.photo].photo for v in views if v.sheet.number == 40})
    assert len(left_out) == 2
    assert len(solved.cameras) == len(cameras) - 2


def test_a_cropped_photo_set_is_told() -> None:
    cameras = ring_of_cameras()
    solved = solve_views(
        photos_of(cameras, focal_part=0.7),
        exact_views(cameras, sheets_on_floor()),
        printed_mm=CHECK_MM,
    )
    assert codes(solved) == ["lens-unlike-exif"]
    assert off_mm(solved, cameras).max() < 2.0


@pytest.mark.parametrize("count", [0, 1, 2])
def test_too_few_photos_are_an_error(count: int) -> None:
    cameras = ring_of_cameras()
    views = [v for v in exact_views(cameras, sheets_on_floor()) if v.photo < count]
    with pytest.raises(PhotoError) as caught:
        solve_views(photos_of(cameras), views)
    assert "12 photos" in caught.value.cause
    assert "marker sheets" in caught.value.remedy
    if count:
        assert "photo-00.jpg" in caught.value.cause


def test_pairs_that_do_not_connect_are_an_error() -> None:
    cameras = ring_of_cameras()
    views = []
    for k in range(4):
        sheets = [(marker_sheet("A4", 10 + k), sheets_on_floor()[k][1])]
        views += [v for v in exact_views(cameras, sheets) if v.photo in (2 * k, 2 * k + 1)]
    with pytest.raises(PhotoError, match="connect them"):
        solve_views(photos_of(cameras), views)


def test_wrong_check_lengths_are_an_error() -> None:
    cameras = ring_of_cameras()
    with pytest.raises(InputError, match="180 mm"):
        solve_views(
            photos_of(cameras), exact_views(cameras, sheets_on_floor()), printed_mm=(150.0, 150.0)
        )


def test_the_same_input_gives_the_same_output() -> None:
    cameras, sheets = ring_of_cameras(per_ring=4), sheets_on_floor(5)
    first, second = (
        solve_views(photos_of(cameras), exact_views(cameras, sheets), printed_mm=CHECK_MM)
        for _ in range(2)
    )
    for a, b in zip(first.cameras, second.cameras, strict=True):
        assert np.array_equal(a.centre_mm(), b.centre_mm())
        assert a.lens == b.lens
