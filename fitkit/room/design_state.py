"""What the room shows of a design: one value, replaced by another whenever something changes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

if TYPE_CHECKING:
    from fitkit.errors import FitkitError
    from fitkit.geometry.arrays import Floats
    from fitkit.geometry.surface_path import SurfacePath
    from fitkit.workflow.design_view import LinesView, PatchesView, PatchView, Region
    from fitkit.workflow.draw_line import DrawnKind
    from fitkit.workflow.edit_job import Section
    from fitkit.workflow.fittings import FittingKind
    from fitkit.workflow.form_ghost import FormGhost

__all__ = ["Chosen", "DesignState", "Stroke", "Tool"]

Tool: TypeAlias = Literal["choose", "line", "patch"]


@dataclass(frozen=True, slots=True)
class Chosen:
    """The line, the patch, or what is fitted to one, that is looked at."""

    section: Section
    name: str


@dataclass(slots=True, eq=False)
class Stroke:
    """A line from when it is begun until the pen is lifted.

    A click belongs to the stroke in hand when it was made, also where that was put down before
    the click was done: so this alone goes on being filled.

    Attributes
    ----------
    first
        The place that the line begins at, while it has no second.
    line
        The line that further clicks extend.
    """

    first: Mapping[str, Any] | None = None
    line: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class DesignState:
    """Lines and patches of the open job, and what is being done to them.

    Attributes
    ----------
    lines, patches
        As they lie on the body; None before they are worked out.
    trial
        The lines as they would be, while something is dragged or slid.
    ahead
        How the line being drawn would run on to the pointer.
    tool, kind, both_sides
        What a click does; how a drawn line runs, and whether it gets a twin on the other side.
    stroke
        The line in hand.
    region
        What a new patch is to be made of, once it has a name.
    chosen
        What is looked at.
    held
        Which of its places, counted from 1, is being dragged, and (3,) float mm where to.
    pointed, pointed_line, pointed_landmark
        The patch that is pointed at, on the body or on its template, and the line or landmark that
        a click would mean.
    missed
        Whether the last click passed the body.
    ghost, ghost_wanted
        The form over the body, and whether it is to be seen.
    fault
        Why nothing can be drawn on.
    doing
        What has to be waited for, in words.
    """

    lines: LinesView | None = None
    patches: PatchesView | None = None
    trial: LinesView | None = None
    ahead: Sequence[SurfacePath] = ()
    tool: Tool = "choose"
    kind: DrawnKind = "geodesic"
    both_sides: bool = False
    stroke: Stroke = field(default_factory=Stroke)
    region: Region | None = None
    chosen: Chosen | None = None
    held: tuple[int, Floats] | None = None
    pointed: str | None = None
    pointed_line: str | None = None
    pointed_landmark: str | None = None
    missed: bool = False
    ghost: FormGhost | None = None
    ghost_wanted: bool = False
    fault: FitkitError | None = None
    doing: str = ""

    @property
    def chosen_patch(self) -> str | None:
        """The patch that is looked at, None where it is something else or nothing."""
        chosen = self.chosen
        return chosen.name if chosen is not None and chosen.section == "patch" else None

    @property
    def chosen_line(self) -> str | None:
        """The line that is looked at, None where it is something else or nothing."""
        chosen = self.chosen
        return chosen.name if chosen is not None and chosen.section == "line" else None

    @property
    def chosen_fitting(self) -> tuple[FittingKind, dict[str, Any]] | None:
        """What is fitted to a patch and looked at: its kind and its row."""
        chosen = self.chosen
        if chosen is None or chosen.section == "line" or chosen.section == "patch":
            return None
        row = self.row(chosen.section, chosen.name)
        return None if row is None else (chosen.section, row)

    @property
    def patch_views(self) -> tuple[PatchView, ...]:
        """The patches as they lie on the body, none before they are worked out."""
        return () if self.patches is None else self.patches.patches

    def row(self, section: Section, name: str | None) -> dict[str, Any] | None:
        """Return a row as the job has it, None where there is none."""
        from fitkit.workflow.edit_job import row_of

        if self.lines is None or name is None:
            return None
        return row_of(self.lines.job, section, name)

    def without_what_is_gone(self) -> dict[str, Any]:
        """Return what changes where chosen or pointed things are in the job no longer."""
        assert self.lines is not None
        lines = {design.name for design in self.lines.told}
        patches = {patch.name for patch in self.lines.job.settings.patch}
        gone: dict[str, Any] = {}
        if (line := self.chosen_line) is not None and line not in lines:
            gone["chosen"] = None
        chosen = self.chosen
        other = chosen is not None and chosen.section != "line"
        if chosen is not None and other and self.row(chosen.section, chosen.name) is None:
            gone["chosen"] = None
        if self.stroke.line is not None and self.stroke.line not in lines:
            gone["stroke"] = Stroke()
        if self.pointed not in patches:
            gone["pointed"] = None
        return gone
