"""A scan as files: cameras and sheets as JSON, cloud and surface as PLY."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from fitkit.capture.camera import Camera, Lens
from fitkit.capture.check_length import CheckedLength, CheckLength
from fitkit.capture.scan import CaptureVolume, Scan, SolvedCameras, SolvedSheet
from fitkit.capture.tag_set import OUR_SHEETS, TagSet
from fitkit.findings import Finding
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.mesh_files import ply_bytes, ply_contents
from fitkit.geometry.rigid import RigidTransform
from fitkit.job.plain_json import json_bytes
from fitkit.job.result_reading import read_result_bytes, read_result_json, reading_result

__all__ = ["read_scan", "read_solved_cameras", "scan_files"]

_FORMAT = 1


def scan_files(scan: Scan) -> dict[str, bytes]:
    """Return the files of a scan by name; :func:`read_scan` gives the same scan to the last bit."""
    solved = scan.solved
    values = {
        "format": _FORMAT,
        "unit": "mm",
        "reprojection_rms_px": solved.reprojection_rms_px,
        "scale_sigma": solved.scale_sigma,
        "scale_doubts": dict(solved.scale_doubts),
        "cameras": [
            {
                "photo": camera.photo,
                "lens": asdict(camera.lens),
                "camera_from_world": _pose(camera.camera_from_world),
            }
            for camera in solved.cameras
        ],
        "sheets": [
            {
                "tag_id": sheet.tag_id,
                "world_from_sheet": _pose(sheet.world_from_sheet),
                **({} if sheet.tags.ours else {"tags": asdict(sheet.tags)}),
            }
            for sheet in solved.sheets
        ],
        "checks": [asdict(one) for one in solved.checks],
        "tags_of_photo": {photo: list(tags) for photo, tags in solved.tags_of_photo},
        "findings": [finding.as_dict() for finding in solved.findings],
        "capture_volume": asdict(scan.volume),
        "surface_findings": [finding.as_dict() for finding in scan.findings],
    }
    cloud = TriangleMesh(scan.cloud_mm, np.zeros((0, 3), dtype=np.int64))
    return {
        "cameras.json": json_bytes(values, indent=1),
        "cloud.ply": ply_bytes(cloud, normals=scan.cloud_normals),
        "surface.ply": ply_bytes(
            scan.surface, vertex_floats={"distance_mm": scan.surface_distance_mm}
        ),
    }


def read_solved_cameras(folder: Path) -> SolvedCameras:
    """Return the cameras and sheets alone, which is quick.

    Raises
    ------
    JobError
        When a file is missing or damaged.
    """
    values = read_result_json(folder, "cameras.json", _FORMAT)
    with reading_result(folder, "cameras.json"):
        return SolvedCameras(
            cameras=tuple(
                Camera(row["photo"], Lens(**row["lens"]), _read_pose(row["camera_from_world"]))
                for row in values["cameras"]
            ),
            sheets=tuple(
                SolvedSheet(
                    int(row["tag_id"]),
                    _read_pose(row["world_from_sheet"]),
                    TagSet(**row["tags"]) if "tags" in row else OUR_SHEETS,
                )
                for row in values["sheets"]
            ),
            reprojection_rms_px=float(values["reprojection_rms_px"]),
            scale_sigma=float(values["scale_sigma"]),
            # Scans made before they were told apart have none.
            scale_doubts=tuple(values.get("scale_doubts", {}).items()),
            findings=tuple(Finding.from_dict(row) for row in values["findings"]),
            # Scans made before there were check lengths have none.
            checks=tuple(
                CheckedLength(**{**row, "check": CheckLength(**row["check"])})
                for row in values.get("checks", [])
            ),
            tags_of_photo=tuple(
                (photo, tuple(int(tag) for tag in tags))
                # Scans made before tags were kept have none.
                for photo, tags in values.get("tags_of_photo", {}).items()
            ),
        )


def read_scan(folder: Path) -> Scan:
    """Return the scan that :func:`scan_files` turned into files.

    Raises
    ------
    JobError
        When a file is missing or damaged.
    """
    solved = read_solved_cameras(folder)
    values = read_result_json(folder, "cameras.json", _FORMAT)
    with reading_result(folder, "cloud.ply"):
        cloud = ply_contents(read_result_bytes(folder, "cloud.ply"))
        normals = cloud.normals
        if normals is None:
            raise ValueError("no normals")
    with reading_result(folder, "surface.ply"):
        surface = ply_contents(read_result_bytes(folder, "surface.ply"))
        return Scan(
            solved=solved,
            volume=CaptureVolume(**values["capture_volume"]),
            cloud_mm=cloud.mesh.vertices,
            cloud_normals=normals,
            surface=surface.mesh,
            surface_distance_mm=surface.vertex_floats["distance_mm"],
            findings=tuple(Finding.from_dict(row) for row in values["surface_findings"]),
        )


def _pose(pose: RigidTransform) -> dict[str, Any]:
    return {"rotation": pose.rotation.tolist(), "translation_mm": pose.translation_mm.tolist()}


def _read_pose(values: dict[str, Any]) -> RigidTransform:
    return RigidTransform(np.array(values["rotation"]), np.array(values["translation_mm"]))
