"""The body's surface in fewer triangles, for work in which a millimetre of skin is plenty."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import open3d as o3d

from fitkit.body.body import Body
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["with_coarse_skin"]


def with_coarse_skin(body: Body, faces: int = 24000) -> Body:
    """Return a body with about so many triangles, its axes and landmarks as they were.

    Flat places give theirs first (M. Garland, P. Heckbert, *Surface simplification using quadric
    error metrics*, SIGGRAPH 1997). A body that has fewer already comes back as it is.
    """
    if len(body.mesh.faces) <= faces:
        return body
    geometry: Any = o3d.geometry
    vectors: Any = o3d.utility
    full = geometry.TriangleMesh(
        vectors.Vector3dVector(np.array(body.mesh.vertices)),
        vectors.Vector3iVector(np.array(body.mesh.faces, dtype=np.int32)),
    )
    few = full.simplify_quadric_decimation(faces)
    mesh = TriangleMesh(np.asarray(few.vertices), np.asarray(few.triangles).astype(np.int64))
    return replace(body, mesh=mesh, trust_mm=np.zeros(len(mesh.vertices)))
