"""The lines and patches of the job as lists to choose from."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from nicegui import ui

from fitkit.room.design_desk import DesignDesk
from fitkit.room.design_shown import patch_colour
from fitkit.room.design_state import Chosen
from fitkit.room.page_parts import box, button, mark, words
from fitkit.workflow.draw_line import middle_height_mm, missing_symmetry, new_level_row

__all__ = ["line_list", "patch_list"]


def line_list(desk: DesignDesk, do: Callable[..., None]) -> None:
    """List the lines with their lengths, and offer those that need no drawing."""
    lines = desk.now.lines
    if lines is None:
        return
    lengths = {line.name: line.path.length_mm() for line in lines.drawn.lines}
    with box("fk-card"):
        words("Lines", "h2")
        with box("fk-rows", "ul"):
            for design in lines.told:
                fault = lines.faults.get(design.name)
                length = "" if fault is not None else f"{lengths[design.name]:.0f} mm"
                _row(desk, Chosen("line", design.name), design.name, length, fault)
        with box("fk-row"):
            button("Add a level", lambda: do(_add_level, desk), small=True)
            if missing_symmetry(lines):
                row = {"name": "middle", "kind": "symmetry"}
                button("Add the middle", lambda: do(desk.editing.add_line, row), small=True)


async def _add_level(desk: DesignDesk) -> None:
    lines = desk.now.lines
    assert lines is not None
    await desk.editing.add_line(new_level_row(lines, middle_height_mm(lines)))


def patch_list(desk: DesignDesk) -> None:
    """List the patches with their numbers and areas."""
    if not desk.now.patch_views:
        return
    with box("fk-card"):
        words("Patches", "h2")
        with box("fk-rows", "ul"):
            for index, patch in enumerate(desk.now.patch_views):
                area = "" if patch.mesh is None else f"{patch.mesh.area_mm2() / 100.0:.0f} cm²"
                name = patch.design.name
                row = _row(
                    desk,
                    Chosen("patch", name),
                    f"{patch.number}  {name}",
                    area,
                    patch.fault,
                    colour=patch_colour(index),
                )
                row.on("pointerenter", partial(desk.pointing.at, name))
                row.on("pointerleave", partial(desk.pointing.at, None))
                row.on("focus", partial(desk.pointing.at, name))


def _row(
    desk: DesignDesk,
    which: Chosen,
    title: str,
    number: str,
    fault: object,
    *,
    colour: str | None = None,
) -> ui.element:
    """One row that can be chosen."""
    with box(tag="li"):
        chosen = desk.now.chosen == which
        row = box("fk-choose" + " fk-chosen" * chosen, "button")
        row.props(f'type=button aria-pressed="{str(chosen).lower()}"')
        row._props["data-key"] = f"{which.section} {which.name}"
        row.on("click", lambda: desk.choose(which.section, which.name))
        with row:
            if colour is not None:
                box("fk-swatch", "span").style(f"background: {colour}")
            if fault is not None:
                mark("wrong", "fk-is-wrong")
            words(title, "span", "fk-choose-title")
            words(number, "span", "fk-number fk-soft")
    return row
