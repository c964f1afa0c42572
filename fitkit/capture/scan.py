"""What the photos gave: cameras, sheets, point cloud, raw surface, and how far to trust each."""

from __future__ import annotations

from dataclasses import dataclass

from fitkit.capture.camera import Camera
from fitkit.capture.check_length import CheckedLength
from fitkit.capture.tag_set import OUR_SHEETS, AnySheet, TagSet
from fitkit.findings import Finding
from fitkit.geometry.arrays import Floats, frozen_floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.rigid import RigidTransform

__all__ = ["CaptureVolume", "Scan", "SolvedCameras", "SolvedSheet"]


@dataclass(frozen=True, slots=True, eq=False)
class SolvedSheet:
    """Where one marker sheet, or one tag of a maker's own, lay."""

    tag_id: int
    world_from_sheet: RigidTransform
    tags: TagSet = OUR_SHEETS

    def sheet(self) -> AnySheet | None:
        """Return what is printed on it."""
        return self.tags.sheet_of_tag(self.tag_id)


@dataclass(frozen=True, slots=True, eq=False)
class SolvedCameras:
    """Result of the bundle adjustment, in the world frame.

    World: millimetres, z up, z = 0 the plane of the sheets on the floor, the wearer facing
    -y as the arrow on sheet 1 says (roughly; the body room settles it), origin below the
    point the cameras looked at.

    Attributes
    ----------
    cameras
        One per photo that was solved.
    sheets
        One per sheet that was seen.
    reprojection_rms_px
        Root mean square distance of the saddles and edges used.
    scale_sigma
        One standard deviation of the scale as a fraction (0.001 is 0.1 %).
    scale_doubts
        What the scale rests on, in words, and one standard deviation of what each leaves open.
    findings
        Photos left out with the reason, lens and scale remarks.
    checks
        Lengths laid by tape that the scale was held to.
    tags_of_photo
        Photo name and the ids of the tags measured in it, left-out photos included; a photo
        without any is not in it.
    """

    cameras: tuple[Camera, ...]
    sheets: tuple[SolvedSheet, ...]
    reprojection_rms_px: float
    scale_sigma: float
    findings: tuple[Finding, ...] = ()
    checks: tuple[CheckedLength, ...] = ()
    tags_of_photo: tuple[tuple[str, tuple[int, ...]], ...] = ()
    scale_doubts: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class CaptureVolume:
    """The upright round column in which the body stands; what lies outside is left out.

    ``centre_x_mm``/``centre_y_mm`` in the world, ``radius_mm`` round it, heights above the
    floor. What lies below ``bottom_mm`` (stand, table, floor) is not body.
    """

    centre_x_mm: float
    centre_y_mm: float
    radius_mm: float
    bottom_mm: float
    top_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Scan:
    """Cameras, cloud and surface in the world frame of :class:`SolvedCameras`.

    Attributes
    ----------
    solved
        The cameras and sheets.
    volume
        The column that was searched.
    cloud_mm, cloud_normals
        (P, 3) float: points seen by at least three photos, and their outward normals.
    surface
        One closed, outward wound mesh.
    surface_distance_mm
        (V,) float mm: distance from each surface vertex to the nearest cloud point; large
        where the surface only bridges what no photo saw.
    findings
        Those of the dense step.
    """

    solved: SolvedCameras
    volume: CaptureVolume
    cloud_mm: Floats
    cloud_normals: Floats
    surface: TriangleMesh
    surface_distance_mm: Floats
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "cloud_mm", frozen_floats(self.cloud_mm, (None, 3), "cloud_mm"))
        object.__setattr__(
            self,
            "cloud_normals",
            frozen_floats(self.cloud_normals, (len(self.cloud_mm), 3), "cloud_normals"),
        )
        object.__setattr__(
            self,
            "surface_distance_mm",
            frozen_floats(
                self.surface_distance_mm, (len(self.surface.vertices),), "surface_distance_mm"
            ),
        )
