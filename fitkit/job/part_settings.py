"""Sections of ``job.toml`` about patches: edges, cuts, corrections, attachments."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from fitkit.job.line_settings import AnchorSection
from fitkit.job.setting_words import (
    Degrees,
    Fraction,
    LengthAboveZero,
    LengthFromZero,
    Metal,
    MisfitError,
    Name,
    Section,
)
from fitkit.materials.forming import Ease, Forming
from fitkit.materials.rivet import rivet_named, screw_metals
from fitkit.materials.sheet_material import sheet_material_named
from fitkit.patch.design import EdgeKind

__all__ = [
    "ArtworkSection",
    "AttachmentSection",
    "CorrectedEdgeSection",
    "CorrectionSection",
    "CutSection",
    "EdgeSection",
    "KeepOutSection",
    "PatchSection",
]


class EdgeSection(Section):
    """The treatment of one edge of a patch: ``{lap_mm = 12}``, ``{wire_mm = 3}`` and so on.

    One of a lap, a hem, a double hem and a trim by their width, a wire or a bead by its
    diameter, a flange by its height with ``radius_mm`` and ``bend_deg``. ``rivets`` names the rivet
    of a row in the lap, ``"blind 3.2"``; without ``lap_mm`` the lap is as wide as that wants.
    """

    lap_mm: LengthFromZero | None = None
    hem_mm: LengthAboveZero | None = None
    double_hem_mm: LengthAboveZero | None = None
    trim_mm: LengthAboveZero | None = None
    wire_mm: LengthAboveZero | None = None
    bead_mm: LengthAboveZero | None = None
    flange_mm: LengthAboveZero | None = None
    radius_mm: LengthFromZero = 1.5
    bend_deg: Annotated[float, Field(gt=0.0, lt=180.0)] = 90.0
    rivets: str | None = None
    pitch_mm: LengthAboveZero | None = None
    drill_later: bool = False

    def kind(self) -> tuple[EdgeKind, float] | None:
        """Return which treatment it is and its size, None where nothing is said."""
        sizes: tuple[tuple[EdgeKind, float | None], ...] = (
            ("lap", self.lap_mm),
            ("hem", self.hem_mm),
            ("double hem", self.double_hem_mm),
            ("trim", self.trim_mm),
            ("wire", self.wire_mm),
            ("bead", self.bead_mm),
            ("flange", self.flange_mm),
        )
        given = [(kind, size) for kind, size in sizes if size is not None]
        return given[0] if given else None

    @model_validator(mode="after")
    def _one_treatment(self) -> EdgeSection:
        names = ("lap_mm", "hem_mm", "double_hem_mm", "trim_mm", "wire_mm", "bead_mm", "flange_mm")
        given = [name for name in names if getattr(self, name) is not None]
        if len(given) > 1:
            raise MisfitError(
                tuple(given), f"Give an edge one treatment, not {' and '.join(given)}."
            )
        if self.rivets is not None:
            rivet_named(self.rivets)
            if given and given != ["lap_mm"]:
                raise MisfitError(
                    ("rivets", *given), "Rivets stand in a lap: give lap_mm with them, or neither."
                )
        elif self.pitch_mm is not None or self.drill_later:
            raise MisfitError(
                ("pitch_mm", "drill_later"),
                'Give pitch_mm and drill_later together with rivets = "blind 3.2".',
            )
        if self.flange_mm is None and {"radius_mm", "bend_deg"} & self.model_fields_set:
            raise MisfitError(
                ("radius_mm", "bend_deg"), "radius_mm and bend_deg belong to a flange_mm."
            )
        return self


class CutSection(Section):
    """A relief cut: from the patch's edge nearest to one place to another, ``{edge, tip}``."""

    edge: AnchorSection
    tip: AnchorSection


class KeepOutSection(Section):
    """A round place that no advised cut may enter: ``{at = {...}, within_mm = 40}``."""

    at: AnchorSection
    within_mm: LengthAboveZero


class PatchSection(Section):
    """A ``[[patch]]``: a piece of the form bounded by tape lines.

    Without ``lines`` it ends at whatever lines lie round the place ``inside``; with
    ``radius_mm`` it is round, that place its centre. ``more_inside`` names places in further
    regions that belong to it. ``grain`` is ``"up"``, ``"round"`` or a tape line to follow, turned
    by ``grain_deg`` counter-clockwise seen from outside. ``over`` names the patches that this one
    lies over; ``clearance_mm`` and ``bridge_mm`` stand in for those of ``[form]``. ``seam`` names
    the line, or the lines, along which it is opened where it goes right round or has holes.
    ``ease`` says whether the sheet is to give least at its ``"worst spot"`` or ``"overall"``.
    ``cuts`` are its relief cuts. ``no_cuts`` names lines from which none may be advised, and places
    none may enter; ``cut_to_pct`` the strain they are to reach; ``stop_hole_mm`` the hole at each
    cut's tip, 0 for none.
    """

    name: Name
    lines: list[str] = Field(default_factory=list)
    inside: AnchorSection
    more_inside: list[AnchorSection] = Field(default_factory=list)
    radius_mm: LengthAboveZero | None = None
    side: Literal["left", "right", "centre"] = "centre"
    pair: bool = False
    seam: str | list[str] | None = None
    material: str = "card"
    thickness_mm: LengthAboveZero = 0.5
    clearance_mm: LengthFromZero | None = None
    bridge_mm: LengthFromZero | None = None
    over: list[str] = Field(default_factory=list)
    edges: dict[str, EdgeSection] = Field(default_factory=dict)
    grain: str | None = None
    grain_deg: Degrees = 0.0
    note: str = ""
    forming: Forming | None = None
    ease: Ease = "worst spot"
    hold: list[str] = Field(default_factory=list)
    cuts: list[CutSection] = Field(default_factory=list)
    no_cuts: list[str | KeepOutSection] = Field(default_factory=list)
    cut_to_pct: Annotated[float, Field(gt=0.0, le=60.0)] | None = None
    stop_hole_mm: LengthFromZero | None = None
    contours: bool = False

    @property
    def seams(self) -> tuple[str, ...]:
        """Names of the lines along which it is opened."""
        if self.seam is None:
            return ()
        return (self.seam,) if isinstance(self.seam, str) else tuple(self.seam)

    @model_validator(mode="after")
    def _fits_together(self) -> PatchSection:
        sheet_material_named(self.material)
        if self.pair and self.side == "centre":
            raise MisfitError(
                ("pair", "side"),
                'A patch made in a pair is drawn on one side: add side = "left" or "right".',
            )
        if self.radius_mm is not None and (self.lines or self.more_inside):
            raise MisfitError(
                ("lines", "more_inside", "radius_mm"), "Give a patch either lines or a radius_mm."
            )
        if any(place.line is not None for place in (self.inside, *self.more_inside)):
            raise MisfitError(
                ("inside", "more_inside"),
                "A place inside a patch is not on a line; give it another way.",
            )
        if self.grain is None and self.grain_deg:
            raise MisfitError(
                ("grain_deg",), 'Give grain_deg together with grain, as grain = "up".'
            )
        return self


