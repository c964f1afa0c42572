"""The view of the body on a page: what is to be seen is told whole, what changed is sent.

The browser's half is in ``viewer_js``: it draws, and sends back the rays under the pointer.
Nothing is picked there.
"""

from __future__ import annotations

import math
from collections.abc import Awaitable, Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any, TypeVar

import nicegui
import numpy as np
from fastapi import FastAPI
from nicegui import events, ui
from nicegui.element import Element

from fitkit.geometry.arrays import Bytes, Floats
from fitkit.geometry.mesh import TriangleMesh
from fitkit.room.viewer_geometry import add_geometry_routes, colours_address, mesh_address
from fitkit.workflow.pick_place import Ray

__all__ = ["Disc", "ShownLine", "ShownMesh", "Viewer", "add_viewer"]

_THREE = str(Path(nicegui.__file__).parent / "elements" / "scene" / "dist")
# Orange and blue of Okabe and Ito's palette (2008), told apart with any colour vision.
_COLOURS = {"marked": "#e69f00", "markedLine": "#d55e00"}
# Half the width within which a pointer means a line or place, on the screen.
_REACH_PX = {True: 22.0, False: 9.0}


@dataclass(frozen=True, slots=True, eq=False)
class ShownMesh:
    """A mesh to be seen.

    Attributes
    ----------
    colour
        As in CSS.
    opacity
        From 0 to 1; below 1 one sees through it.
    lift
        Meshes that lie in one another are shown in the order of this.
    rgb
        (V, 3) uint8: a colour for each vertex in place of ``colour``.
    """

    name: str
    mesh: TriangleMesh
    colour: str = "#c3bdb2"
    opacity: float = 1.0
    lift: int = 0
    rgb: Bytes | None = None

    def told(self) -> dict[str, Any]:
        """Return it as the browser takes it."""
        return {
            "name": self.name,
            "url": mesh_address(self.mesh),
            "colours": None if self.rgb is None else colours_address(self.rgb),
            "colour": self.colour,
            "opacity": self.opacity,
            "lift": self.lift,
        }


@dataclass(frozen=True, slots=True, eq=False)
class ShownLine:
    """A line to be seen. ``points_mm`` (N, 3) float; ``preview`` for one that is not laid yet."""

    name: str
    points_mm: Floats
    closed: bool = False
    colour: str = "#141414"
    preview: bool = False

    def told(self) -> dict[str, Any]:
        """Return it as the browser takes it."""
        told = {field.name: getattr(self, field.name) for field in fields(self)}
        del told["points_mm"]
        return {**told, "points": np.round(self.points_mm, 2).ravel().tolist()}


@dataclass(frozen=True, slots=True)
class Disc:
    """A place with a number or a few words.

    Attributes
    ----------
    hold
        Whether it can be dragged.
    faces
        Which way the body faces there, when it is to be seen from that side alone.
    over
        Whether it shows through what lies before it.
    """

    name: str
    at: tuple[float, float, float]
    text: str = ""
    fill: str = "#ffffff"
    ink: str = "#141414"
    sizePx: int = 24  # noqa: N815  as the browser takes it
    hold: bool = False
    faces: tuple[float, float, float] | None = None
    over: bool = False

    def told(self) -> dict[str, Any]:
        """Return it as the browser takes it."""
        return asdict(self)


_PLAIN = (str, int, float, tuple, type(None))
_Shown = TypeVar("_Shown", ShownMesh, ShownLine, Disc)
_Heard = Callable[[Ray], Awaitable[None] | None]


def add_viewer(app: FastAPI) -> None:
    """Add what viewers need of the room: their style, and the routes that meshes come by."""
    ui.add_css(Path(__file__).with_name("viewer.css"), shared=True)
    add_geometry_routes(app)


