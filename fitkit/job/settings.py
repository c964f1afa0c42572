"""The words of ``job.toml`` as typed values.

Lengths may carry a unit (``"92 cm"``) and come out in millimetres; angles are degrees
here, at the edge, and become radians in :mod:`fitkit.job.designs`. Every section refuses
words it does not know.
"""

from __future__ import annotations

import re
from itertools import pairwise
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from fitkit.body.body_part import BodyPart
from fitkit.capture.check_length import parse_check
from fitkit.capture.tag_set import tag_set
from fitkit.drawing.paper import paper_named
from fitkit.materials.forming import Forming
from fitkit.materials.rivet import rivet_named
from fitkit.materials.sheet_material import sheet_material_named
from fitkit.patch.design import EdgeKind
from fitkit.units import parse_length_mm

__all__ = [
    "FORMAT",
    "AnchorSection",
    "AttachmentSection",
    "BodySection",
    "CaptureSection",
    "CorrectedEdgeSection",
    "CorrectionSection",
    "CutSection",
    "EdgeSection",
    "FormSection",
    "GeodesicSection",
    "GirthSection",
    "JobSection",
    "JobSettings",
    "KeepOutSection",
    "LevelSection",
    "LineSection",
    "MirroredSection",
    "PaddingSection",
    "ParallelSection",
    "PatchSection",
    "PrintSection",
    "RoundSection",
    "StandSection",
    "SymmetrySection",
    "ThroughSection",
    "WearerSection",
    "file_stem",
]

FORMAT = 1
"""The format of ``job.toml`` that this version of fitkit writes."""


def file_stem(name: str) -> str:
    """Return a part's name as it appears in file names: ``"Breast plate"`` is ``breast-plate``."""
    return re.sub(r"[^\w]+", "-", name.strip().lower()).strip("-_")


