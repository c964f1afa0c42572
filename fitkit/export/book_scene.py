"""Pictures of the worn plates for the build book: shaded greys, with lines and numbers to draw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from fitkit.export.body_picture import VIEWS
from fitkit.export.body_shading import BodyView, LitBody, view_of
from fitkit.export.rasterised import nearest_faces
from fitkit.geometry.arrays import Floats, Ints
from fitkit.geometry.mesh import TriangleMesh
from fitkit.shop.worn_plate import WornPlate

__all__ = ["BookScene", "PlatesView", "exploded", "view_towards"]

# Greys, 0 to 255: the body, plates by layer, and the plate that a page is about.
_BODY, _SHOWN = 172.0, 95.0
_LAYERS = (246.0, 214.0, 186.0, 164.0)
# A plate's number is written where at least this share of its places is in sight.
_SEEN_SHARE = 0.06
_PLACES = 300
# A picture of one plate reaches this far round it.
_BESIDE_MM = 110.0
_SIMPLER_PX = 0.3
# Plates move out by this, more for each layer and for what lies far from the middle.
_OUT_MM, _LAYER_MM, _SPREAD = 70.0, 120.0, 0.35


@dataclass(frozen=True, slots=True, eq=False)
class PlatesView:
    """One picture.

    Attributes
    ----------
    title
        What one sees.
    image
        Grey Pillow image.
    lines_px
        Outlines in sight, (N, 2) float px each, y down.
    dashed_px
        Lines from where a moved plate belongs to where it is drawn.
    numbers_px
        ``(text, (2,) px)``.
    px_per_mm
        Scale.
    """

    title: str
    image: Any
    lines_px: tuple[Floats, ...]
    dashed_px: tuple[Floats, ...]
    numbers_px: tuple[tuple[str, Floats], ...]
    px_per_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class _Whole:
    """A picture of everything, the view it was taken from, and each pixel's plate (-1 none)."""

    view: BodyView
    picture: PlatesView
    owner: Ints


def _layer_grey(plate: WornPlate) -> float:
    return _LAYERS[min(plate.layer, len(_LAYERS)) - 1]


