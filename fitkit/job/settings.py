"""The words of ``job.toml`` as typed values.

Lengths may carry a unit (``"92 cm"``) and come out in millimetres; angles are degrees
here, at the edge, and become radians in :mod:`fitkit.job.designs`. Every section refuses
words it does not know.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal, TypeAlias

from pydantic import BeforeValidator, Field, model_validator

from fitkit.drawing.paper import paper_named
from fitkit.job.book_settings import BookSection, HardwareSection
from fitkit.job.holding_settings import (
    FastenerSection,
    GussetSection,
    PadSection,
    StrapSection,
)
from fitkit.job.line_settings import (
    AnchorSection,
    FormSection,
    GeodesicSection,
    LevelSection,
    LineSection,
    MirroredSection,
    PaddingSection,
    ParallelSection,
    RoundSection,
    SymmetrySection,
    ThroughSection,
)
from fitkit.job.motion_settings import LamesSection, MotionSection, NeedSection, PivotSection
from fitkit.job.part_settings import (
    ArtworkSection,
    AttachmentSection,
    CorrectedEdgeSection,
    CorrectionSection,
    CutSection,
    EdgeSection,
    KeepOutSection,
    PatchSection,
)
from fitkit.job.scan_settings import (
    BodySection,
    CaptureSection,
    GirthSection,
    JobSection,
    StandSection,
    WearerSection,
)
from fitkit.job.setting_words import LengthFromZero, MisfitError, Section, file_stem, length_mm_of
from fitkit.job.stock_settings import BadZoneSection, NestSection, PinnedSection, StockSection

__all__ = [
    "FORMAT",
    "AnchorSection",
    "ArtworkSection",
    "AttachmentSection",
    "BadZoneSection",
    "BodySection",
    "BookSection",
    "CaptureSection",
    "CorrectedEdgeSection",
    "CorrectionSection",
    "CutSection",
    "EdgeSection",
    "FastenerSection",
    "FormSection",
    "GeodesicSection",
    "GirthSection",
    "GussetSection",
    "HardwareSection",
    "JobSection",
    "JobSettings",
    "KeepOutSection",
    "LamesSection",
    "LevelSection",
    "LineSection",
    "MirroredSection",
    "MotionSection",
    "NeedSection",
    "NestSection",
    "PadSection",
    "PaddingSection",
    "ParallelSection",
    "PatchSection",
    "PinnedSection",
    "PivotSection",
    "PrintSection",
    "RoundSection",
    "StandSection",
    "StockSection",
    "StrapSection",
    "SymmetrySection",
    "ThroughSection",
    "WearerSection",
    "file_stem",
]

FORMAT = 1
"""The format of ``job.toml`` that this version of fitkit writes."""


def _printed_square(value: Any) -> float:
    length = length_mm_of(value)
    if not 90.0 <= length <= 110.0:
        raise ValueError(
            "The 100 mm check square cannot come out so far off; print at 100 %, no fit to page."
        )
    return length


_PrintedSquare: TypeAlias = Annotated[float, BeforeValidator(_printed_square)]


class PrintSection(Section):
    """``[print]``: the paper the templates are spread over.

    ``printed_mm`` is what the 100 mm check square measured on this printer, across and up; pages
    are drawn larger or smaller by as much, so that they come out true.
    """

    paper: str = "A4"
    printed_mm: tuple[_PrintedSquare, _PrintedSquare] = (100.0, 100.0)
    margin_mm: LengthFromZero = 10.0
    overlap_mm: LengthFromZero = 10.0

    @model_validator(mode="after")
    def _paper_is_known(self) -> PrintSection:
        paper = paper_named(self.paper)
        left = paper.width_mm - 2 * self.margin_mm - self.overlap_mm
        if left < 60.0:
            raise MisfitError(
                ("margin_mm", "overlap_mm", "paper"),
                f"Margins and overlap leave {left:.0f} mm of {paper.name} to draw on; "
                "give smaller ones.",
            )
        return self


class JobSettings(Section):
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
    artwork: list[ArtworkSection] = Field(default_factory=list)
    strap: list[StrapSection] = Field(default_factory=list)
    pad: list[PadSection] = Field(default_factory=list)
    gusset: list[GussetSection] = Field(default_factory=list)
    fastener: list[FastenerSection] = Field(default_factory=list)
    motion: MotionSection = MotionSection()
    need: list[NeedSection] = Field(default_factory=list)
    lames: list[LamesSection] = Field(default_factory=list)
    pivot: list[PivotSection] = Field(default_factory=list)
    hardware: list[HardwareSection] = Field(default_factory=list)
    book: BookSection = BookSection()
    stock: list[StockSection] = Field(default_factory=list)
    nest: NestSection = NestSection()
    pinned: list[PinnedSection] = Field(default_factory=list)
    print: PrintSection = PrintSection()
