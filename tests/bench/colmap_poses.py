"""Camera poses by pycolmap, a general-purpose library, to hold the project's own against.

It knows no marker sheets, so its poses have no scale: both are compared after similarity.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fitkit.capture.camera import Camera
from fitkit.geometry.arrays import Floats

__all__ = ["colmap_centres", "rms_after_similarity"]


def colmap_centres(photos: Path) -> dict[str, Floats]:
    """Return the camera centres, (3,) in units of its own, of a folder's photos by name.

    Raises
    ------
    ImportError
        When pycolmap is not installed; it comes with the project's ``bench`` extra.
    """
    import pycolmap as untyped

    pycolmap: Any = untyped
    pycolmap.logging.minloglevel = 2
    with tempfile.TemporaryDirectory() as temporary:
        database, models = Path(temporary) / "database.db", Path(temporary) / "models"
        models.mkdir()
        reader = pycolmap.ImageReaderOptions()
        reader.camera_model = "OPENCV"
        pycolmap.extract_features(
            database, photos, camera_mode=pycolmap.CameraMode.SINGLE, reader_options=reader
        )
        pycolmap.match_exhaustive(database)
        found = pycolmap.incremental_mapping(database, photos, models)
    largest = max(found.values(), key=lambda model: model.num_reg_images(), default=None)
    if largest is None:
        return {}
    return {
        image.name: np.asarray(image.projection_center(), dtype=np.float64)
        for image in largest.images.values()
        if image.has_pose
    }


def rms_after_similarity(found: dict[str, Floats], truth: Sequence[Camera]) -> float:
    """Return root mean square distance, mm, of the centres laid on the true ones by similarity.

    References
    ----------
    S. Umeyama, *Least-squares estimation of transformation parameters between two point
    patterns*, IEEE PAMI 13(4), 1991, doi:10.1109/34.88573.
    """
    true = {camera.photo: camera.centre_mm() for camera in truth}
    names = sorted(found)
    got, want = (np.array([centres[name] for name in names]) for centres in (found, true))
    got, want = got - got.mean(axis=0), want - want.mean(axis=0)
    left, strength, right = np.linalg.svd(want.T @ got)
    sign = np.diag([1.0, 1.0, np.sign(np.linalg.det(left @ right))])
    factor = (strength * np.diag(sign)).sum() / (got**2).sum()
    off = factor * got @ (left @ sign @ right).T - want
    return float(np.sqrt((off**2).sum(axis=1).mean()))
