"""Tags of a maker's own, anywhere, give cameras, scale and world as marker sheets do."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fitkit.capture.camera import Camera
from fitkit.capture.check_length import CheckLength
from fitkit.capture.photo import Photo
from fitkit.capture.scan import SolvedCameras
from fitkit.capture.solve_cameras import solve_cameras
from fitkit.capture.tag_set import PrintedTag, TagSet, tag_set
from fitkit.errors import InputError
from fitkit.geometry.rigid import RigidTransform
from tests.capture.sheet_scene import photo_of, ring_of_cameras, similarity

Placed = list[tuple[PrintedTag, RigidTransform]]


def tags_around(tags: TagSet, *, on_floor: int = 9, standing: int = 3) -> Placed:
    """Tags on the floor turned anyhow, from id 3 on, and some upright behind them."""
    rng = np.random.default_rng(2)
    placed: Placed = []
    for k in range(on_floor + standing):
        around = 2 * np.pi * k / on_floor
        away = 550.0 + rng.uniform(-150.0, 200.0)
        turn = Rotation.from_euler("z", rng.uniform(0, 6.28))
        place = np.array([away * np.cos(around), away * np.sin(around), 0.0])
        if k >= on_floor:
            turn = Rotation.from_euler("xz", [90.0, 180.0], degrees=True)
            place = np.array([250.0 * (k - on_floor) - 250.0, 900.0, 300.0])
        tag = tags.sheet_of_tag(k + 3)
        assert isinstance(tag, PrintedTag)
        placed.append((tag, RigidTransform(turn.as_matrix(), place)))
    return placed


def walk(
    tags: TagSet, placed: Placed, *, per_ring: int = 3, gamma: float = 1.8, ink_mm: float = 0.0
) -> tuple[list[Camera], list[Photo]]:
    cameras = ring_of_cameras(per_ring=per_ring)
    return cameras, [
        photo_of(camera, placed, tags=tags, seed=k, fine=2, tone_gamma=gamma, ink_spread_mm=ink_mm)
        for k, camera in enumerate(cameras)
    ]


def fit(solved: SolvedCameras, cameras: Sequence[Camera]) -> tuple[float, float]:
    """Scale of the solved cameras over the true ones, and root mean square rest in mm."""
    true = {camera.photo: camera.centre_mm() for camera in cameras}
    found = np.array([camera.centre_mm() for camera in solved.cameras])
    wanted = np.array([true[camera.photo] for camera in solved.cameras])
    scale, rest = similarity(wanted, found, with_scale=True)
    return scale, float(np.sqrt((rest**2).mean()))


@pytest.mark.parametrize(
    ("family", "side_mm", "gamma", "ink_mm"),
    [("36h11", 150.0, 2.8, 0.0), ("4x4_50", 150.0, 1.8, 0.1), ("16h5", 120.0, 1.4, 0.0)],
)
def test_tags_alone_give_cameras_and_scale(
    family: str, side_mm: float, gamma: float, ink_mm: float
) -> None:
    """Tone curves unlike the assumed one move the outline of a tag by a third of a percent."""
    tags = tag_set(family, side_mm)
    placed = tags_around(tags)
    cameras, photos = walk(tags, placed, gamma=gamma, ink_mm=ink_mm)
    solved = solve_cameras(photos, tags=tags)
    assert len(solved.cameras) == len(cameras)
    assert {sheet.tag_id for sheet in solved.sheets} >= set(range(3, 12))
    scale, rest_mm = fit(solved, cameras)
    assert rest_mm < 1.5
    assert abs(scale - 1) < 3e-3
    assert abs(scale - 1) < 2.5 * solved.scale_sigma
    assert solved.scale_sigma < 3e-3
    # The floor is where most tags lie; which way is the front only the maker knows.
    floor = [s for s in solved.sheets if s.tag_id < 12]
    assert max(abs(float(s.world_from_sheet.translation_mm[2])) for s in floor) < 3.0
    assert [f.code for f in solved.findings if f.code != "tags-in-one-photo"] == [
        "facing-uncertain"
    ]
    assert "tag 3" in next(f for f in solved.findings if f.code == "facing-uncertain").message


def test_small_tags_say_how_unsure_their_scale_is_and_a_check_settles_it() -> None:
    """70 mm tags 23 px wide: their squares do not show, so a percent of scale stays open."""
    tags = tag_set("36h11", 70.0)
    placed = tags_around(tags, standing=0)
    cameras, photos = walk(tags, placed, per_ring=4)
    solved = solve_cameras(photos, tags=tags)
    codes = [f.code for f in solved.findings]
    assert "tags-small-in-photos" in codes
    scale, _ = fit(solved, cameras)
    assert solved.scale_sigma > 0.008
    assert abs(scale - 1) < 2 * solved.scale_sigma
    ends = {tag.tag_id: pose.translation_mm for tag, pose in placed}
    laid_mm = float(np.linalg.norm(ends[3] - ends[7]))
    checked = solve_cameras(photos, tags=tags, checks=[CheckLength("3", "7", laid_mm)])
    if "check-agrees" in [f.code for f in checked.findings]:
        assert abs(fit(checked, cameras)[0] - 1) < 1.5e-3
        assert "tags-small-in-photos" not in [f.code for f in checked.findings]
    else:
        assert abs(scale - 1) > 0.004


def test_a_24_mm_board_names_the_doubt_of_its_side() -> None:
    """0.15 mm on 24 mm, worked by hand: 0.625 %."""
    from fitkit.capture.print_scale import tag_scale

    scale, (finding,) = tag_scale(tag_set("36h11", 24.0))
    assert scale.sigma == pytest.approx(0.00625)
    assert finding.code == "tag-side-uncertain"
    assert "6 mm in a girth of one metre" in finding.message
    assert "check length" in finding.remedy
    assert tag_scale(tag_set("36h11", 150.0))[1] == ()


def test_check_lines_do_not_go_with_own_tags(floor_photos: tuple) -> None:
    photos, _, _ = floor_photos
    tags = tag_set("36h11", 150.0)
    with pytest.raises(InputError, match="have none"):
        solve_cameras(photos[:4], tags=tags, printed_mm=(180.0, 200.0))


def test_a_turning_board_before_a_still_camera_is_the_same_as_a_walk() -> None:
    """The tags, never the background, give the poses."""
    tags = tag_set("5x5_50", 90.0)
    board: Placed = []
    for k in range(9):
        tag = tags.sheet_of_tag(k)
        assert isinstance(tag, PrintedTag)
        place = np.array([130.0 * (k % 3 - 1), 130.0 * (k // 3 - 1), 0.0])
        board.append((tag, RigidTransform(np.eye(3), place)))
    still = ring_of_cameras(per_ring=1, rings=((650.0, 500.0),))[0]
    photos, truth = [], []
    for k in range(6):
        turn = RigidTransform(
            Rotation.from_euler("z", 60 * k, degrees=True).as_matrix(), np.zeros(3)
        )
        camera = Camera(f"turn-{k}.jpg", still.lens, still.camera_from_world @ turn)
        truth.append(camera)
        # One still camera and its background; only the board is turned.
        seen = photo_of(still, [(tag, turn @ pose) for tag, pose in board], tags=tags, fine=2)
        photos.append(Photo(camera.photo, seen.grey, seen.focal_px, True, seen.lens_key))
    solved = solve_cameras(photos, tags=tags)
    scale, rest_mm = fit(solved, truth)
    assert len(solved.cameras) == 6
    assert rest_mm < 0.5
    # Always as far from one plane: how far is the less certain, and the sigma says so.
    assert abs(scale - 1) < 2 * solved.scale_sigma < 0.06