class CorrectedEdgeSection(Section):
    """An edge of a corrected part: ``{line, moved_mm = [[share, outwards, along], ...]}``.

    ``share`` runs from 0 to 1 along the edge; ``piece`` counts the edges along the same line.
    """

    line: str
    piece: Annotated[int, Field(ge=0)] = 0
    moved_mm: Annotated[list[tuple[Fraction, float, float]], Field(min_length=2)]

    @model_validator(mode="after")
    def _rises(self) -> CorrectedEdgeSection:
        shares = [row[0] for row in self.moved_mm]
        if any(b <= a for a, b in pairwise(shares)):
            raise MisfitError(
                ("moved_mm",), "The shares, each row's first number, must rise from 0 to 1."
            )
        return self


class CorrectionSection(Section):
    """A ``[[correction]]``: what was changed on a card piece of a patch; `fitkit trace` writes it.

    ``holes`` are [right, up, diameter] and ``pencil`` lines of [right, up], in millimetres from
    the middle of the blank, seen from the plate's outside.
    """

    patch: str
    edges: list[CorrectedEdgeSection] = Field(default_factory=list)
    holes: list[tuple[float, float, Annotated[float, Field(gt=0.0)]]] = Field(default_factory=list)
    pencil: list[Annotated[list[tuple[float, float]], Field(min_length=2)]] = Field(
        default_factory=list
    )


class ArtworkSection(Section):
    """An ``[[artwork]]``: an emblem from a file in the job folder, SVG or picture, laid on a patch.

    Its middle lies at ``at``, ``width_mm`` wide over the plate, ``turn_deg`` turned from the
    wearer's up, counter-clockwise seen from outside. On the twin of a pair it is
    ``"mirrored"``, the ``"same"`` way round, or ``"none"``.
    """

    name: Name
    on: str
    at: AnchorSection
    file: Name
    width_mm: LengthAboveZero
    turn_deg: Degrees = 0.0
    twin: Literal["mirrored", "same", "none"] = "mirrored"

    @model_validator(mode="after")
    def _inside_the_job(self) -> ArtworkSection:
        if self.file.startswith("/") or ".." in self.file.split("/") or "\\" in self.file:
            raise MisfitError(
                ("file",), "Put the artwork's file into the job folder and name it from there."
            )
        return self


class AttachmentSection(Section):
    """An ``[[attachment]]``: a cone, tube, square spike, fin or dome that stands on a patch.

    ``across_mm`` is its outside diameter at the plate, a spike's side, a fin's length; ``top_mm`` a
    cone's diameter at its open top. ``turn_deg`` turns it about its axis, ``lean_deg`` leans that
    axis towards ``toward_deg``; both count from the wearer's up, counter-clockwise seen from
    outside. ``screw_metal`` is what the screws of its tabs are of, steel where none is told.
    """

    name: Name
    on: str
    at: AnchorSection
    kind: Literal["cone", "tube", "spike", "fin", "dome"]
    across_mm: LengthAboveZero
    height_mm: LengthAboveZero
    top_mm: LengthFromZero = 0.0
    turn_deg: Degrees = 0.0
    lean_deg: Annotated[float, Field(ge=0.0, le=60.0)] = 0.0
    toward_deg: Degrees = 0.0
    material: str = "card"
    thickness_mm: LengthAboveZero = 0.5
    tabs: Annotated[int, Field(ge=0, le=60)] = 6
    tab_mm: LengthAboveZero = 12.0
    hole_mm: LengthAboveZero = 3.2
    screw_metal: Metal = ""
    seam_lap_mm: LengthFromZero = 10.0
    gores: Annotated[int, Field(ge=0, le=24)] = 8
    note: str = ""

    @field_validator("screw_metal")
    @classmethod
    def _sold_as_screws(cls, value: str) -> str:
        sold = screw_metals()
        if value and value not in sold:
            raise ValueError(f"Screws are of {', '.join(sold)}, not of {value}.")
        return value

    @model_validator(mode="after")
    def _fits_together(self) -> AttachmentSection:
        sheet_material_named(self.material)
        if self.top_mm > 0 and self.kind != "cone":
            raise MisfitError(("top_mm", "kind"), "Only a cone has an open top: leave top_mm out.")
        if self.kind == "dome" and self.height_mm > self.across_mm:
            raise MisfitError(("height_mm", "across_mm"), "A dome is no higher than it is across.")
        return self