def _length(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise ValueError('Write a length such as 925, or "92.5 cm".')
    return parse_length_mm(value)


def _not_negative(value: float) -> float:
    if value < 0:
        raise ValueError("Give a length of zero or more.")
    return value


def _positive(value: float) -> float:
    if value <= 0:
        raise ValueError("Give a length above zero.")
    return value


def _name(value: Any) -> str:
    if not isinstance(value, str) or not file_stem(value):
        raise ValueError("Give a name with at least one letter or digit.")
    return " ".join(value.split())


def _check_length(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError('Write a check such as "1-5=1.84 m" or "chest=91.2 cm".')
    parse_check(value)
    return value


def _printed_square(value: Any) -> float:
    length = _length(value)
    if not 90.0 <= length <= 110.0:
        raise ValueError(
            "The 100 mm check square cannot come out so far off; print at 100 %, no fit to page."
        )
    return length


_PrintedSquare: TypeAlias = Annotated[float, BeforeValidator(_printed_square)]
_Length: TypeAlias = Annotated[float, BeforeValidator(_length)]
_LengthFromZero: TypeAlias = Annotated[
    float, BeforeValidator(lambda value: _not_negative(_length(value)))
]
_LengthAboveZero: TypeAlias = Annotated[
    float, BeforeValidator(lambda value: _positive(_length(value)))
]
_Name: TypeAlias = Annotated[str, BeforeValidator(_name)]
_Check: TypeAlias = Annotated[str, BeforeValidator(_check_length)]
_Degrees: TypeAlias = Annotated[float, Field(ge=-360.0, le=360.0)]
_Part: TypeAlias = Annotated[float, Field(ge=-2.0, le=3.0)]
_Fraction: TypeAlias = Annotated[float, Field(ge=0.0, le=1.0)]


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=False)


class JobSection(_Section):
    """``[job]``: what the job is called on every page."""

    name: _Name


class WearerSection(_Section):
    """``[wearer]``: who wears it, and the tape list taken on that person."""

    name: str = ""
    tape: dict[str, _LengthAboveZero] = Field(default_factory=dict)


class CaptureSection(_Section):
    """``[capture]``: how the photos were taken.

    ``printed_mm`` holds the two check lengths of the marker sheets as measured on the
    printed paper, across and up; ``checks`` holds distances between two sheets laid by
    tape, ``"1-5=1.84 m"``, from the middle of one tag to the middle of the other, and measures
    taken on the body itself, ``"chest=91.2 cm"`` or ``"chest"`` as in the tape list. Where
    tags of the maker's own take the place of the marker sheets, ``tags`` names their family
    and ``side_mm`` the side of their black square. The heights and the radius bound the
    body in space.
    """

    printed_mm: tuple[_LengthAboveZero, _LengthAboveZero] | None = None
    checks: list[_Check] = Field(default_factory=list)
    tags: str | None = None
    side_mm: _LengthAboveZero | None = None
    bottom_mm: _Length | None = None
    top_mm: _Length | None = None
    radius_mm: _LengthAboveZero | None = None
    longest_px: Annotated[int, Field(ge=600, le=12000)] = 2016

    @model_validator(mode="after")
    def _top_is_above_bottom(self) -> CaptureSection:
        bottom_mm, top_mm = self.bottom_mm, self.top_mm
        if bottom_mm is not None and top_mm is not None and top_mm <= bottom_mm:
            raise ValueError("Give a top_mm above bottom_mm.")
        return self

    @model_validator(mode="after")
    def _tags_have_a_side(self) -> CaptureSection:
        if (self.tags is None) != (self.side_mm is None):
            raise ValueError(
                'Tags of your own need both, as tags = "36h11" and side_mm = 24; marker sheets '
                "neither."
            )
        if self.tags is not None and self.side_mm is not None:
            tag_set(self.tags, self.side_mm)
            if self.printed_mm is not None:
                raise ValueError(
                    "printed_mm is for fitkit's own marker sheets; of your own tags measure "
                    "side_mm."
                )
        return self


_Point: TypeAlias = tuple[float, float, float]
_AXES = ("x", "-x", "y", "-y", "z", "-z")


def _way(value: Any) -> Any:
    if isinstance(value, str) and value in _AXES:
        return value
    numbers = isinstance(value, (list, tuple)) and len(value) == 3
    if numbers and all(isinstance(part, (int, float)) for part in value) and any(value):
        return tuple(value)
    raise ValueError(
        f'Write one of {", ".join(_AXES)}, or three numbers such as [0, 0.1, 1]; up may be "find".'
    )


_Way: TypeAlias = Annotated[str | _Point, BeforeValidator(_way)]
_UpWay: TypeAlias = Annotated[
    str | _Point, BeforeValidator(lambda value: value if value == "find" else _way(value))
]


class StandSection(_Section):
    """``[body.stand]``: three points of the mesh, in its own numbers, that stand it up.

    One low on the body, one straight above it, and one anywhere in front.
    """

    low: _Point
    high: _Point
    front: _Point


class BodySection(_Section):
    """``[body]``: a mesh file in the job folder to use in place of photos, if any.

    ``mesh_unit`` is what one of its numbers means; ``up`` and ``front`` say which way it
    stands, as an axis of the mesh or three numbers; up may be "find". ``landmarks`` puts
    landmarks right by hand: ``"left armpit" = [x, y, z]`` in millimetres on the finished body.

    With ``adapt`` the body is reshaped until its tape measures are those of ``[wearer.tape]``.
    ``from_tape`` builds a plain body from that list alone, where there are neither photos nor a
    mesh, and names whose survey sizes fill in what the list leaves out; ``tape_part`` is what
    of it is kept.
    """

    from_mesh: str | None = None
    mesh_unit: Literal["mm", "cm", "m", "in"] | None = None
    up: _UpWay | None = None
    front: _Way | None = None
    stand: StandSection | None = None
    landmarks: dict[str, tuple[_Length, _Length, _Length]] = Field(default_factory=dict)
    adapt: bool = False
    from_tape: Literal["men", "women"] | None = None
    tape_part: BodyPart = "torso"

    @model_validator(mode="after")
    def _stands_one_way(self) -> BodySection:
        if self.from_mesh is not None and self.from_tape is not None:
            raise ValueError("Give either from_mesh or from_tape.")
        if self.stand is not None and (self.up is not None or self.front is not None):
            raise ValueError("Give either up and front, or the three points of [body.stand].")
        if self.front is not None and self.up is None:
            raise ValueError('Give up together with front, as up = "z".')
        if isinstance(self.up, tuple) and self.front is None:
            raise ValueError("Give front together with an up of three numbers.")
        return self


class GirthSection(_Section):
    """A ``[[girth]]``: one more girth to measure, told in exactly one of three ways."""

    name: _Name
    height_mm: _Length | None = None
    axis: str | None = None
    along: _Fraction | None = None
    landmarks: tuple[str, str, str] | None = None

    @model_validator(mode="after")
    def _one_way_only(self) -> GirthSection:
        given = self.model_fields_set - {"name"}
        if given not in ({"height_mm"}, {"axis", "along"}, {"landmarks"}):
            raise ValueError("Give a girth height_mm, or axis and along, or three landmarks.")
        return self


class AnchorSection(_Section):
    """A place on the form, given in exactly one of six ways.

    ``between`` two landmarks is the height ``part`` of the way from the first's to the second's.
    ``line`` is a place on another tape line, for lines only: by ``along`` (0 at its start to 1),
    by the line it is ``crossing`` there, or the place nearest to the point before.
    """

    landmark: str | None = None
    height_mm: _Length | None = None
    axis: str | None = None
    along: _Fraction | None = None
    between: tuple[str, str] | None = None
    part: _Part | None = None
    bearing_deg: _Degrees | None = None
    line: _Name | None = None
    crossing: _Name | None = None
    xyz_mm: tuple[_Length, _Length, _Length] | None = None

    @model_validator(mode="after")
    def _one_way_only(self) -> AnchorSection:
        given = self.model_fields_set
        ways = (
            {"landmark"},
            {"height_mm", "bearing_deg"},
            {"between", "part", "bearing_deg"},
            {"axis", "along", "bearing_deg"},
            {"xyz_mm"},
            {"line"},
            {"line", "along"},
            {"line", "crossing"},
        )
        if given not in ways:
            raise ValueError(
                "Give a place as landmark, or height_mm and bearing_deg, or between, part and "
                "bearing_deg, or axis, along and bearing_deg, or xyz_mm, or line (with along or "
                "crossing, or alone)."
            )
        return self


class FormSection(_Section):
    """``[form]``: clothing, padding and air between the body and the inside of the plates.

    Either ``clearance_mm``, all of it, or each by itself. ``bridge_mm`` is the radius of the ball
    by which a rigid plate spans hollows, 0 to follow them; ``play_mm`` the room between a
    plate and the one it lies over.
    """

    clearance_mm: _LengthFromZero | None = None
    clothing_mm: _LengthFromZero | None = None
    padding_mm: _LengthFromZero | None = None
    air_mm: _LengthFromZero | None = None
    bridge_mm: _LengthFromZero = 0.0
    play_mm: _LengthFromZero = 0.5

    @model_validator(mode="after")
    def _told_once(self) -> FormSection:
        layers = (self.clothing_mm, self.padding_mm, self.air_mm)
        if self.clearance_mm is not None and any(layer is not None for layer in layers):
            raise ValueError(
                "Give either clearance_mm, or clothing_mm, padding_mm and air_mm each by itself."
            )
        return self

    def room_mm(self) -> float:
        """Clothing, padding and air together."""
        layers = [x for x in (self.clothing_mm, self.padding_mm, self.air_mm) if x is not None]
        if self.clearance_mm is not None:
            return self.clearance_mm
        return sum(layers) if layers else 5.0


def _end(value: Any) -> Any:
    if isinstance(value, str) or (isinstance(value, (int, float)) and 0 <= value <= 1):
        return value
    raise ValueError("Write a landmark's name, or a place along the axis from 0 to 1.")


_End: TypeAlias = Annotated[str | float, BeforeValidator(_end)]


class PaddingSection(_Section):
    """A ``[[padding]]``: a place where clothing or a pad is thicker than elsewhere.

    The place is told in exactly one of three ways: ``between`` two landmarks, or two places from 0
    to 1, along an ``axis`` (the trunk unless another is named), narrowed by ``bearing_deg`` from
    and to if wanted; a ``centre`` and ``radius_mm``; or ``lines`` round a place ``inside``.
    """

    name: _Name
    thickness_mm: _LengthAboveZero
    axis: str = "trunk"
    between: tuple[_End, _End] | None = None
    bearing_deg: tuple[_Degrees, _Degrees] | None = None
    centre: AnchorSection | None = None
    radius_mm: _LengthAboveZero | None = None
    lines: list[str] = Field(default_factory=list)
    inside: AnchorSection | None = None
    runout_mm: _LengthFromZero = 25.0

    @model_validator(mode="after")
    def _one_place(self) -> PaddingSection:
        given = self.model_fields_set - {"name", "thickness_mm", "runout_mm"}
        ways = ({"between"}, {"centre", "radius_mm"}, {"lines", "inside"})
        if given - {"axis", "bearing_deg"} not in ways or (
            given & {"axis", "bearing_deg"} and "between" not in given
        ):
            raise ValueError(
                "Give a padded place as between (with axis and bearing_deg if wanted), or centre "
                "and radius_mm, or lines and inside."
            )
        return self


class LevelSection(_Section):
    """A ``[[line]]`` of kind ``level``: a round square to an axis."""

    name: _Name
    kind: Literal["level"]
    axis: str = "trunk"
    height_mm: _Length | None = None
    along: _Fraction | None = None
    between: tuple[str, str] | None = None
    part: _Part | None = None
    tilt_deg: Annotated[float, Field(gt=-90.0, lt=90.0)] = 0.0

    @model_validator(mode="after")
    def _one_place(self) -> LevelSection:
        if self.axis != "trunk" and self.along is None:
            raise ValueError("Give along (0 to 1) for a level on a limb; height_mm is the trunk's.")
        if [self.height_mm, self.along, self.between].count(None) != 2:
            raise ValueError("Give a level either height_mm, between or along, one of the three.")
        if self.part is not None and self.between is None:
            raise ValueError("Give part together with between two landmarks.")
        return self


class GeodesicSection(_Section):
    """A ``[[line]]`` of kind ``geodesic``: the shortest way over the form, point to point."""

    name: _Name
    kind: Literal["geodesic"]
    points: Annotated[list[AnchorSection], Field(min_length=2)]
    closed: bool = False


class ThroughSection(_Section):
    """A ``[[line]]`` of kind ``through``: a smooth line over the form through its points."""

    name: _Name
    kind: Literal["through"]
    points: Annotated[list[AnchorSection], Field(min_length=2)]
    closed: bool = False


class SymmetrySection(_Section):
    """A ``[[line]]`` of kind ``symmetry``: down the middle, front and back."""

    name: _Name
    kind: Literal["symmetry"]


class ParallelSection(_Section):
    """A ``[[line]]`` of kind ``parallel``: at a distance over the form from another line."""

    name: _Name
    kind: Literal["parallel"]
    of: _Name
    distance_mm: _LengthAboveZero
    towards: Literal["up", "down", "left", "right", "front", "back", "in", "out"]


class MirroredSection(_Section):
    """A ``[[line]]`` of kind ``mirrored``: another line drawn again on the other side."""

    name: _Name
    kind: Literal["mirrored"]
    of: _Name


class RoundSection(_Section):
    """A ``[[line]]`` of kind ``round``: all places at one distance from its centre."""

    name: _Name
    kind: Literal["round"]
    centre: AnchorSection
    radius_mm: _LengthAboveZero


LineSection: TypeAlias = Annotated[
    LevelSection
    | GeodesicSection
    | ThroughSection
    | SymmetrySection
    | ParallelSection
    | MirroredSection
    | RoundSection,
    Field(discriminator="kind"),
]


class EdgeSection(_Section):
    """The treatment of one edge of a patch: ``{lap_mm = 12}``, ``{wire_mm = 3}`` and so on.

    One of a lap, a hem, a double hem and a trim by their width, a wire or a bead by its
    diameter, a flange by its height with ``radius_mm`` and ``bend_deg``. ``rivets`` names the rivet
    of a row in the lap, ``"blind 3.2"``; without ``lap_mm`` the lap is as wide as that wants.
    """

    lap_mm: _LengthFromZero | None = None
    hem_mm: _LengthAboveZero | None = None
    double_hem_mm: _LengthAboveZero | None = None
    trim_mm: _LengthAboveZero | None = None
    wire_mm: _LengthAboveZero | None = None
    bead_mm: _LengthAboveZero | None = None
    flange_mm: _LengthAboveZero | None = None
    radius_mm: _LengthFromZero = 1.5
    bend_deg: Annotated[float, Field(gt=0.0, lt=180.0)] = 90.0
    rivets: str | None = None
    pitch_mm: _LengthAboveZero | None = None
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
            raise ValueError(f"Give an edge one treatment, not {' and '.join(given)}.")
        if self.rivets is not None:
            rivet_named(self.rivets)
            if given and given != ["lap_mm"]:
                raise ValueError("Rivets stand in a lap: give lap_mm with them, or neither.")
        elif self.pitch_mm is not None or self.drill_later:
            raise ValueError('Give pitch_mm and drill_later together with rivets = "blind 3.2".')
        if self.flange_mm is None and {"radius_mm", "bend_deg"} & self.model_fields_set:
            raise ValueError("radius_mm and bend_deg belong to a flange_mm.")
        return self


class CutSection(_Section):
    """A relief cut: from the patch's edge nearest to one place to another, ``{edge, tip}``."""

    edge: AnchorSection
    tip: AnchorSection


class KeepOutSection(_Section):
    """A round place that no advised cut may enter: ``{at = {...}, within_mm = 40}``."""

    at: AnchorSection
    within_mm: _LengthAboveZero


class PatchSection(_Section):
    """A ``[[patch]]``: a piece of the form bounded by tape lines.

    Without ``lines`` it ends at whatever lines lie round the place ``inside``; with
    ``radius_mm`` it is round, that place its centre. ``more_inside`` names places in further
    regions that belong to it. ``grain`` is ``"up"``, ``"round"`` or a tape line to follow, turned
    by ``grain_deg`` counter-clockwise seen from outside. ``over`` names the patches that this one
    lies over; ``clearance_mm`` and ``bridge_mm`` stand in for those of ``[form]``.
    ``cuts`` are its relief cuts. ``no_cuts`` names lines from which none may be advised, and places
    none may enter; ``cut_to_pct`` the strain they are to reach; ``stop_hole_mm`` the hole at each
    cut's tip, 0 for none.
    """

    name: _Name
    lines: list[str] = Field(default_factory=list)
    inside: AnchorSection
    more_inside: list[AnchorSection] = Field(default_factory=list)
    radius_mm: _LengthAboveZero | None = None
    side: Literal["left", "right", "centre"] = "centre"
    pair: bool = False
    seam: str | None = None
    material: str = "card"
    thickness_mm: _LengthAboveZero = 0.5
    clearance_mm: _LengthFromZero | None = None
    bridge_mm: _LengthFromZero | None = None
    over: list[str] = Field(default_factory=list)
    edges: dict[str, EdgeSection] = Field(default_factory=dict)
    grain: str | None = None
    grain_deg: _Degrees = 0.0
    note: str = ""
    forming: Forming | None = None
    hold: list[str] = Field(default_factory=list)
    cuts: list[CutSection] = Field(default_factory=list)
    no_cuts: list[str | KeepOutSection] = Field(default_factory=list)
    cut_to_pct: Annotated[float, Field(gt=0.0, le=60.0)] | None = None
    stop_hole_mm: _LengthFromZero | None = None

    @model_validator(mode="after")
    def _fits_together(self) -> PatchSection:
        sheet_material_named(self.material)
        if self.pair and self.side == "centre":
            raise ValueError(
                'A patch made in a pair is drawn on one side: add side = "left" or "right".'
            )
        if self.radius_mm is not None and (self.lines or self.more_inside):
            raise ValueError("Give a patch either lines or a radius_mm.")
        if any(place.line is not None for place in (self.inside, *self.more_inside)):
            raise ValueError("A place inside a patch is not on a line; give it another way.")
        if self.grain is None and self.grain_deg:
            raise ValueError('Give grain_deg together with grain, as grain = "up".')
        return self


class CorrectedEdgeSection(_Section):
    """An edge of a corrected part: ``{line, moved_mm = [[share, outwards, along], ...]}``.

    ``share`` runs from 0 to 1 along the edge; ``piece`` counts the edges along the same line.
    """

    line: str
    piece: Annotated[int, Field(ge=0)] = 0
    moved_mm: Annotated[list[tuple[_Fraction, float, float]], Field(min_length=2)]

    @model_validator(mode="after")
    def _rises(self) -> CorrectedEdgeSection:
        shares = [row[0] for row in self.moved_mm]
        if any(b <= a for a, b in pairwise(shares)):
            raise ValueError("The shares, each row's first number, must rise from 0 to 1.")
        return self


class CorrectionSection(_Section):
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


class AttachmentSection(_Section):
    """An ``[[attachment]]``: a cone, tube, square spike, fin or dome that stands on a patch.

    ``across_mm`` is its outside diameter at the plate, a spike's side, a fin's length; ``top_mm`` a
    cone's diameter at its open top. ``turn_deg`` turns it about its axis, ``lean_deg`` leans that
    axis towards ``toward_deg``; both count from the wearer's up, counter-clockwise seen from
    outside.
    """

    name: _Name
    on: str
    at: AnchorSection
    kind: Literal["cone", "tube", "spike", "fin", "dome"]
    across_mm: _LengthAboveZero
    height_mm: _LengthAboveZero
    top_mm: _LengthFromZero = 0.0
    turn_deg: _Degrees = 0.0
    lean_deg: Annotated[float, Field(ge=0.0, le=60.0)] = 0.0
    toward_deg: _Degrees = 0.0
    material: str = "card"
    thickness_mm: _LengthAboveZero = 0.5
    tabs: Annotated[int, Field(ge=0, le=60)] = 6
    tab_mm: _LengthAboveZero = 12.0
    hole_mm: _LengthAboveZero = 3.2
    seam_lap_mm: _LengthFromZero = 10.0
    gores: Annotated[int, Field(ge=0, le=24)] = 8
    note: str = ""

    @model_validator(mode="after")
    def _fits_together(self) -> AttachmentSection:
        sheet_material_named(self.material)
        if self.top_mm > 0 and self.kind != "cone":
            raise ValueError("Only a cone has an open top: leave top_mm out.")
        if self.kind == "dome" and self.height_mm > self.across_mm:
            raise ValueError("A dome is no higher than it is across.")
        return self


class PrintSection(_Section):
    """``[print]``: the paper the templates are spread over.

    ``printed_mm`` is what the 100 mm check square measured on this printer, across and up; pages
    are drawn larger or smaller by as much, so that they come out true.
    """

    paper: str = "A4"
    printed_mm: tuple[_PrintedSquare, _PrintedSquare] = (100.0, 100.0)
    margin_mm: _LengthFromZero = 10.0
    overlap_mm: _LengthFromZero = 10.0

    @model_validator(mode="after")
    def _paper_is_known(self) -> PrintSection:
        paper = paper_named(self.paper)
        left = paper.width_mm - 2 * self.margin_mm - self.overlap_mm
        if left < 60.0:
            raise ValueError(
                f"Margins and overlap leave {left:.0f} mm of {paper.name} to draw on; "
                "give smaller ones."
            )
        return self


class JobSettings(_Section):
    """All of ``job.toml``."""

    format: Literal[1]
    job: JobSection
    wearer: WearerSection = WearerSection()
    capture: CaptureSection = CaptureSection()
    body: BodySection = BodySection()
    form: FormSection = FormSection()
    girth: list[GirthSection] = Field(default_factory=list)
    padding: list[PaddingSection] = Field(default_factory=list)
    line: list[LineSection] = Field(default_factory=list)
    patch: list[PatchSection] = Field(default_factory=list)
    correction: list[CorrectionSection] = Field(default_factory=list)
    attachment: list[AttachmentSection] = Field(default_factory=list)
    print: PrintSection = PrintSection()
