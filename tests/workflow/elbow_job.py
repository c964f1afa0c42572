"""A job of two sleeves on a straight arm, whose body and patches stand in for what steps make."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from fitkit.body.body import Body, SegmentAxis
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.topology import boundary_loops
from fitkit.job.body_files import body_files
from fitkit.job.designs import patch_designs
from fitkit.job.job_folder import Job, open_job
from fitkit.job.made_from import FileDigests
from fitkit.job.patch_files import patch_files
from fitkit.patch.patch import Patch, PatchEdge
from tests.motion.simple_plates import tube

__all__ = ["TEXT", "arm", "elbow_job"]

TEXT = """\
format = 1

[job]
name = "Arm"

[body]
from_mesh = "arm.ply"

[motion]
needs = ["lift a cup"]

[[need]]
name = "lift a cup"
takes = { "elbow bend" = 110 }

[[line]]
name = "upper end"
kind = "level"
height_mm = 330

[[patch]]
name = "upper-arm sleeve"
inside = {height_mm = 400, bearing_deg = 90}
thickness_mm = 1

[[patch]]
name = "forearm sleeve"
inside = {height_mm = 200, bearing_deg = 90}
thickness_mm = 1
"""


def arm() -> Body:
    """Make a straight round arm, hanging, its elbow at 300 mm."""
    skin = tube(40.0, 40.0, 40.0, 560.0, 8.0)
    ring = len(skin.vertices) // len(np.unique(skin.vertices[:, 2]))
    ends = np.array([[0.0, 0.0, 40.0], [0.0, 0.0, 560.0]])
    low, top = len(skin.vertices), len(skin.vertices) + 1
    k = np.arange(ring)
    rim = len(skin.vertices) - ring
    caps = [
        np.stack([np.full(ring, low), (k + 1) % ring, k], 1),
        np.stack([np.full(ring, top), rim + k, rim + (k + 1) % ring], 1),
    ]
    mesh = TriangleMesh(np.vstack([skin.vertices, ends]), np.vstack([skin.faces, *caps]))
    if mesh.volume_mm3() < 0:
        mesh = TriangleMesh(mesh.vertices, mesh.faces[:, ::-1])

    def axis(name: str, start: float, end: float) -> SegmentAxis:
        return SegmentAxis(name, np.array([0.0, 0, start]), np.array([0.0, 0, end]))

    axes = (axis("trunk", 560, 40), axis("left arm", 560, 300), axis("left forearm", 300, 60))
    return Body(mesh, np.zeros(len(mesh.vertices)), {one.name: one for one in axes})


def elbow_job(folder: Path) -> Job:
    """Make the job in a folder that is there."""
    (folder / "job.toml").write_text(TEXT, encoding="utf-8")
    job = open_job(folder)
    digests = FileDigests(job.folder)
    sleeves = (tube(47, 47, 325, 520, 6.0), tube(47, 47, 80, 275, 6.0))
    files: dict[str, bytes] = {}
    for design, mesh in zip(patch_designs(job.settings), sleeves, strict=True):
        loops = tuple(
            (PatchEdge("upper end", np.append(loop, loop[0])),) for loop in boundary_loops(mesh)
        )
        files |= patch_files(Patch(design, mesh, loops))
    for step, content in (("body", body_files(arm())), ("patches", files)):
        job.keep_result(step, content, inputs=job.inputs(step, digests), digests=digests)
    return job
