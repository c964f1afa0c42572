"""What is fitted to a patch: straps, pads, fasteners, what stands on it, emblems, pivots.

Each is a row of ``job.toml`` that names the patch. A new one begins where it can be, to be moved.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeAlias, get_args

from fitkit.errors import DesignError, InputError, JobError

if TYPE_CHECKING:
    from fitkit.geometry.arrays import Floats
    from fitkit.job.settings import JobSettings
    from fitkit.workflow.design_view import PatchesView, PatchView

__all__ = [
    "FITTINGS",
    "Fitting",
    "FittingKind",
    "emblem_files",
    "fitting_places",
    "fittings_on",
    "new_fitting",
    "patches_of",
    "with_place",
]

FittingKind: TypeAlias = Literal[
    "strap", "fastener", "pad", "gusset", "attachment", "artwork", "pivot", "hardware"
]
"""Sections of ``job.toml`` whose rows belong to a patch."""

FITTINGS: tuple[FittingKind, ...] = get_args(FittingKind)

_EMBLEMS = {".svg", ".png", ".jpg", ".jpeg", ".bmp", ".tif", ".tiff", ".webp"}
# What a new one begins with, to be changed: common practice, no source.
_CONE_MM = {"across_mm": 60.0, "height_mm": 60.0}
_EMBLEM_MM = 80.0


@dataclass(frozen=True, slots=True)
class Fitting:
    """One row that belongs to a patch.

    Attributes
    ----------
    kind, name
        Its section, and what it is called; a pivot by its patch.
    words
        What it is, in a few words.
    told_once
        Whether its name tells it from every other row of the section.
    """

    kind: FittingKind
    name: str
    words: str
    told_once: bool


def fittings_on(settings: JobSettings, patch: str) -> tuple[Fitting, ...]:
    """Return what is fitted to a patch, section by section."""
    found = []
    for kind in FITTINGS:
        rows = getattr(settings, kind)
        names = [_name_of(kind, row.model_dump()) for row in rows]
        for row, name in zip(rows, names, strict=True):
            told = row.model_dump(mode="json")
            if patch in patches_of(kind, told):
                found.append(Fitting(kind, name, _words(kind, told, patch), names.count(name) == 1))
    return tuple(found)


def patches_of(kind: FittingKind, row: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the patches that a row names, the one it is fastened to first."""
    told = row.get({"gusset": "between", "pivot": "patch"}.get(kind, "on"), ())
    return (told,) if isinstance(told, str) else tuple(told)


