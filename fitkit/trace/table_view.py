"""How photos look at a flat table with marker sheets lying on it.

All sheets lie in one plane, z = 0 of the *table frame*: the frame of the sheet most photos show,
z out of the printed side. One adjustment finds the lens, where each photo was taken from, and
where the other sheets lie; one photo with one sheet is enough, more of both make it surer.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.photo import Photo
from fitkit.capture.print_scale import PrintScale
from fitkit.capture.sheet_view import SheetView
from fitkit.capture.tag_set import AnySheet
from fitkit.errors import PhotoError
from fitkit.geometry.arrays import Floats
from fitkit.geometry.rigid import RigidTransform

__all__ = ["TableView", "solve_table_views"]

# Deviations of what is believed of a phone's lens before measuring; as in the scan of a body.
_FOCAL_SIGMA = {True: 0.06, False: 0.2}
_CENTRE_SIGMA = 0.015
_K1_SIGMA, _K2_SIGMA = 0.15, 0.2
_GROWTH_SIGMA_PX = 0.3
# Of a measured saddle or edge, before the residuals tell better.
_SIGMA_PX = 0.1
# Sheets that miss their places by more than this do not lie flat.
_MOST_RMS_PX = 1.0
_LENS_UNKNOWNS = 5
_PHOTO_UNKNOWNS = 7


@dataclass(frozen=True, slots=True, eq=False)
class TableView:
    """A photo with its place over the table.

    Attributes
    ----------
    photo
        Index of the photo.
    camera
        Its lens and pose; the world is the table frame.
    sheets
        The sheets it shows with ``table_from_sheet``.
    rms_px
        How well lens, poses and sheets go with what was measured in all photos.
    doubt
        (K, U) float: the K unknowns' square-root covariance, for :meth:`sigma_mm`.
    """

    photo: int
    camera: Camera
    sheets: tuple[tuple[AnySheet, RigidTransform], ...]
    rms_px: float
    print_sigma: float
    doubt: tuple[Camera, ...] = ()

    @property
    def tilt_rad(self) -> float:
        """How far from straight down the photo looks."""
        down = self.camera.camera_from_world.rotation[2]
        return float(np.arccos(np.clip(-down[2], -1.0, 1.0)))

    def pixels(self, points_mm: Floats, height_mm: float = 0.0) -> Floats:
        """(N, 2) float px: where the photo shows (N, 2) mm points ``height_mm`` over the table."""
        return self.camera.project(_lifted(points_mm, height_mm))

    def on_table(self, pixels_px: Floats, height_mm: float = 0.0) -> Floats:
        """(N, 2) float mm: the points ``height_mm`` over the table that (N, 2) pixels show."""
        return _on_plane(self.camera, pixels_px, height_mm)

    def sigma_mm(self, points_mm: Floats) -> Floats:
        """(N,) float mm: deviation of places on the table as the solved poses leave it.

        Differences to the mean shift over the points are what counts for a shape; the scale of
        the print adds to them with the distance from the middle.
        """
        pixels = self.pixels(points_mm)
        moved = []
        for other in self.doubt:
            shift = _on_plane(other, pixels, 0.0) - points_mm
            moved.append(_without_rigid_motion(points_mm, shift))
        poses = np.sum(np.square(moved), axis=(0, 2)) if moved else np.zeros(len(points_mm))
        reach = np.linalg.norm(points_mm - points_mm.mean(axis=0), axis=1)
        sigma: Floats = np.sqrt(poses + (self.print_sigma * reach) ** 2)
        return sigma


def solve_table_views(
    photos: Sequence[Photo], views: Sequence[SheetView], printed: PrintScale
) -> tuple[TableView, ...]:
    """Return every photo's view of the table.

    Parameters
    ----------
    photos
        Photos of the table; only names, sizes and lens remarks are used.
    views
        Marker sheets measured in them.
    printed
        The sheets' true size.

    Raises
    ------
    PhotoError
        When no sheet was found, or the sheets do not lie in one plane.
    """
    if not views:
        raise PhotoError(
            "No marker sheet can be read in the photos.",
            "Lay one or more printed marker sheets flat beside the piece and take the photo "
            "again so that a whole sheet shows.",
        )
    problem = _Problem(photos, views, printed)
    return problem.solve()


class _Problem:
    """Unknowns and measurements of one adjustment.

    The unknowns stand in one row: lenses (log focal, centre x, centre y in parts of the long
    side, k1, k2), photos (turn, shift, growth), sheets but the first (x, y, turn).
    """

    def __init__(
        self, photos: Sequence[Photo], views: Sequence[SheetView], printed: PrintScale
    ) -> None:
        self.photos = photos
        self.printed = printed
        self.views = _connected(views)
        self.used = sorted({view.photo for view in self.views})
        seen = Counter(view.sheet.tag_id for view in self.views)
        self.tags = sorted(seen, key=lambda tag: (-seen[tag], tag))
        self.sheet_of = {view.sheet.tag_id: view.sheet for view in self.views}
        keys = [photos[index].lens_key for index in self.used]
        self.lens_keys = sorted(set(keys), key=keys.index)
        self.lens_row = {index: self.lens_keys.index(photos[index].lens_key) for index in self.used}

    def solve(self) -> tuple[TableView, ...]:
        start = self._start()
        sigma = _SIGMA_PX
        for _ in range(2):
            found = least_squares(
                lambda x, s=sigma: self._residuals(x, s),
                start,
                loss="soft_l1",
                x_scale="jac",
                max_nfev=200,
            )
            start = found.x
            measured = self._misfits_px(start)
            # A robust deviation, so that one smeared saddle does not loosen all.
            sigma = max(0.03, 1.4826 * float(np.median(np.abs(measured))))
        rms = float(np.sqrt(np.mean(np.minimum(np.abs(measured), 5 * sigma) ** 2)))
        if rms > _MOST_RMS_PX:
            raise PhotoError(
                f"The marker sheets miss one another by {rms:.1f} px: they do not lie flat, or one "
                "moved between the photos.",
                "Tape the sheets to the table so that they lie flat, and take the photos again.",
            )
        roots = _covariance_roots(np.asarray(found.jac))
        return tuple(
            TableView(
                index,
                self._camera(start, index),
                tuple(
                    (self.sheet_of[tag], self._sheet(start, tag))
                    for tag in self.tags
                    if any(v.photo == index and v.sheet.tag_id == tag for v in self.views)
                ),
                rms,
                self.printed.sigma,
                tuple(self._camera(start + root, index) for root in roots),
            )
            for index in self.used
        )

    # -- unknowns ---------------------------------------------------------------------

    def _photo_place(self, index: int) -> int:
        return _LENS_UNKNOWNS * len(self.lens_keys) + _PHOTO_UNKNOWNS * self.used.index(index)

    def _sheet_place(self, tag: int) -> int:
        first = _LENS_UNKNOWNS * len(self.lens_keys) + _PHOTO_UNKNOWNS * len(self.used)
        return first + 3 * (self.tags.index(tag) - 1)

    def _camera(self, x: Floats, index: int) -> Camera:
        photo = self.photos[index]
        log_focal, cx, cy, k1, k2 = x[_LENS_UNKNOWNS * self.lens_row[index] :][:_LENS_UNKNOWNS]
        longest = max(photo.width_px, photo.height_px)
        lens = Lens(
            photo.width_px,
            photo.height_px,
            float(np.exp(log_focal)),
            0.5 * (photo.width_px - 1) + float(cx) * longest,
            0.5 * (photo.height_px - 1) + float(cy) * longest,
            float(k1),
            float(k2),
        )
        place = self._photo_place(index)
        turn = Rotation.from_rotvec(x[place : place + 3]).as_matrix()
        return Camera(photo.name, lens, RigidTransform(turn, x[place + 3 : place + 6]))

    def _sheet(self, x: Floats, tag: int) -> RigidTransform:
        if tag == self.tags[0]:
            return RigidTransform.identity()
        shift_x, shift_y, turn = x[self._sheet_place(tag) :][:3]
        c, s = np.cos(turn), np.sin(turn)
        return RigidTransform(
            np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]]),
            np.array([shift_x, shift_y, 0.0]),
        )

    # -- measurements -----------------------------------------------------------------

    def _misfits_px(self, x: Floats) -> Floats:
        parts = []
        for view in self.views:
            camera = self._camera(x, view.photo)
            sheet = self._sheet(x, view.sheet.tag_id)
            growth = x[self._photo_place(view.photo) + 6]

            def shown(
                points: Floats, camera: Camera = camera, sheet: RigidTransform = sheet
            ) -> Floats:
                return camera.project(sheet.apply(self.printed.of_sheet(points)))

            edges = view.edges
            off = edges.pixels_px - shown(edges.points_mm)
            parts.append(np.sum(off * edges.outward, axis=1) - growth)
            saddles = view.sheet.saddles_mm()[view.saddles.which]
            if len(saddles):
                parts.append((view.saddles.pixels_px - shown(saddles)).ravel())
        return np.concatenate(parts)

    def _residuals(self, x: Floats, sigma_px: float) -> Floats:
        priors = []
        for row, key in enumerate(self.lens_keys):
            photo = next(self.photos[i] for i in self.used if self.photos[i].lens_key == key)
            log_focal, cx, cy, k1, k2 = x[_LENS_UNKNOWNS * row :][:_LENS_UNKNOWNS]
            priors += [
                (log_focal - np.log(photo.focal_px)) / _FOCAL_SIGMA[photo.focal_known],
                cx / _CENTRE_SIGMA,
                cy / _CENTRE_SIGMA,
                k1 / _K1_SIGMA,
                k2 / _K2_SIGMA,
            ]
        growths = [x[self._photo_place(index) + 6] / _GROWTH_SIGMA_PX for index in self.used]
        return np.concatenate([self._misfits_px(x) / sigma_px, priors, growths])

    # -- start --------------------------------------------------------------------------

    def _start(self) -> Floats:
        poses = {
            (view.photo, view.sheet.tag_id): _pose(self.photos[view.photo], view, self.printed)
            for view in self.views
        }
        table_from_sheet = {self.tags[0]: RigidTransform.identity()}
        camera_from_table: dict[int, RigidTransform] = {}
        # The views are connected, so each round places at least one more photo or sheet.
        while len(table_from_sheet) < len(self.tags) or len(camera_from_table) < len(self.used):
            for (photo, tag), camera_from_sheet in poses.items():
                if photo not in camera_from_table and tag in table_from_sheet:
                    camera_from_table[photo] = camera_from_sheet @ table_from_sheet[tag].inverse()
                elif photo in camera_from_table and tag not in table_from_sheet:
                    table_from_sheet[tag] = camera_from_table[photo].inverse() @ camera_from_sheet
        x = np.zeros(
            _LENS_UNKNOWNS * len(self.lens_keys)
            + _PHOTO_UNKNOWNS * len(self.used)
            + 3 * (len(self.tags) - 1)
        )
        for index in self.used:
            x[_LENS_UNKNOWNS * self.lens_row[index]] = np.log(self.photos[index].focal_px)
            place = self._photo_place(index)
            pose = camera_from_table[index]
            x[place : place + 3] = Rotation.from_matrix(pose.rotation).as_rotvec()
            x[place + 3 : place + 6] = pose.translation_mm
        for tag in self.tags[1:]:
            pose = table_from_sheet[tag]
            x[self._sheet_place(tag) :][:3] = [
                *pose.translation_mm[:2],
                np.arctan2(pose.rotation[1, 0], pose.rotation[0, 0]),
            ]
        return x


def _connected(views: Sequence[SheetView]) -> list[SheetView]:
    """Return the largest set of views that hang together by shared sheets or photos."""
    left = list(views)
    best: list[SheetView] = []
    while left:
        group = [left.pop(0)]
        grown = True
        while grown:
            photos = {view.photo for view in group}
            tags = {view.sheet.tag_id for view in group}
            more = [v for v in left if v.photo in photos or v.sheet.tag_id in tags]
            grown = bool(more)
            group += more
            left = [v for v in left if v not in more]
        if len(group) > len(best):
            best = group
    return best


def _pose(photo: Photo, view: SheetView, printed: PrintScale) -> RigidTransform:
    points, pixels = view.points()
    matrix = np.array(
        [
            [photo.focal_px, 0.0, 0.5 * (photo.width_px - 1)],
            [0.0, photo.focal_px, 0.5 * (photo.height_px - 1)],
            [0.0, 0.0, 1.0],
        ]
    )
    ok, turn, shift = cv2.solvePnP(
        printed.of_sheet(points), pixels, matrix, None, flags=cv2.SOLVEPNP_IPPE
    )
    if not ok:
        raise PhotoError(
            f"The {view.sheet.called} in {photo.name} is seen too much at a slant.",
            "Take the photo from straighter above.",
        )
    matrix_of_turn = np.asarray(cv2.Rodrigues(turn)[0], dtype=np.float64)
    return RigidTransform(matrix_of_turn, np.asarray(shift, dtype=np.float64).ravel())


def _covariance_roots(jac: Floats) -> Floats:
    """(K, U): steps of the unknowns whose outer products add up to their covariance."""
    scale = np.linalg.norm(jac, axis=0)
    scale[scale == 0] = 1.0
    values, vectors = np.linalg.eigh((jac / scale).T @ (jac / scale))
    steps = vectors / np.sqrt(np.maximum(values, 1e-12))
    roots: Floats = (steps / scale[:, None]).T
    return roots


def _lifted(points_mm: Floats, height_mm: float) -> Floats:
    return np.column_stack([points_mm, np.full(len(points_mm), height_mm)])


def _on_plane(camera: Camera, pixels_px: Floats, height_mm: float) -> Floats:
    lens = camera.lens
    straight = cv2.undistortPoints(
        np.asarray(pixels_px, dtype=np.float64).reshape(-1, 1, 2),
        lens.matrix(),
        lens.distortion(),
        None,
        None,
        None,
        (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 60, 1e-12),
    ).reshape(-1, 2)
    rays: Floats = np.column_stack([straight, np.ones(len(straight))]).astype(np.float64)
    world = camera.camera_from_world.inverse()
    directions = world.turn(rays)
    start = world.translation_mm
    reach = (height_mm - start[2]) / directions[:, 2]
    hit: Floats = start[:2] + reach[:, None] * directions[:, :2]
    return hit


def _without_rigid_motion(points_mm: Floats, shifts_mm: Floats) -> Floats:
    """Return shifts less the mean shift and turn in them, which do not change a shape."""
    arms = points_mm - points_mm.mean(axis=0)
    shifts = shifts_mm - shifts_mm.mean(axis=0)
    across = np.column_stack([-arms[:, 1], arms[:, 0]])
    turn = float(np.sum(across * shifts)) / max(float(np.sum(arms * arms)), 1e-12)
    left: Floats = shifts - turn * across
    return left
