"""Photos and truth of one case of the goals: a body in a room, walked round with a phone.

A seed chooses body, room, walk, noise and exposures. Seeds 1 to 4 are for trying things out,
11 to 13 for scoring: no constant of the project was chosen by looking at those.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fitkit.capture.camera import Camera
from fitkit.geometry.mesh import TriangleMesh
from fitkit.geometry.rigid import RigidTransform
from tests.truth.bodies import Body, body, body_mesh
from tests.truth.camera_walk import PHONE_35MM, camera_walk, phone_lens
from tests.truth.coverings import covering
from tests.truth.studio import Part, Scene, photo_jpeg, render_photo
from tests.truth.swaying import leanings, swaying_photo
from tests.truth.texture import Material
from tests.truth.workshop import bare_room, floor_sheets, workshop

__all__ = [
    "SCORING_SEEDS",
    "TUNING_SEEDS",
    "Setting",
    "kept_mesh",
    "render_setting",
    "setting_truth",
]

TUNING_SEEDS, SCORING_SEEDS = (1, 2, 3, 4), (11, 12, 13)
_OF_SEED = {
    1: ("slight torso", "bare room"),
    2: ("display torso", "workshop"),
    3: ("broad torso", "workshop"),
    4: ("standing body", "bare room"),
    11: ("broad torso", "bare room"),
    12: ("standing body", "workshop"),
    13: ("display torso", "bare room"),
}
_NECK_CAP_MM = 1486.0


@dataclass(frozen=True, slots=True)
class Setting:
    """What is photographed and how.

    Attributes
    ----------
    seed
        One of the tuning or scoring seeds.
    photos_per_ring
        Three rings of so many.
    covering
        A kind of :func:`tests.truth.coverings.covering`.
    cluttered
        True takes the workshop whatever the seed says.
    sway_mm
        Root mean square movement of the body at 1450 mm.
    printed
        Printed size of the sheets over their nominal size.
    height_px
        Long side of the photos.
    """

    seed: int
    photos_per_ring: int = 12
    covering: str = "busy"
    cluttered: bool = False
    sway_mm: float = 0.0
    printed: float = 1.0
    height_px: int = 2016

    @property
    def body(self) -> str:
        """Name of the body."""
        return _OF_SEED[self.seed][0]

    @property
    def room(self) -> str:
        """Name of the room."""
        return "workshop" if self.cluttered else _OF_SEED[self.seed][1]


def setting_truth(setting: Setting) -> tuple[Body, tuple[Camera, ...]]:
    """Return the body and the cameras as they truly were."""
    told = body(setting.body)
    cameras = camera_walk(
        lens=phone_lens(setting.height_px * 3 // 4, setting.height_px),
        photos_per_ring=setting.photos_per_ring,
        walk=told.walk,
        seed=setting.seed,
        name="walk_{:02d}.jpg",
    )
    return told, cameras


def kept_mesh(name: str, folder: Path) -> TriangleMesh:
    """Return a body's mesh, made once and kept beside the photos' folders."""
    file = folder.parent / f"{name.replace(' ', '_')}.npz"
    if file.exists():
        with np.load(file) as kept:
            return TriangleMesh(kept["vertices"], kept["faces"])
    mesh = body_mesh(name)
    np.savez(file, vertices=mesh.vertices, faces=mesh.faces)
    return mesh


def render_setting(setting: Setting, folder: Path) -> None:
    """Take what is missing of the photos into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    told, cameras = setting_truth(setting)
    mesh = kept_mesh(setting.body, folder)
    if all((folder / camera.photo).exists() for camera in cameras):
        return
    # Sheets printed small make everything else look larger: it is photographed larger.
    larger = 1.0 / setting.printed
    dressed = covering(setting.covering, setting.seed).on(
        _scaled(mesh, larger), cap_above_mm=_NECK_CAP_MM * larger if told.stand else np.inf
    )
    standing = [Part(_scaled(part, larger), Material.STEEL) for part in told.stand]
    room_parts = workshop() if setting.room == "workshop" else bare_room()
    scene = Scene((dressed, *standing, *room_parts), floor_sheets())
    room = Scene(room_parts, floor_sheets())
    moves = leanings(len(cameras), rms_mm=setting.sway_mm or 1.0, seed=setting.seed)
    exposures = np.exp(np.random.default_rng(900 + setting.seed).normal(0.0, 0.035, len(cameras)))
    for k, (camera, move) in enumerate(zip(cameras, moves, strict=True)):
        file = folder / camera.photo
        if file.exists():
            continue
        placed = _moved_away(camera, larger)
        seed = 1000 * setting.seed + k
        if setting.sway_mm:
            leaning = range(1 + len(standing))
            rgb = swaying_photo(scene, room, placed, move, body_parts=leaning, seed=seed)
        else:
            rgb = render_photo(scene, placed, seed=seed, exposure=float(exposures[k]))
        minute, second = divmod(9 * k, 60)
        taken = f"2025:05:17 11:{minute:02d}:{second:02d}"
        part = file.with_suffix(".part")
        part.write_bytes(photo_jpeg(rgb, focal_35mm=PHONE_35MM, taken=taken))
        part.rename(file)


def _scaled(mesh: TriangleMesh, factor: float) -> TriangleMesh:
    return mesh.with_vertices(factor * mesh.vertices) if factor != 1.0 else mesh


def _moved_away(camera: Camera, factor: float) -> Camera:
    pose = camera.camera_from_world
    return replace(
        camera, camera_from_world=RigidTransform(pose.rotation, factor * pose.translation_mm)
    )
