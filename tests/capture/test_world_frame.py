from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from fitkit.capture.marker_sheet import MarkerSheet, marker_sheet
from fitkit.capture.world_frame import world_from_sheets
from fitkit.geometry.rigid import RigidTransform
from tests.capture.sheet_scene import ring_of_cameras, sheets_on_floor

Placed = list[tuple[MarkerSheet, RigidTransform]]


def somewhere_else() -> RigidTransform:
    """Return a frame that has nothing to do with the floor."""
    turn = Rotation.from_rotvec([0.7, -1.9, 0.4]).as_matrix()
    return RigidTransform(turn, np.array([300.0, -800.0, 1200.0]))


def solved(sheets: Placed) -> tuple[RigidTransform, list[str]]:
    """Return ``world_from_true_world`` as found from sheets and cameras given elsewhere."""
    start_from_true = somewhere_else()
    cameras = ring_of_cameras()
    centres = start_from_true.apply(np.array([camera.centre_mm() for camera in cameras]))
    axes = start_from_true.turn(
        np.array([camera.camera_from_world.rotation[2] for camera in cameras])
    )
    world_from_start, findings = world_from_sheets(
        [(sheet, start_from_true @ pose) for sheet, pose in sheets], centres, axes
    )
    return world_from_start @ start_from_true, [finding.code for finding in findings]


def stood_up(number: int, place: tuple[float, float, float], turn_deg: float) -> tuple:
    turn = Rotation.from_euler("xz", [90.0, turn_deg], degrees=True).as_matrix()
    return marker_sheet("A4", number), RigidTransform(turn, np.array(place))


def test_floor_up_and_facing_follow_the_sheets() -> None:
    """Sheet 1 lies at -y with its top edge towards -y: the world is the true one again."""
    found, codes = solved(sheets_on_floor())
    assert codes == []
    assert found.rotation == pytest.approx(np.eye(3), abs=1e-9)
    assert found.translation_mm[2] == pytest.approx(0.0, abs=1e-9)


def test_wearers_left_is_plus_x() -> None:
    """Facing -y with z up, left is z x (-y) = +x."""
    sheets = sheets_on_floor()
    found, _ = solved(sheets)
    forward = found.turn(sheets[0][1].rotation[:, 1])
    left = np.cross([0.0, 0.0, 1.0], forward)
    assert left == pytest.approx(np.array([1.0, 0.0, 0.0]), abs=1e-9)


def test_origin_is_below_what_the_cameras_looked_at() -> None:
    """All cameras of the ring aim within 40 mm of the true axis, a shaky hand apart."""
    found, _ = solved(sheets_on_floor())
    assert np.abs(found.translation_mm[:2]).max() < 40.0


def test_sheets_on_a_wall_and_a_table_are_not_floor() -> None:
    sheets = sheets_on_floor(4)
    sheets += [stood_up(5, (0, 900, 600), 180.0), stood_up(6, (300, 900, 600), 180.0)]
    sheets.append(
        (marker_sheet("A4", 7), RigidTransform(np.eye(3), np.array([600.0, 600.0, 700.0])))
    )
    found, codes = solved(sheets)
    assert codes == []
    assert found.rotation == pytest.approx(np.eye(3), abs=1e-9)
    assert found.translation_mm[2] == pytest.approx(0.0, abs=1e-9)


def test_uneven_floor_is_averaged() -> None:
    rng = np.random.default_rng(4)
    sheets = [
        (
            sheet,
            RigidTransform(
                Rotation.from_rotvec(rng.normal(0, 0.02, 3)).as_matrix() @ pose.rotation,
                pose.translation_mm + np.array([0, 0, rng.normal(0, 2)]),
            ),
        )
        for sheet, pose in sheets_on_floor()
    ]
    found, codes = solved(sheets)
    assert codes == []
    assert np.degrees(np.arccos(found.rotation[2, 2])) < 0.3
    assert abs(found.translation_mm[2]) < 3.0


def test_one_sheet_alone_gives_a_floor_with_a_warning() -> None:
    found, codes = solved(sheets_on_floor(1))
    assert codes == ["floor-uncertain"]
    assert found.rotation == pytest.approx(np.eye(3), abs=1e-9)


def test_two_sheets_give_a_floor_with_a_warning() -> None:
    found, codes = solved(sheets_on_floor(2))
    assert codes == ["floor-uncertain"]
    assert found.rotation == pytest.approx(np.eye(3), abs=1e-9)


def test_without_sheet_one_the_lowest_number_gives_the_facing() -> None:
    sheets = sheets_on_floor()[1:]
    found, codes = solved(sheets)
    assert codes == ["facing-uncertain"]
    top = found.turn(sheets[0][1].rotation[:, 1])
    assert top == pytest.approx(np.array([0.0, -1.0, 0.0]), abs=1e-9)


def test_sheet_one_on_a_wall_does_not_give_the_facing() -> None:
    sheets = sheets_on_floor()[1:]
    found, codes = solved([*sheets, stood_up(1, (0, 900, 600), 180.0)])
    assert codes == ["facing-uncertain"]
    assert found.rotation[:, 2] == pytest.approx(np.array([0.0, 0.0, 1.0]), abs=1e-9)
