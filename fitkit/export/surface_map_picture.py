"""Maps on the body: each face painted by the class it falls into, with the classes in words."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fitkit.errors import InputError, ShapeError
from fitkit.export.body_picture import VIEWS
from fitkit.export.body_shading import GROUND_RGB, view_of
from fitkit.export.lettering import font_px
from fitkit.geometry.arrays import Ints
from fitkit.geometry.mesh import TriangleMesh

__all__ = ["SurfaceMap", "pngs_of_surface_maps"]

# From good to bad; told apart by lightness as well as by hue, for all kinds of colour vision.
_GOOD_TO_BAD = ((38, 98, 138), (116, 173, 196), (238, 206, 120), (196, 72, 26))
_NONE = (226, 224, 220)
_INK = (40, 40, 40)
_FINER = 2


@dataclass(frozen=True, slots=True, eq=False)
class SurfaceMap:
    """What to paint.

    Attributes
    ----------
    face_class
        (F,) int: the class of each face; -1 where none applies.
    classes
        Up to four names, from good to bad.
    """

    face_class: Ints
    classes: tuple[str, ...]


def pngs_of_surface_maps(
    mesh: TriangleMesh,
    maps: Sequence[SurfaceMap],
    *,
    views: Sequence[str] = ("front", "left", "back", "right"),
    height_px: int = 400,
) -> tuple[bytes, ...]:
    """Return one picture per map, all in the same views, the classes named below them.

    Parameters
    ----------
    mesh
        The surface, z up, facing -y.
    maps
        What to paint.
    views
        Names from :data:`fitkit.export.body_picture.VIEWS`.
    height_px
        Height of the body in each view.

    Raises
    ------
    InputError
        For an unknown view.
    ShapeError
        When a map has not one class for each face, or more classes than colours.
    """
    for view in views:
        if view not in VIEWS:
            raise InputError(f"There is no view '{view}'.", f"Choose from {', '.join(VIEWS)}.")
    for one in maps:
        if one.face_class.shape != (len(mesh.faces),) or len(one.classes) > len(_GOOD_TO_BAD):
            raise ShapeError(
                f"A map has {len(one.face_class)} faces and {len(one.classes)} classes, the mesh "
                f"{len(mesh.faces)} faces.",
                f"Give one class for each face, of {len(_GOOD_TO_BAD)} at most.",
            )
    low, high = mesh.bounds_mm()
    # A broad, low subject must not give endless views.
    tall = max(float(high[2] - low[2]), 0.6 * float(np.linalg.norm((high - low)[:2])))
    seen = [_seen(mesh, VIEWS[view], height_px / max(1.04 * tall, 1e-6)) for view in views]
    return tuple(_picture(one, seen, views) for one in maps)


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """The face in each sub-pixel, -1 for the ground, and how bright it is lit."""

    face: Ints
    light: NDArray[np.float32]


def _seen(mesh: TriangleMesh, turn_rad: float, px_per_mm: float) -> _Seen:
    import open3d as o3d

    tensor: Any = o3d.core.Tensor  # its stubs want more arguments than the library does
    scene = o3d.t.geometry.RaycastingScene()
    scene.add_triangles(
        tensor(mesh.vertices.astype(np.float32)), tensor(mesh.faces.astype(np.uint32))
    )
    view = view_of(mesh, turn_rad, px_per_mm)
    step = 1.0 / (px_per_mm * _FINER)
    x = (np.arange(view.width_px * _FINER) + 0.5) * step + view.low[0]
    y = (np.arange(view.height_px * _FINER)[::-1] + 0.5) * step + view.low[1]
    far = float(np.abs(mesh.vertices @ view.eye).max()) + 100.0
    origins = (x[None, :, None] * view.right + y[:, None, None] * view.up + far * view.eye).reshape(
        -1, 3
    )
    rays = np.hstack([origins, np.broadcast_to(-view.eye, origins.shape)]).astype(np.float32)
    hits = scene.cast_rays(tensor(rays))
    met = np.isfinite(hits["t_hit"].numpy())
    face = np.where(met, hits["primitive_ids"].numpy().astype(np.int64), -1)
    normals = hits["primitive_normals"].numpy()
    lamp = 0.35 * view.up - 0.3 * view.right + view.eye
    light = 0.45 + 0.55 * np.clip(
        normals @ (lamp / np.linalg.norm(lamp)).astype(np.float32), 0.0, 1.0
    )
    shape = (len(y), len(x))
    return _Seen(face.reshape(shape), light.reshape(shape).astype(np.float32))


def _picture(one: SurfaceMap, seen: Sequence[_Seen], views: Sequence[str]) -> bytes:
    from PIL import Image, ImageDraw

    panels = [_panel(one, view) for view in seen]
    gap, head, foot = 24, 34, 46
    width = sum(panel.width + gap for panel in panels) + gap
    legend = [10 + 26 + font_px(15).getlength(name) + 22 for name in one.classes]
    width = max(width, int(sum(legend)) + 2 * gap)
    height = max(panel.height for panel in panels) + head + foot
    sheet = Image.new("RGB", (width, height), GROUND_RGB)
    pen = ImageDraw.Draw(sheet)
    left = float(gap)
    for panel, view in zip(panels, views, strict=True):
        sheet.paste(panel, (round(left), head))
        middle = left + panel.width / 2
        pen.text((middle, 18), view, font=font_px(16), fill=_INK, anchor="mm")
        left += panel.width + gap
    left = float(gap)
    y = height - foot // 2
    for name, ink, step in zip(one.classes, _GOOD_TO_BAD, legend, strict=False):
        pen.rectangle((left, y - 9, left + 24, y + 9), fill=ink, outline=_INK)
        pen.text((left + 32, y), name, font=font_px(15), fill=_INK, anchor="lm")
        left += step
    buffer = io.BytesIO()
    sheet.save(buffer, "PNG")
    return buffer.getvalue()


def _panel(one: SurfaceMap, seen: _Seen) -> Any:
    from PIL import Image

    inks = np.array([*_GOOD_TO_BAD[: len(one.classes)], _NONE], dtype=np.float32)
    # The ground has no face: its class is looked up past the end and painted over.
    of_face = np.append(one.face_class, -1)
    colour = inks[of_face[seen.face]] * seen.light[..., None]
    colour[seen.face < 0] = GROUND_RGB
    fine = Image.fromarray(np.round(colour).astype(np.uint8))
    size = fine.width // _FINER, fine.height // _FINER
    return fine.resize(size, Image.Resampling.BOX)