def fitting_places(row: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return the places that a row is told by, as anchors; none for what lies all over a plate."""
    at = row.get("at")
    return [] if at is None else [at] if isinstance(at, Mapping) else list(at)


def with_place(row: Mapping[str, Any], number: int, place: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a row sets once one of its places, counted from 1, is another."""
    if isinstance(row.get("at"), Mapping):
        return {"at": dict(place)}
    places = fitting_places(row)
    if number <= len(places):
        places[number - 1] = dict(place)
    return {"at": places or None}


def emblem_files(folder: Path | str) -> tuple[str, ...]:
    """Return the drawings and pictures that lie in the job folder, the newest first."""
    found = [path for path in Path(folder).iterdir() if path.suffix.lower() in _EMBLEMS]
    newest = sorted(found, key=lambda path: (-path.stat().st_mtime_ns, path.name))
    return tuple(path.name for path in newest if path.is_file())


def new_fitting(
    view: PatchesView,
    kind: FittingKind,
    patch: str,
    *,
    joints: Mapping[str, Floats] | None = None,
) -> dict[str, Any]:
    """Return the row of one more thing fitted to a patch: amid it, or where its neighbour is near.

    Parameters
    ----------
    joints
        (3,) float mm: what the body can turn about, by name; for a pivot.

    Raises
    ------
    DesignError
        When the patch, or its neighbour, is not there to be fitted to.
    InputError
        When what it takes is missing: a second plate, an emblem's file, a joint.
    """
    settings = view.lines.job.settings
    name = _free_name(settings, kind, patch)
    if kind == "pad":
        return {"name": name, "on": patch}
    if kind == "hardware":
        return {"name": name, "on": patch, "count": 1}
    if kind == "pivot":
        return {"patch": patch, "joint": _joint(view, patch, joints or {})}
    here = _seen(view, patch)
    if kind == "attachment":
        return {"name": name, "on": patch, "at": _place(view, here.label_mm), "kind": "cone",
                **_CONE_MM}  # fmt: skip
    if kind == "artwork":
        files = emblem_files(view.lines.job.folder)
        if not files:
            raise InputError(
                "No drawing or picture lies in the job folder.",
                "Drop one below, SVG or a picture, or put it into the job folder.",
            )
        return {"name": name, "on": patch, "at": _place(view, here.label_mm), "file": files[0],
                "width_mm": _EMBLEM_MM}  # fmt: skip
    other, between_mm = _nearest(view, here)
    both = [patch, other.design.name]
    if kind == "strap":
        ends = [_place(view, here.label_mm), _place(view, other.label_mm)]
        return {"name": name, "on": both, "at": ends}
    key = "between" if kind == "gusset" else "on"
    return {"name": name, key: both, "at": _place(view, between_mm)}


def _name_of(kind: FittingKind, row: Mapping[str, Any]) -> str:
    return str(row["patch" if kind == "pivot" else "name"])


def _words(kind: FittingKind, row: Mapping[str, Any], patch: str) -> str:
    """Return what a row is, seen from a patch."""
    others = [name for name in dict.fromkeys(patches_of(kind, row)) if name != patch]
    told = {
        "strap": "strap",
        "fastener": str(row.get("kind") or "fastener"),
        "pad": "pad",
        "gusset": "gap piece",
        "attachment": str(row.get("kind")),
        "artwork": "emblem",
        "pivot": f"pivot at the {row.get('joint')}",
        "hardware": f"{row.get('count', 1)} to buy",
    }[kind]
    return f"{told}, with {others[0]}" if others else told


def _free_name(settings: JobSettings, kind: FittingKind, patch: str) -> str:
    from fitkit.workflow.draw_line import free_name

    word = {"attachment": "cone", "artwork": "emblem", "hardware": "hardware"}.get(kind, kind)
    sections = ("patch", *(one for one in FITTINGS if one != "pivot"))
    taken = [row.name for section in sections for row in getattr(settings, section)]
    return free_name(f"{patch} {word}", taken)


def _joint(view: PatchesView, patch: str, joints: Mapping[str, Floats]) -> str:
    """Return the joint nearest to the middle of a patch."""
    import numpy as np

    if not joints:
        raise InputError(
            "The body shows no joint for a pivot to go by.",
            "Put a joint right on the stop Body, or scan or build more of the body.",
        )
    if any(row.patch == patch for row in view.lines.job.settings.pivot):
        raise JobError(f"The patch '{patch}' has a pivot already.", "Change that one.")
    here_mm = _seen(view, patch).label_mm
    assert here_mm is not None
    return min(joints, key=lambda name: float(np.linalg.norm(joints[name] - here_mm)))


def _seen(view: PatchesView, patch: str) -> PatchView:
    seen = next((one for one in view.patches if one.design.name == patch), None)
    if seen is None or seen.mesh is None:
        raise DesignError(
            f"The patch '{patch}' is not closed, so nothing can be fitted to it.",
            "Put its lines right first.",
        )
    return seen


def _nearest(view: PatchesView, here: PatchView) -> tuple[PatchView, Floats]:
    """Return the patch nearest to another, and (3,) float mm amid the gap between the two."""
    import numpy as np
    from scipy.spatial import cKDTree

    assert here.mesh is not None
    own, found = cKDTree(here.mesh.vertices), []
    for other in view.patches:
        if other.mesh is not None and other is not here:
            off, index = own.query(other.mesh.vertices)
            # Of neighbours that touch along an edge, the place amid that edge.
            near = np.flatnonzero(off <= off.min() + 1.0)
            middle = other.mesh.vertices[near].mean(axis=0)
            to = near[np.linalg.norm(other.mesh.vertices[near] - middle, axis=1).argmin()]
            between = 0.5 * (other.mesh.vertices[to] + here.mesh.vertices[index[to]])
            found.append((float(off.min()), other, between))
    if not found:
        raise InputError(
            f"There is no second plate beside '{here.design.name}'.", "Name another patch first."
        )
    _, other, between = min(found, key=lambda row: row[0])
    return other, between


def _place(view: PatchesView, at_mm: Floats | None) -> dict[str, Any]:
    """Return a place on the body as the values of an anchor."""
    import numpy as np

    from fitkit.geometry.nearest import nearest_on_mesh
    from fitkit.job.designs import anchor_values_of
    from fitkit.patch.place_in_words import anchor_at

    assert at_mm is not None
    form = view.lines.drawn.form
    places_mm, _, _ = nearest_on_mesh(form.mesh, np.array([at_mm]))
    return anchor_values_of(anchor_at(form, places_mm[0]))
