"""A mesh from elsewhere in the place of photos: dropped, its unit asked, taken up or left."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import FastAPI
from nicegui import ui

from fitkit.errors import FitkitError
from fitkit.room.drop_area import DropArea
from fitkit.room.drop_route import add_drop_route
from fitkit.room.form_fields import choice
from fitkit.room.page import RoomPage
from fitkit.room.page_parts import box, button, words
from fitkit.room.session import RoomSession
from fitkit.workflow.edit_settings import change_setting, change_settings, read_job_settings
from fitkit.workflow.take_in_mesh import (
    MeshToTake,
    arriving_mesh,
    leave_mesh,
    mesh_to_take,
    receive_mesh,
)

if TYPE_CHECKING:
    from collections.abc import Hashable, Mapping
    from pathlib import Path

    from fitkit.body.mesh_unit import MeshUnit
    from fitkit.job.arriving_mesh import ArrivingMesh

__all__ = ["add_mesh_routes", "mesh_panel", "mesh_panel_key"]

_ADDRESS = "/drop/mesh"
_MOST_BYTES = 400_000_000
_UNITS = {"mm": "in millimetres", "cm": "in centimetres", "m": "in metres", "in": "in inches"}
_UPS = (("find", "found by itself"), ("z", "z"), ("y", "y"), ("x", "x"), ("-z", "-z"), ("-y", "-y"))
_FRONTS = (("", "found by itself"), ("-y", "-y"), ("y", "y"), ("z", "z"), ("-z", "-z"),
           ("x", "x"), ("-x", "-x"))  # fmt: skip


def mesh_panel(page: RoomPage) -> None:
    """Put the card on the page."""
    session = page.session
    waiting, name, front = _known(session)
    with box("fk-card"):
        words("A mesh from elsewhere", "h2")
        if waiting is not None:
            _ask(page, waiting)
            return
        if name:
            words(f"The body is that of the mesh '{name}'.", "p")
            _turn(page, front)
            button("Without the mesh again", lambda: page.try_to(lambda: _without(session)),
                   small=True)  # fmt: skip
        else:
            words("A scan made by other means, or a stand-in's, takes the photos' place.", "p",
                  "fk-soft")  # fmt: skip

        def sent(_taken: int, refused: list[str]) -> None:
            for text in refused[:3]:
                ui.notify(text, type="negative", multi_line=True, timeout=12000)

        DropArea(
            _ADDRESS,
            accept=".ply,.obj,.stl,.off,.glb,.gltf",
            files_words="Choose a mesh",
            idle="or drop it here: PLY, OBJ, STL, OFF, GLB",
            sent=sent,
        )


def mesh_panel_key(session: RoomSession) -> Hashable:
    """Return what the card depends on; what was chosen on it is not lost for less."""
    return session.working, str(_known(session))


def _known(session: RoomSession) -> tuple[MeshToTake | None, str, str]:
    """Return the mesh that waits, the one that the body is of, and where the front is told."""

    def read() -> tuple[MeshToTake | None, str, str]:
        try:
            told = read_job_settings(session.job())["body"]
            waiting = mesh_to_take(session.job())
        except FitkitError:
            return None, "", ""  # which the head of the page tells
        return waiting, str(told["from_mesh"] or ""), str(told["front"] or "")

    return session.seen("mesh", session.revision, read)


def _ask(page: RoomPage, waiting: MeshToTake) -> None:
    """Ask how the mesh that waits is to be read."""
    told = {"up": "" if waiting.stands else "find", "front": ""}
    words(f"It has arrived: {waiting.triangles:,} triangles.", "p")
    if not waiting.stands:
        with box("fk-row"):
            choice("Up in the file is", "find", lambda value: told.update(up=value), _UPS)
            choice("The wearer faces", "", lambda value: told.update(front=value), _FRONTS)
    if len(waiting.readings) > 1:
        words("The file does not say what one of its numbers is. How tall is it, at its longest?",
              "p")  # fmt: skip
    with box("fk-row"):
        for unit, longest_mm in waiting.readings:
            size = f"{longest_mm:.0f} mm" if longest_mm < 1000 else f"{longest_mm / 1000:.2f} m"
            button(
                f"{size}, {_UNITS[unit]}" if len(waiting.readings) > 1 else f"Take it, {size}",
                lambda unit=unit: _take(page, unit, told),
                enabled=not page.session.working,
            )
        button("Leave it", lambda: page.try_to(lambda: leave_mesh(page.session.job())))


async def _take(page: RoomPage, unit: MeshUnit, told: Mapping[str, str]) -> None:
    await page.start(
        "body from mesh",
        "Making the body of the mesh",
        unit=unit,
        up=told["up"] or None,
        front=told["front"] or None,
    )


def _turn(page: RoomPage, front: str) -> None:
    """Offer to tell which way the wearer faces in the file, where it was found wrong."""

    async def keep(value: str) -> None:
        job = page.session.job()
        await page.change(
            lambda: change_setting(job, "body", "front", value or None,
                                   words="which way the mesh faces"),
            step="body", doing="Making the body of the mesh",
        )  # fmt: skip

    choice("The wearer faces, in the file", front, keep, _FRONTS)


def _without(session: RoomSession) -> None:
    """Take the mesh out of ``job.toml``; the file stays in the job."""
    gone = dict.fromkeys(("from_mesh", "mesh_unit", "up", "front", "stand"))
    change_settings(session.job(), "body", gone, words="the body without the mesh")


def add_mesh_routes(app: FastAPI, session: RoomSession) -> Mapping[str, int]:
    """Add the address that meshes come to; return the most bytes by address."""

    def take(folder: Path, arrived: ArrivingMesh) -> str:
        receive_mesh(folder, arrived)
        return "mesh"

    add_drop_route(app, session, _ADDRESS, arriving_mesh, take)
    return {_ADDRESS: _MOST_BYTES}
