"""First poses for all cameras and sheets, good enough for the adjustment to start from.

One square in one photo allows two poses that look almost the same. The network grows from
the view that is least in doubt; each further camera or sheet takes, of all the poses its
views allow, the one that fits everything already placed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from fitkit.capture.bundle_adjustment import adjust
from fitkit.capture.photo_network import LENS_PARAMETERS, LensPriors, Network, Sightings
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.rigid import RigidTransform

__all__ = ["PlacedPoses", "SeenPoints", "largest_connected", "place_all", "poses_of_view"]

# Reprojection beyond this says the same: wrong.
_LOST_PX = 30.0
# A second pose that fits this many times worse is out of the question.
_CLEAR = 2.0
# Of how many views the poses are tried for one camera or sheet.
_TRIED_VIEWS = 5
# A pose is changed for another one only where that one fits this much better.
_CLEARLY_BETTER = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class SeenPoints:
    """Printed points (K, 3) mm of one sheet and where one camera saw them, (K, 2) px."""

    camera: int
    sheet: int
    points_mm: Floats
    pixels_px: Floats


@dataclass(slots=True)
class PlacedPoses:
    """Poses found so far, in the frame of the first sheet placed, and the lenses (L, 7)."""

    camera_from_start: dict[int, RigidTransform]
    start_from_sheet: dict[int, RigidTransform]
    lenses: Floats


def largest_connected(views: Sequence[tuple[int, int]]) -> tuple[set[int], set[int]]:
    """Return cameras and sheets of the largest group that shares sheets, from (camera, sheet)."""
    remaining = sorted(set(views))
    best: tuple[set[int], set[int]] = (set(), set())
    most = 0
    while remaining:
        cameras, sheets = {remaining[0][0]}, {remaining[0][1]}
        grown = True
        while grown:
            grown = False
            for camera, sheet in remaining:
                if (camera in cameras) != (sheet in sheets):
                    cameras.add(camera)
                    sheets.add(sheet)
                    grown = True
        size = sum(camera in cameras for camera, _ in remaining)
        if (len(cameras), size) > (len(best[0]), most):
            best, most = (cameras, sheets), size
        remaining = [(camera, sheet) for camera, sheet in remaining if camera not in cameras]
    return best


def poses_of_view(view: SeenPoints, lens: Floats) -> tuple[list[RigidTransform], float]:
    """Return the one or two poses a view allows, better first, and how clear the first is.

    Each is ``camera_from_sheet``; ``lens`` (7,) as :data:`LENS_PARAMETERS` says.
    """
    matrix, distortion = _opencv_lens(lens)
    _, turns, shifts, errors = cv2.solvePnPGeneric(
        view.points_mm, view.pixels_px, matrix, distortion, flags=cv2.SOLVEPNP_IPPE
    )
    poses, sizes = [], []
    for turn, shift, error in zip(turns, shifts, np.ravel(errors), strict=False):
        pose = _pose(turn, shift)
        # The printed side must face the camera, and lie before it.
        centre = pose.inverse().translation_mm
        if pose.translation_mm[2] > 0 and centre[2] > 0:
            poses.append(pose)
            sizes.append(float(error))
    if len(poses) < 2:
        return poses, 10.0
    return poses, (sizes[1] + 0.1) / (sizes[0] + 0.1)


def place_all(views: Sequence[SeenPoints], lens_of_camera: Ints, priors: LensPriors) -> PlacedPoses:
    """Return a first pose for every camera and sheet that can be placed.

    Parameters
    ----------
    views
        All connected (see :func:`largest_connected`).
    lens_of_camera
        (C,) int.
    priors
        Lenses to start with and how far to trust them.
    """
    return _Placing(views, lens_of_camera, priors).run()


class _Placing:
    """The growing network."""

    def __init__(
        self, views: Sequence[SeenPoints], lens_of_camera: Ints, priors: LensPriors
    ) -> None:
        self._views = list(views)
        self._lens_of_camera = lens_of_camera
        self._priors = priors
        self._placed = PlacedPoses({}, {}, np.array(priors.values))
        # Valid until the lenses change.
        self._poses_of_view: dict[tuple[int, int], tuple[list[RigidTransform], float]] = {}
        self._of_camera: dict[int, list[SeenPoints]] = {}
        self._of_sheet: dict[int, list[SeenPoints]] = {}
        for view in self._views:
            self._of_camera.setdefault(view.camera, []).append(view)
            self._of_sheet.setdefault(view.sheet, []).append(view)

    def run(self) -> PlacedPoses:
        if not self._seed():
            return self._placed
        next_adjustment = 2
        while True:
            grown = self._place_best_camera(only_clear=True) or self._place_best_sheet(
                only_clear=True
            )
            if not grown:
                grown = self._place_best_camera(only_clear=False) or self._place_best_sheet(
                    only_clear=False
                )
            if not grown:
                break
            if len(self._placed.camera_from_start) >= next_adjustment:
                self._adjust()
                next_adjustment = int(np.ceil(1.6 * next_adjustment))
        self._adjust()
        if self._reconsider():
            self._adjust()
        return self._placed

    def _lens(self, camera: int) -> Floats:
        lens: Floats = self._placed.lenses[self._lens_of_camera[camera]]
        return lens

    def _seed(self) -> bool:
        """Start with the sheet and photo that are least in doubt, by size and by fit."""

        def certainty(view: SeenPoints) -> float:
            poses, doubt = self._camera_from_sheet(view)
            if not poses:
                return -1.0
            shared = min(len(self._of_sheet[view.sheet]), len(self._of_camera[view.camera]))
            return min(doubt, 10.0) * float(np.ptp(view.pixels_px, axis=0).min()) * shared

        best = max(self._views, key=certainty)
        poses, _ = self._camera_from_sheet(best)
        if not poses:
            return False
        self._placed.start_from_sheet[best.sheet] = RigidTransform.identity()
        self._placed.camera_from_start[best.camera] = poses[0]
        return True

    def _camera_from_sheet(self, view: SeenPoints) -> tuple[list[RigidTransform], float]:
        """Return the one or two poses a view allows, better first, and how clear the first is."""
        key = (view.camera, view.sheet)
        if key not in self._poses_of_view:
            self._poses_of_view[key] = poses_of_view(view, self._lens(view.camera))
        return self._poses_of_view[key]

    def _errors_px(self, view: SeenPoints, camera_from_sheet: RigidTransform) -> Floats:
        """Return (K,) px reprojection errors, cut off where they only say lost."""
        lens = self._lens(view.camera)
        matrix, distortion = _opencv_lens(lens)
        in_camera = camera_from_sheet.apply(view.points_mm)
        if in_camera[:, 2].min() <= 1.0:
            return np.full(len(in_camera), _LOST_PX)
        seen = cv2.projectPoints(in_camera, np.zeros(3), np.zeros(3), matrix, distortion)[0]
        errors = np.linalg.norm(seen.reshape(-1, 2) - view.pixels_px, axis=1)
        cut_off: Floats = np.minimum(errors, _LOST_PX)
        return cut_off

    def _known_of_camera(self, camera: int) -> list[SeenPoints]:
        return [v for v in self._of_camera[camera] if v.sheet in self._placed.start_from_sheet]

    def _known_of_sheet(self, sheet: int) -> list[SeenPoints]:
        return [v for v in self._of_sheet[sheet] if v.camera in self._placed.camera_from_start]

    def _camera_misfit(self, known: Sequence[SeenPoints], pose: RigidTransform) -> float:
        """Return how badly a ``camera_from_start`` fits the placed sheets it sees."""
        sheets = self._placed.start_from_sheet
        errors = [self._errors_px(view, pose @ sheets[view.sheet]) for view in known]
        return float((np.concatenate(errors) ** 2).sum())

    def _sheet_misfit(self, known: Sequence[SeenPoints], pose: RigidTransform) -> float:
        """Return how badly a ``start_from_sheet`` fits the placed cameras that see it."""
        cameras = self._placed.camera_from_start
        errors = [self._errors_px(view, cameras[view.camera] @ pose) for view in known]
        return float((np.concatenate(errors) ** 2).sum())

    def _best_camera_pose(self, known: Sequence[SeenPoints]) -> RigidTransform | None:
        candidates = [
            pose @ self._placed.start_from_sheet[view.sheet].inverse()
            for view in self._clearest(known)
            for pose in self._camera_from_sheet(view)[0]
        ]
        if not candidates:
            return None
        best = min(candidates, key=lambda pose: self._camera_misfit(known, pose))
        return self._polished(best, known)

    def _best_sheet_pose(self, known: Sequence[SeenPoints]) -> RigidTransform | None:
        candidates = [
            self._placed.camera_from_start[view.camera].inverse() @ pose
            for view in self._clearest(known)
            for pose in self._camera_from_sheet(view)[0]
        ]
        return min(candidates, key=lambda pose: self._sheet_misfit(known, pose), default=None)

    def _place_best_camera(self, *, only_clear: bool) -> bool:
        """Place the camera that sees most of what is placed; say whether there was one."""
        best: tuple[int, int] | None = None
        for camera in self._of_camera:
            if camera in self._placed.camera_from_start:
                continue
            known = self._known_of_camera(camera)
            if not known or (len(known) == 1 and only_clear and not self._clear(known[0])):
                continue
            rank = (sum(len(view.points_mm) for view in known), -camera)
            best = rank if best is None else max(rank, best)
        if best is None:
            return False
        camera = -best[1]
        pose = self._best_camera_pose(self._known_of_camera(camera))
        if pose is None:
            # Nothing it shows allows a pose in front of a camera: not a photo of these sheets.
            del self._of_camera[camera]
        else:
            self._placed.camera_from_start[camera] = pose
        return True

    def _place_best_sheet(self, *, only_clear: bool) -> bool:
        """Place the sheet that most placed cameras see; say whether there was one."""
        best: tuple[int, int] | None = None
        for sheet in self._of_sheet:
            if sheet in self._placed.start_from_sheet:
                continue
            known = self._known_of_sheet(sheet)
            if not known or (len(known) == 1 and only_clear and not self._clear(known[0])):
                continue
            rank = (len(known), -sheet)
            best = rank if best is None else max(rank, best)
        if best is None:
            return False
        sheet = -best[1]
        pose = self._best_sheet_pose(self._known_of_sheet(sheet))
        if pose is None:
            del self._of_sheet[sheet]
        else:
            self._placed.start_from_sheet[sheet] = pose
        return True

    def _reconsider(self) -> bool:
        """Try again what was placed on little, now that all is; say whether anything changed."""
        placed, changed = self._placed, False
        for camera, pose in sorted(placed.camera_from_start.items()):
            known = self._known_of_camera(camera)
            other = self._best_camera_pose(known)
            if other is not None and self._camera_misfit(known, other) < _CLEARLY_BETTER * (
                self._camera_misfit(known, pose)
            ):
                placed.camera_from_start[camera], changed = other, True
        for sheet, pose in sorted(placed.start_from_sheet.items()):
            seen_by = self._known_of_sheet(sheet)
            other = self._best_sheet_pose(seen_by)
            if other is not None and self._sheet_misfit(seen_by, other) < _CLEARLY_BETTER * (
                self._sheet_misfit(seen_by, pose)
            ):
                placed.start_from_sheet[sheet], changed = other, True
        return changed

    def _polished(
        self, camera_from_start: RigidTransform, known: Sequence[SeenPoints]
    ) -> RigidTransform:
        """Return the pose that fits all placed sheets together, leaving out those that do not."""
        placed = self._placed
        fitting = [
            view
            for view in known
            if np.median(
                self._errors_px(view, camera_from_start @ placed.start_from_sheet[view.sheet])
            )
            < _LOST_PX
        ]
        if not fitting:
            return camera_from_start
        matrix, distortion = _opencv_lens(self._lens(known[0].camera))
        _, turn, shift = cv2.solvePnP(
            np.concatenate(
                [placed.start_from_sheet[view.sheet].apply(view.points_mm) for view in fitting]
            ),
            np.concatenate([view.pixels_px for view in fitting]),
            matrix,
            distortion,
            rvec=cv2.Rodrigues(np.array(camera_from_start.rotation))[0],
            tvec=np.array(camera_from_start.translation_mm).reshape(3, 1),
            useExtrinsicGuess=True,
            flags=cv2.SOLVEPNP_ITERATIVE,
        )
        return _pose(turn, shift)

    def _clearest(self, known: Sequence[SeenPoints]) -> list[SeenPoints]:
        """Return the few views whose poses are least in doubt: enough to hold a right one."""

        def certainty(view: SeenPoints) -> float:
            size = float(np.ptp(view.pixels_px, axis=0).min())
            return size * min(self._camera_from_sheet(view)[1], 10.0)

        return sorted(known, key=certainty, reverse=True)[:_TRIED_VIEWS]

    def _clear(self, view: SeenPoints) -> bool:
        return self._camera_from_sheet(view)[1] > _CLEAR

    def _adjust(self) -> None:
        """Pull everything placed together, with the lenses."""
        placed = self._placed
        cameras, sheets = sorted(placed.camera_from_start), sorted(placed.start_from_sheet)
        views = [v for v in self._views if v.camera in cameras and v.sheet in sheets]
        seen_cameras = {view.camera for view in views}
        cameras = [camera for camera in cameras if camera in seen_cameras]
        network = Network(
            placed.lenses,
            self._lens_of_camera[cameras],
            np.array([placed.camera_from_start[c].rotation for c in cameras]),
            np.array([placed.camera_from_start[c].translation_mm for c in cameras]),
            np.zeros(len(cameras)),
            np.array([placed.start_from_sheet[s].rotation for s in sheets]),
            np.array([placed.start_from_sheet[s].translation_mm for s in sheets]),
        )
        network = adjust(
            network, _rows_of_points(views, cameras, sheets), self._priors, max_rounds=15
        )
        placed.lenses = network.lenses
        self._poses_of_view.clear()
        for index, camera in enumerate(cameras):
            placed.camera_from_start[camera] = RigidTransform(
                network.camera_rotations[index], network.camera_shifts_mm[index]
            )
        for index, sheet in enumerate(sheets):
            placed.start_from_sheet[sheet] = RigidTransform(
                network.sheet_rotations[index], network.sheet_shifts_mm[index]
            )


def _rows_of_points(
    views: Sequence[SeenPoints], cameras: Sequence[int], sheets: Sequence[int]
) -> Sightings:
    """Return two rows, along x and along y, for each seen point."""
    ordered = sorted(views, key=lambda view: (view.camera, view.sheet))
    counts = [2 * len(view.points_mm) for view in ordered]
    points = np.concatenate([np.repeat(view.points_mm, 2, axis=0) for view in ordered])
    return Sightings(
        np.repeat([cameras.index(view.camera) for view in ordered], counts),
        np.repeat([sheets.index(view.sheet) for view in ordered], counts),
        points,
        np.concatenate([np.repeat(view.pixels_px, 2, axis=0) for view in ordered]),
        np.tile(np.eye(2), (len(points) // 2, 1)),
        np.zeros(len(points)),
        np.full(len(points), 0.5),
    )


def _opencv_lens(lens: Floats) -> tuple[Floats, Floats]:
    focal, cx, cy = lens[:3]
    matrix = np.array([[focal, 0.0, cx], [0.0, focal, cy], [0.0, 0.0, 1.0]])
    return matrix, np.array(lens[3:LENS_PARAMETERS])


def _pose(turn: npt.ArrayLike, shift: npt.ArrayLike) -> RigidTransform:
    rotation = np.asarray(cv2.Rodrigues(np.asarray(turn, dtype=np.float64))[0], dtype=np.float64)
    return RigidTransform(rotation, np.ravel(shift))