class BookScene:
    """The plates, on the body or on their own, ready to be looked at from any side.

    Parameters
    ----------
    leaders
        Lines in space, (N, 3) mm each, drawn dashed where nothing hides them.
    """

    def __init__(
        self,
        plates: Sequence[WornPlate],
        body: TriangleMesh | None = None,
        leaders: Sequence[Floats] = (),
    ) -> None:
        meshes = [plate.mesh for plate in plates] + ([body] if body is not None else [])
        starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
        self._mesh = TriangleMesh(
            np.concatenate([mesh.vertices for mesh in meshes]),
            np.concatenate(
                [mesh.faces + start for mesh, start in zip(meshes, starts[:-1], strict=True)]
            ),
        )
        counts = [len(mesh.faces) for mesh in meshes]
        self._plate_of_face = np.repeat(
            [*range(len(plates)), *([-1] if body is not None else [])], counts
        )
        self._plates = tuple(plates)
        self._leaders = tuple(leaders)
        self._lit = LitBody(self._mesh)
        self._known: dict[tuple[str, int], _Whole] = {}

    def height_mm(self) -> float:
        """How high all of it is."""
        low, high = self._mesh.bounds_mm()[:, 2]
        return float(high - low)

    def seen(self, view_name: str, *, height_px: int, only: int | None = None) -> PlatesView:
        """Return the picture from one side.

        Parameters
        ----------
        only
            Number of the one plate that the picture is about, with what lies round it; None shows
            and numbers them all.
        """
        whole = self._whole(view_name, height_px)
        if only is None:
            return whole.picture
        return self._round(whole, only)

    def _whole(self, view_name: str, height_px: int) -> _Whole:
        """Return the picture of everything from one side; it is lit once for all plates."""
        if (view_name, height_px) not in self._known:
            px_per_mm = height_px / max(1.04 * self.height_mm(), 1e-6)
            view = view_of(self._mesh, VIEWS[view_name], px_per_mm)
            numbers = [(str(plate.number), self._amid_seen(plate, view)) for plate in self._plates]
            picture = PlatesView(
                view_name if view_name in ("front", "back") else f"{view_name} (wearer's)",
                self._lit.shaded(view, self._inks()).convert("L"),
                tuple(
                    _simpler(run)
                    for plate in self._plates
                    for run in self._lit.runs_in_sight(
                        np.vstack([plate.border_mm, plate.border_mm[:1]]), view
                    )
                ),
                tuple(run for line in self._leaders for run in self._lit.runs_in_sight(line, view)),
                tuple((text, at) for text, at in numbers if at is not None),
                px_per_mm,
            )
            face, _ = nearest_faces(
                view.pixels(self._mesh.vertices),
                self._mesh.vertices @ view.eye,
                self._mesh.faces,
                view.height_px,
                view.width_px,
            )
            owner = np.where(face >= 0, self._plate_of_face[face], -1)
            self._known[view_name, height_px] = _Whole(view, picture, owner)
        return self._known[view_name, height_px]

    def _round(self, whole: _Whole, number: int) -> PlatesView:
        """Return the part of a picture that lies round one plate, that plate dark."""
        from PIL import Image

        index = next(i for i, one in enumerate(self._plates) if one.number == number)
        plate = self._plates[index]
        view, picture = whole.view, whole.picture
        grey = np.asarray(picture.image).astype(np.float64)
        grey[whole.owner == index] *= _SHOWN / _layer_grey(plate)
        places = view.pixels(plate.border_mm)
        beside = _BESIDE_MM * picture.px_per_mm
        size = np.array([view.width_px, view.height_px])
        low = np.clip(np.floor(places.min(axis=0) - beside), 0, size).astype(int)
        high = np.clip(np.ceil(places.max(axis=0) + beside), 0, size).astype(int)
        part = grey[low[1] : high[1], low[0] : high[0]]
        return replace(
            picture,
            image=Image.fromarray(np.round(part).astype(np.uint8)),
            lines_px=tuple(
                run for line in picture.lines_px for run in _inside(line - low, high - low)
            ),
            dashed_px=(),
            numbers_px=(),
        )

    def _inks(self) -> Floats:
        greys = np.array([*(_layer_grey(plate) for plate in self._plates), _BODY])
        inks: Floats = np.repeat(greys[self._plate_of_face][:, None], 3, axis=1)
        return inks

    def _amid_seen(self, plate: WornPlate, view: BodyView) -> Floats | None:
        step = max(1, len(plate.mesh.vertices) // _PLACES)
        places = plate.mesh.vertices[::step]
        # What turns away from the eye is its inside, or seen edge on.
        facing = plate.mesh.vertex_normals()[::step] @ view.eye > 0.15
        seen = places[self._lit.in_sight(places, view) & facing]
        if len(seen) < max(_SEEN_SHARE * len(places), 1):
            return None
        flat = view.pixels(seen)
        at: Floats = flat[int(np.linalg.norm(flat - flat.mean(axis=0), axis=1).argmin())]
        return at


def _simpler(line_px: Floats) -> Floats:
    """Return a line of fewer points, as near to all as its own thickness hides."""
    line: Floats = shapely.get_coordinates(
        shapely.simplify(shapely.LineString(line_px), _SIMPLER_PX)
    )
    return line


def _inside(line: Floats, size: Floats) -> list[Floats]:
    """Return the runs of a line that lie within a picture."""
    runs = shapely.get_parts(shapely.clip_by_rect(shapely.LineString(line), 0.0, 0.0, *size))
    return [shapely.get_coordinates(run) for run in runs]


def view_towards(plate: WornPlate) -> str:
    """Return the name of the view that looks at a plate squarest."""
    scaled = plate.mesh.face_normals_scaled()

    def shown(name: str) -> float:
        turn = VIEWS[name]
        eye = np.array([np.sin(turn), -np.cos(turn), 0.0])
        return float(np.maximum(scaled @ eye, 0.0).sum())

    # A sleeve shows as much from any side: then the plainer view, of those a hand's width off.
    best = max(shown(name) for name in VIEWS)
    plain = sorted(VIEWS, key=lambda name: " " in name)
    return next(name for name in plain if shown(name) >= 0.93 * best)


def exploded(plates: Sequence[WornPlate]) -> BookScene:
    """Return the plates moved outwards, the further the more lies under them, without the body."""
    middles = np.array([plate.mesh.vertices.mean(axis=0) for plate in plates])
    centre = middles.mean(axis=0)
    moved, leaders = [], []
    for plate, middle in zip(plates, middles, strict=True):
        scaled = plate.mesh.face_normals_scaled()
        facing = scaled.sum(axis=0) / np.linalg.norm(scaled, axis=1).sum()
        away = middle - centre
        way = facing + 0.6 * away / max(float(np.linalg.norm(middles - centre, axis=1).max()), 1.0)
        way = way / max(float(np.linalg.norm(way)), 1e-9)
        shift = (_OUT_MM + _LAYER_MM * (plate.layer - 1)) * way + _SPREAD * away
        moved.append(
            replace(
                plate,
                mesh=plate.mesh.with_vertices(plate.mesh.vertices + shift),
                border_mm=plate.border_mm + shift,
            )
        )
        leaders.append(np.linspace(middle, middle + shift, 20))
    return BookScene(moved, leaders=leaders)
