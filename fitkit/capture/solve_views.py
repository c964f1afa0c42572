"""From measured marker sheets to cameras and sheets in the world."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from fitkit.capture.bent_sheets import posed_as_one, split_bent_sheets
from fitkit.capture.bundle_adjustment import adjust, camera_scale_sigma, residuals_px
from fitkit.capture.camera import Camera, Lens
from fitkit.capture.marker_sheet import MarkerSheet
from fitkit.capture.outlier_views import drop_misfits
from fitkit.capture.photo import Photo
from fitkit.capture.photo_network import LensPriors, Network, Sightings
from fitkit.capture.pose_start import SeenPoints, largest_connected, place_all
from fitkit.capture.print_scale import PrintScale, print_scale, tag_scale
from fitkit.capture.rigid_groups import views_of_subject
from fitkit.capture.scan import SolvedCameras, SolvedSheet
from fitkit.capture.sensor_axes import in_sensor_axes, upright_camera
from fitkit.capture.sheet_view import SheetView
from fitkit.capture.tag_set import OUR_SHEETS, AnySheet, TagSet
from fitkit.capture.world_frame import world_from_sheets
from fitkit.errors import InputError, PhotoError
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Bools, Floats
from fitkit.geometry.rigid import RigidTransform

__all__ = ["solve_views"]

_FEWEST_PHOTOS = 3
# Deviations to start with; both are measured from the residuals afterwards.
_SADDLE_SIGMA_PX = 0.08
_EDGE_SIGMA_PX = 0.08
_LEAST_SIGMA_PX = 0.01
# How far a lens may be from the guess: the EXIF figure is rounded and leaves open whether it
# goes by width or diagonal (4 %); the usual phone lens is a wider guess. Centre as a part of
# the long side; k1, k2, p1, p2 of phone lenses (common practice, no source).
_FOCAL_SIGMA = {True: 0.06, False: 0.2}
_CENTRE_SIGMA = 0.015
_DISTORTION_SIGMA = (0.15, 0.2, 0.001, 0.001)
# Photos that all see one plane at one slant leave centre and tangents open, and what is
# believed of them must be believed more firmly: within this angle nothing is told.
_ONE_SLANT_RAD = np.radians(1.0)
_FIRM_CENTRE_SIGMA, _FIRM_TANGENT_SIGMA = 0.003, 1e-4
_ROUGH_RMS_PX = 1.0
_FAR_FOCAL = 0.25
# How far tone curve and ink may move an edge that nothing else tells of: measured 0.1 to 0.3
# px in the trials with several tone curves.
_OPEN_GROWTH_PX = 0.2
# How unlike the growth of outlines and of the squares within came out in those trials.
_UNLIKE_GROWTH_PX = 0.04
_MOSTLY = 0.5
# A sheet that fits by so much worse than all does so because it is not quite flat.
_UNEVEN = 2.0


def solve_views(
    photos: Sequence[Photo],
    views: Sequence[SheetView],
    *,
    printed_mm: tuple[float, float] | None = None,
    tags: TagSet = OUR_SHEETS,
    earlier: Sequence[Finding] = (),
) -> SolvedCameras:
    """Find the cameras of photos from the marker sheets measured in them.

    Parameters
    ----------
    photos
        All photos; only their names, sizes and lens remarks are used.
    views
        The sheets measured in them, with ``SheetView.photo`` the index into ``photos``.
    printed_mm
        As for :func:`fitkit.capture.solve_cameras.solve_cameras`.
    tags
        What the views show: fitkit's own sheets, or tags of a maker's own.
    earlier
        Findings of the measuring, passed on and quoted where nothing can be solved.

    Raises
    ------
    PhotoError
        When fewer than three photos show sheets that connect them.
    InputError
        When ``printed_mm`` cannot be the lengths of the check lines.
    """
    findings = list(earlier)
    photos, views = in_sensor_axes(photos, views)
    _demand_enough(photos, {view.photo for view in views}, findings)
    still, remarks = views_of_subject(photos, views)
    findings.extend(remarks)
    in_use = _connected(still, photos, findings)
    printed, remarks = _scale_of_prints(in_use, printed_mm, tags)
    findings.extend(remarks)
    solution = _Solution(photos, in_use, printed, tags, findings)
    solution.start()
    _demand_enough(photos, set(solution.photo_of_camera), findings)
    solution.adjust()
    _demand_enough(photos, set(solution.photo_of_camera), findings)
    solved = solution.in_world()
    turns = {photo.name: photo.quarter_turns for photo in photos}
    cameras = tuple(upright_camera(camera, turns[camera.photo]) for camera in solved.cameras)
    return replace(solved, cameras=cameras, tags_of_photo=_tags_of_photo(photos, views))


def _tags_of_photo(
    photos: Sequence[Photo], views: Sequence[SheetView]
) -> tuple[tuple[str, tuple[int, ...]], ...]:
    seen: dict[int, set[int]] = {}
    for view in views:
        seen.setdefault(view.photo, set()).add(view.sheet.tag_id)
    return tuple((photos[index].name, tuple(sorted(seen[index]))) for index in sorted(seen))


def _scale_of_prints(
    views: Sequence[SheetView], printed_mm: tuple[float, float] | None, tags: TagSet
) -> tuple[PrintScale, tuple[Finding, ...]]:
    if tags.ours:
        ours = [view.sheet for view in views if isinstance(view.sheet, MarkerSheet)]
        return print_scale(ours, printed_mm)
    if printed_mm is not None:
        raise InputError(
            "Measured check lines were given, but tags of your own have none.",
            "Measure the side of a tag instead and give it as side_mm.",
        )
    scale, remarks = tag_scale(tags)
    growth, doubt = _growth_left_open(views)
    return replace(scale, sigma=float(np.hypot(scale.sigma, growth))), (*remarks, *doubt)


def _growth_left_open(views: Sequence[SheetView]) -> tuple[float, tuple[Finding, ...]]:
    """Return what part of the scale the growth of black leaves open.

    Where the squares inside the tags do not show, nothing tells how much larger black
    seems, the same in all photos.
    """
    sides = [
        float(np.linalg.norm(np.diff(view.edges.corners_px, axis=0), axis=1).mean())
        for view in views
    ]
    # Black grows alike all over a photo: one tag that tells is enough for it.
    telling = {view.photo for view in views if view.edges.inside.any()}
    side_px = float(np.median(sides))
    if len(telling) >= _MOSTLY * len({view.photo for view in views}):
        return 2 * _UNLIKE_GROWTH_PX / side_px, ()
    sigma = 2 * _OPEN_GROWTH_PX / side_px
    return sigma, (
        Finding(
            "tags-small-in-photos",
            Severity.WARNING,
            "tags",
            f"The tags are about {side_px:.0f} px wide in the photos, too small to see "
            f"how much ink and exposure widen their black; that leaves {100 * sigma:.1f} % of the "
            "scale open.",
            "Go nearer, use larger tags, or lay a tape between two tags far apart and give it as "
            "a check length.",
            number=round(100 * sigma, 3),
            limit=0.25,
            unit="%",
        ),
    )


def _demand_enough(photos: Sequence[Photo], usable: set[int], findings: Sequence[Finding]) -> None:
    if len(usable) >= _FEWEST_PHOTOS:
        return
    if not usable:
        reasons = sorted({f.code for f in findings if f.code.startswith("photo-")})
        blurred = f" ({', '.join(reasons)})" if reasons else ""
        raise PhotoError(
            f"None of the {len(photos)} photos shows a marker sheet that can be read{blurred}.",
            "Print marker sheets, lay them flat around the wearer and take the photos again.",
        )
    names = ", ".join(photos[index].name for index in sorted(usable))
    raise PhotoError(
        f"Only {len(usable)} of the {len(photos)} photos ({names}) show marker sheets that "
        f"connect them; at least {_FEWEST_PHOTOS} are needed.",
        "Take more photos, each with at least two marker sheets that other photos show too.",
    )


def _connected(
    views: Sequence[SheetView], photos: Sequence[Photo], findings: list[Finding]
) -> list[SheetView]:
    """Keep the largest group of photos that share sheets; name the others."""
    cameras, _ = largest_connected([(view.photo, view.sheet.tag_id) for view in views])
    for index in sorted({view.photo for view in views} - cameras):
        findings.append(_not_connected(photos[index].name))
    _demand_enough(photos, cameras, findings)
    return [view for view in views if view.photo in cameras]


def _not_connected(name: str) -> Finding:
    return Finding(
        "photo-not-connected",
        Severity.WARNING,
        name,
        f"{name} was left out: none of the marker sheets in it ties it to the other photos.",
        "Take photos so that each shows at least two marker sheets that others show too.",
    )


class _Solution:
    """The network of one set of photos on its way from first poses to the world."""

    def __init__(
        self,
        photos: Sequence[Photo],
        views: Sequence[SheetView],
        printed: PrintScale,
        tags: TagSet,
        findings: list[Finding],
    ) -> None:
        self._photos = photos
        self._views = sorted(views, key=lambda view: (view.photo, view.sheet.tag_id))
        self._printed = printed
        self._tags = tags
        self._findings = findings
        self._lens_keys = sorted({photos[view.photo].lens_key for view in views})
        self._priors = self._lens_priors()
        self.photo_of_camera: list[int] = []
        self._tag_of_sheet: list[int] = []

    def _lens_priors(self) -> LensPriors:
        values, sigmas = [], []
        for key in self._lens_keys:
            photo = next(
                self._photos[view.photo]
                for view in self._views
                if self._photos[view.photo].lens_key == key
            )
            centre_x, centre_y = (photo.width_px - 1) / 2, (photo.height_px - 1) / 2
            values.append([photo.focal_px, centre_x, centre_y, 0, 0, 0, 0])
            centre_sigma = _CENTRE_SIGMA * max(photo.width_px, photo.height_px)
            focal_sigma = _FOCAL_SIGMA[photo.focal_known] * photo.focal_px
            sigmas.append([focal_sigma, centre_sigma, centre_sigma, *_DISTORTION_SIGMA])
        return LensPriors(np.array(values, dtype=np.float64), np.array(sigmas))

    def start(self) -> None:
        """Find first poses; leave out what cannot be placed."""
        lens_of_photo = np.array(
            [
                self._lens_keys.index(photo.lens_key) if photo.lens_key in self._lens_keys else 0
                for photo in self._photos
            ],
            dtype=np.int64,
        )
        points = []
        for view in self._views:
            points_mm, pixels = view.points()
            points.append(
                SeenPoints(view.photo, view.sheet.tag_id, self._printed.of_sheet(points_mm), pixels)
            )
        placed = place_all(points, lens_of_photo, self._priors)
        for index in sorted({view.photo for view in self._views} - set(placed.camera_from_start)):
            self._findings.append(_not_connected(self._photos[index].name))
        self._views = [
            view
            for view in self._views
            if view.photo in placed.camera_from_start
            and view.sheet.tag_id in placed.start_from_sheet
        ]
        self.photo_of_camera = sorted({view.photo for view in self._views})
        self._tag_of_sheet = sorted({view.sheet.tag_id for view in self._views})
        cameras = [placed.camera_from_start[index] for index in self.photo_of_camera]
        sheets = [placed.start_from_sheet[tag_id] for tag_id in self._tag_of_sheet]
        self._network = Network(
            placed.lenses,
            lens_of_photo[self.photo_of_camera],
            np.array([pose.rotation for pose in cameras]),
            np.array([pose.translation_mm for pose in cameras]),
            np.zeros(len(cameras)),
            np.array([pose.rotation for pose in sheets]),
            np.array([pose.translation_mm for pose in sheets]),
        )
        self._hold_open_lenses()

    def _hold_open_lenses(self) -> None:
        """Believe more firmly in lenses of which the photos cannot tell enough.

        Turning a plane about its own normal before a still camera adds nothing to what one
        photo of it tells of the lens (Z. Zhang, "A flexible new technique for camera
        calibration", IEEE PAMI 22(11), 2000, pp. 1330-1334, section 4).
        """
        network = self._network
        cameras = [self.photo_of_camera.index(view.photo) for view in self._views]
        sheets = [self._tag_of_sheet.index(view.sheet.tag_id) for view in self._views]
        up = network.sheet_rotations[sheets, :, 2]
        normals = np.einsum("vij,vj->vi", network.camera_rotations[cameras], up)
        lens_of_view = network.lens_of_camera[cameras]
        sigmas, lenses = self._priors.sigmas.copy(), network.lenses.copy()
        for lens in np.unique(lens_of_view):
            seen = normals[lens_of_view == lens]
            middle = seen.mean(axis=0) / np.linalg.norm(seen.mean(axis=0))
            if np.percentile(seen @ middle, 10.0) < np.cos(_ONE_SLANT_RAD):
                continue
            sigmas[lens, 1:3] *= _FIRM_CENTRE_SIGMA / _CENTRE_SIGMA
            sigmas[lens, 5:] = _FIRM_TANGENT_SIGMA
            lenses[lens] = self._priors.values[lens]
            self._findings.append(self._one_slant(self._lens_keys[lens]))
        self._priors = replace(self._priors, sigmas=sigmas)
        self._network = replace(network, lenses=lenses)

    def _one_slant(self, key: str) -> Finding:
        name = next(p.name for p in self._photos if p.lens_key == key)
        return Finding(
            "one-slant",
            Severity.NOTE,
            name,
            f"{name} and its like all see the marker sheets at the same slant, which tells "
            "little of their lens; what is usual was taken for its centre.",
            "Take three or four more from clearly higher and lower.",
        )

    def adjust(self) -> None:
        """Adjust on saddles and edges, leaving out views that do not fit the others."""
        sightings = self._sightings()
        network = adjust(self._network, sightings, self._priors, huber=3.0, max_rounds=25)
        pieced = split_bent_sheets(
            network,
            sightings,
            self._priors,
            sheets=[self._sheet(tag_id) for tag_id in self._tag_of_sheet],
        )
        self._findings.extend(pieced.findings)
        # From here on a sheet of the network may be a part of one.
        self._tag_of_sheet = [self._tag_of_sheet[k] for k in pieced.sheet_of_piece]
        fitting = drop_misfits(
            pieced.network,
            pieced.sightings,
            self._priors,
            photo_names=[self._photos[index].name for index in self.photo_of_camera],
            sheets=[self._sheet(tag_id) for tag_id in self._tag_of_sheet],
        )
        self._network, sightings = fitting.network, fitting.sightings
        self._findings.extend(fitting.findings)
        self.photo_of_camera = [self.photo_of_camera[k] for k in fitting.cameras]
        self._tag_of_sheet = [self._tag_of_sheet[k] for k in fitting.sheets]
        # Deviations as the residuals show them; rows far outside them are no measurements.
        for _ in range(2):
            sightings = _with_measured_sigmas(self._network, sightings)
            self._network = adjust(self._network, sightings, self._priors)
        off = np.abs(residuals_px(self._network, sightings)) / sightings.sigma_px
        sightings = _without_rows(sightings, off > 6.0)
        self._network = adjust(self._network, sightings, self._priors)
        self._sightings_used = sightings

    def _sightings(self) -> Sightings:
        cameras, sheets, points, pixels, directions, grows, sigmas = [], [], [], [], [], [], []
        for view in self._views:
            saddles = view.sheet.saddles_mm()[view.saddles.which]
            edges = view.edges
            rows = 2 * len(saddles) + len(edges.points_mm)
            cameras.append(np.full(rows, self.photo_of_camera.index(view.photo)))
            sheets.append(np.full(rows, self._tag_of_sheet.index(view.sheet.tag_id)))
            nominal = np.concatenate([np.repeat(saddles, 2, axis=0), edges.points_mm])
            points.append(self._printed.of_sheet(nominal))
            pixels.append(
                np.concatenate([np.repeat(view.saddles.pixels_px, 2, axis=0), edges.pixels_px])
            )
            directions.append(
                np.concatenate([np.tile(np.eye(2), (len(saddles), 1)), edges.outward])
            )
            grows.append(np.r_[np.zeros(2 * len(saddles)), np.ones(len(edges.points_mm))])
            sigmas.append(
                np.r_[
                    np.full(2 * len(saddles), _SADDLE_SIGMA_PX),
                    np.full(len(edges.points_mm), _EDGE_SIGMA_PX),
                ]
            )
        return Sightings(
            np.concatenate(cameras),
            np.concatenate(sheets),
            np.concatenate(points),
            np.concatenate(pixels),
            np.concatenate(directions),
            np.concatenate(grows),
            np.concatenate(sigmas),
        )

    def in_world(self) -> SolvedCameras:
        """Return the solution in the world frame."""
        network, sightings = self._network, self._sightings_used
        sheets = self._posed_sheets()
        world_from_start, remarks = world_from_sheets(
            sheets, network.centres_mm(), network.camera_rotations[:, 2]
        )
        start_from_world = world_from_start.inverse()
        lenses = [
            self._lens(key, values)
            for key, values in zip(self._lens_keys, network.lenses, strict=True)
        ]
        cameras = tuple(
            Camera(
                self._photos[photo].name,
                lenses[network.lens_of_camera[index]],
                RigidTransform(
                    _nearest_rotation(network.camera_rotations[index]),
                    network.camera_shifts_mm[index],
                )
                @ start_from_world,
            )
            for index, photo in enumerate(self.photo_of_camera)
        )
        residuals = residuals_px(network, sightings)
        # Two rows make one saddle; a station on an edge is one row.
        measured = float((sightings.grows > 0).sum() + (sightings.grows == 0).sum() / 2)
        rms_px = float(np.sqrt((residuals**2).sum() / measured))
        sigma = camera_scale_sigma(network, sightings, self._priors)
        return SolvedCameras(
            cameras=cameras,
            sheets=tuple(
                SolvedSheet(s.tag_id, world_from_start @ pose, self._tags) for s, pose in sheets
            ),
            reprojection_rms_px=rms_px,
            scale_sigma=float(np.hypot(sigma, self._printed.sigma)),
            scale_doubts=(
                ("saddles and edges as the photos show them", sigma),
                (
                    "printed size of the sheets" if self._tags.ours else "side of the tags",
                    self._printed.sigma,
                ),
            ),
            findings=(*self._findings, *remarks, *self._lens_remarks(), *_rough_remark(rms_px)),
        )

    def _posed_sheets(self) -> list[tuple[AnySheet, RigidTransform]]:
        """Return each sheet once with its pose, bent ones as they lie on the whole."""
        network, sightings = self._network, self._sightings_used
        posed = []
        for tag_id in sorted(set(self._tag_of_sheet)):
            pieces = [k for k, other in enumerate(self._tag_of_sheet) if other == tag_id]
            sheet = self._sheet(tag_id)
            poses = [
                RigidTransform(
                    _nearest_rotation(network.sheet_rotations[k]), network.sheet_shifts_mm[k]
                )
                for k in pieces
            ]
            points = [sightings.points_mm[sightings.sheet == k] for k in pieces]
            posed.append((sheet, posed_as_one(sheet, poses, points)))
        return posed

    def _sheet(self, tag_id: int) -> AnySheet:
        sheet = self._tags.sheet_of_tag(tag_id)
        assert sheet is not None, "only what has a sheet is measured"
        return sheet

    def _lens(self, key: str, values: Floats) -> Lens:
        photo = next(p for p in self._photos if p.lens_key == key)
        return Lens(photo.width_px, photo.height_px, *(float(value) for value in values))

    def _lens_remarks(self) -> list[Finding]:
        remarks = []
        used = set(self._network.lens_of_camera.tolist())
        for index, key in enumerate(self._lens_keys):
            photo = next(p for p in self._photos if p.lens_key == key)
            ratio = float(self._network.lenses[index, 0]) / photo.focal_px
            if index in used and photo.focal_known and abs(ratio - 1) > _FAR_FOCAL:
                remarks.append(
                    Finding(
                        "lens-unlike-exif",
                        Severity.WARNING,
                        photo.name,
                        f"The lens of {photo.name} and its like came out {ratio:.2f} times as long "
                        "as the file says; the photos may have been cropped.",
                        "Use the photos as the camera stored them.",
                        number=ratio,
                        limit=1 + _FAR_FOCAL,
                    )
                )
        return remarks


def _rough_remark(rms_px: float) -> list[Finding]:
    if rms_px <= _ROUGH_RMS_PX:
        return []
    return [
        Finding(
            "cameras-rough",
            Severity.WARNING,
            "photos",
            f"The marker sheets fit the photos to {rms_px:.2f} px only; sheets that are not "
            "flat or that moved do that.",
            "Tape the sheets flat to the floor and take all photos without touching them.",
            number=round(rms_px, 3),
            limit=_ROUGH_RMS_PX,
            unit="px",
        )
    ]


def _with_measured_sigmas(network: Network, sightings: Sightings) -> Sightings:
    """Return the sightings with the deviations that the residuals of each kind show.

    What is left of a sheet that does not lie flat has the less say.
    """
    residuals = np.abs(residuals_px(network, sightings))
    sigma = sightings.sigma_px.copy()
    for kind in (0.0, 1.0):
        rows = sightings.grows == kind
        if rows.sum() > 20:
            # The median of a normal deviate's size is 0.6745 deviations.
            sigma[rows] = max(float(np.median(residuals[rows])) / 0.6745, _LEAST_SIGMA_PX)
    for sheet in range(len(network.sheet_rotations)):
        rows = sightings.sheet == sheet
        if rows.sum() > 20:
            excess = float(np.median(residuals[rows] / sigma[rows])) / 0.6745
            sigma[rows] *= excess if excess > _UNEVEN else 1.0
    return replace(sightings, sigma_px=sigma)


def _without_rows(sightings: Sightings, off: Bools) -> Sightings:
    """Drop single rows, but never most of what one camera or sheet has."""
    keep = ~off
    for owners in (sightings.camera, sightings.sheet):
        lost = np.bincount(owners, weights=off) / np.maximum(np.bincount(owners), 1)
        keep |= (lost > 0.3)[owners]
    return sightings.where(keep)


def _nearest_rotation(matrix: Floats) -> Floats:
    """Return the rotation nearest to a matrix that rounding has worn."""
    u, _, vt = np.linalg.svd(matrix)
    rotation: Floats = u @ vt
    return rotation