class Viewer(
    Element,
    component="viewer.js",
    esm={"nicegui-scene": _THREE, "fitkit-viewer": "viewer_js"},
):
    """A body that can be turned, with lines and places on it.

    Parameters
    ----------
    label
        Its accessible name.
    """

    def __init__(self, label: str) -> None:
        super().__init__()
        self._props["label"] = label
        self._props["colours"] = _COLOURS
        self._told: dict[str, dict[str, Any]] = {"Mesh": {}, "Line": {}, "Disc": {}}
        self._objects: dict[str, dict[str, Any]] = {"Mesh": {}, "Line": {}, "Disc": {}}
        self._marked: tuple[str, ...] = ()
        self._ready = False
        self.on("ready", self._show_all)

    # -- what is shown -------------------------------------------------------------------

    def show_meshes(self, meshes: Iterable[ShownMesh]) -> None:
        """Show these meshes and no others."""
        self._show("Mesh", meshes)

    def show_lines(self, lines: Iterable[ShownLine]) -> None:
        """Show these lines and no others."""
        self._show("Line", lines)

    def show_discs(self, discs: Iterable[Disc]) -> None:
        """Show these places and no others."""
        self._show("Disc", discs)

    def light_up(self, names: Iterable[str]) -> None:
        """Light up meshes and lines by name, and no others."""
        marked = tuple(names)
        if marked != self._marked:
            self._marked = marked
            self._run([("mark", list(marked))])

    def look(self, side: str) -> None:
        """Look from the ``front``, ``back``, ``left``, ``right`` or ``top``; ``all`` of it."""
        self._run([("look", side)])

    def answer(self, at_mm: Floats | None, kind: str = "body") -> None:
        """Answer a hover: where it met the body, and whether a ``line`` or ``place`` is there."""
        hit = None if at_mm is None else {"at": np.round(at_mm, 2).tolist(), "kind": kind}
        self._run([("hovered", hit)])

    # -- what is heard -------------------------------------------------------------------

    def on_pick(self, heard: _Heard) -> None:
        """Call with the ray of each click, tap, or Enter on the keyboard."""

        def picked(event: events.GenericEventArguments) -> Awaitable[None] | None:
            ray = _ray(event.args)
            return None if ray is None else heard(ray)

        self.on("pick", picked)

    def on_hover(self, heard: Callable[[Ray | None], Awaitable[None]]) -> None:
        """Call with the ray under the pointer, None when it left; then call :meth:`answer`."""

        async def hovered(event: events.GenericEventArguments) -> None:
            await heard(None if event.args is None else _ray(event.args))

        self.on("hover", hovered)

    def on_drag(self, heard: Callable[[str, str, Ray], Awaitable[None]]) -> None:
        """Call with the disc that is dragged, the ray, and start, move, end or cancel.

        After a move call :meth:`answer`.
        """

        async def dragged(event: events.GenericEventArguments) -> None:
            ray, told = _ray(event.args), event.args
            place, phase = str(told.get("place", "")), str(told.get("phase", ""))
            if ray is not None and place in self._told["Disc"]:
                await heard(place, phase, ray)

        self.on("drag", dragged)

    def on_key(self, heard: Callable[[str], Awaitable[None] | None]) -> None:
        """Call with ``undo``, ``redo``, ``remove`` or ``stop`` as the keyboard says."""

        def pressed(event: events.GenericEventArguments) -> Awaitable[None] | None:
            return heard(str(event.args))

        self.on("key", pressed)

    # -- inside --------------------------------------------------------------------------

    def _show(self, kind: str, shown: Iterable[_Shown]) -> None:
        """Send what is new or other than before, and which are gone."""
        objects = {one.name: one for one in shown}
        before, told = self._objects[kind], self._told[kind]
        calls: list[tuple[str, Any]] = []
        for name in [name for name in told if name not in objects]:
            del told[name]
            calls.append((f"drop{kind}", name))
        for name, one in objects.items():
            if name in before and _same(before[name], one):
                continue
            now = one.told()
            if told.get(name) != now:
                told[name] = now
                calls.append((f"put{kind}", now))
        self._objects[kind] = objects
        if calls and kind != "Disc":
            calls.append(("mark", list(self._marked)))
        self._run(calls)

    def _show_all(self) -> None:
        self._ready = True
        rows = [(kind, told) for kind, shown in self._told.items() for told in shown.values()]
        puts = [(f"put{kind}", told) for kind, told in rows]
        self._run([*puts, ("mark", list(self._marked))])

    def _run(self, calls: list[tuple[str, Any]]) -> None:
        if calls and self._ready:
            self.run_method("run", calls)


def _same(one: Any, other: Any) -> bool:
    """Whether two values to be seen are the same, arrays and meshes being the very same."""
    pairs = [(getattr(one, row.name), getattr(other, row.name)) for row in fields(one)]
    return all(a is b or (isinstance(a, _PLAIN) and a == b) for a, b in pairs)


def _ray(told: Mapping[str, Any]) -> Ray | None:
    """Return the ray that a browser sent, None where it is not one."""
    try:
        origin, direction = (tuple(map(float, told[key])) for key in ("origin", "direction"))
        per_px = float(told["mmPerPxAtOne"])
    except (KeyError, TypeError, ValueError):
        return None
    if len(origin) != 3 or len(direction) != 3 or not np.isfinite([*origin, *direction]).all():
        return None
    if not (any(direction) and math.isfinite(per_px)):
        return None
    return Ray(origin, direction, min(max(per_px, 0.0), 0.1) * _REACH_PX[bool(told.get("touch"))])
