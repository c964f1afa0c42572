"""Flat pieces on a table, measured from one photo or several: the step itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
import shapely

from fitkit.capture.marker_sheet import MarkerSheet
from fitkit.capture.photo import Photo
from fitkit.capture.print_scale import print_scale, tag_scale
from fitkit.capture.sheet_view import SheetView, view_sheets
from fitkit.capture.tag_set import OUR_SHEETS, TagSet
from fitkit.errors import PhotoError
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Bytes, Floats, frozen_floats
from fitkit.template.part_tag import PART_TAG_SIDE_MM, STICKER_MM
from fitkit.trace.part_tags import part_tags
from fitkit.trace.pencil_marks import pencil_marks
from fitkit.trace.piece_area import piece_areas
from fitkit.trace.piece_outline import PieceOutline, outward_normals, piece_outlines
from fitkit.trace.table_picture import TablePicture, table_picture
from fitkit.trace.table_view import TableView, solve_table_views

__all__ = ["RoundHole", "TablePhoto", "Trace", "TracedPiece", "table_photo", "trace_pieces"]

_MOST_TILT_RAD = float(np.radians(45.0))
_SLANTED_RAD = float(np.radians(36.0))
# Pieces of two photos are the same one when they share this much of their area.
_SAME_SHARE = 0.6
# Outlines of one piece in two photos lie this near to one another, or one of them is wrong.
_REACH_MM = 3.0
# How far a tag that was stuck on reaches from its middle, its frame included.
_TAG_REACH_MM = float(np.hypot(0.5 * STICKER_MM[0], STICKER_MM[1] - 0.5 * STICKER_MM[0])) + 1.0
_ROUND_MM = 0.35
_DOUBTFUL_MM = 0.5
_THICK_MM = 1.0


@dataclass(frozen=True, slots=True, eq=False)
class TablePhoto:
    """A photo with its colours: (H, W, 3) uint8 RGB as large as ``photo.grey``, or grey again."""

    photo: Photo
    colour: Bytes


def table_photo(photo: Photo) -> TablePhoto:
    """Return a photo with its colours as fine as its grey picture.

    Colours are kept coarser than light, as they are in the file; the light of every pixel is the
    grey picture's own.
    """
    if photo.colour is None:
        return TablePhoto(photo, photo.grey)
    size = (photo.width_px, photo.height_px)
    large = cv2.resize(photo.colour, size, interpolation=cv2.INTER_CUBIC)
    parts = np.array(cv2.cvtColor(large, cv2.COLOR_RGB2YCrCb), dtype=np.uint8)
    parts[:, :, 0] = photo.grey
    return TablePhoto(photo, np.asarray(cv2.cvtColor(parts, cv2.COLOR_YCrCb2RGB), dtype=np.uint8))


@dataclass(frozen=True, slots=True)
class RoundHole:
    """A round hole. ``centre_mm`` on the table."""

    centre_mm: tuple[float, float]
    diameter_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class TracedPiece:
    """A piece as it lies on the table, its upper face.

    Attributes
    ----------
    outline_mm
        (N, 2) float mm, counter-clockwise.
    sigma_mm
        How sure the outline is: the camera's place and the edge's own doubt together.
    round_holes
        Holes that a drill or a punch made.
    openings_mm
        Other holes, (N, 2) float mm each, clockwise.
    pencil_mm
        Pencil lines, (N, 2) float mm each.
    photos
        Names of the photos it was measured in.
    part_number
        As the tag printed on it says, None where none can be read.
    """

    outline_mm: Floats
    sigma_mm: float
    round_holes: tuple[RoundHole, ...] = ()
    openings_mm: tuple[Floats, ...] = ()
    pencil_mm: tuple[Floats, ...] = ()
    photos: tuple[str, ...] = ()
    part_number: int | None = None

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "outline_mm", frozen_floats(self.outline_mm, (None, 2), "outline_mm")
        )


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """All pieces found, largest first, with the views and redrawn pictures they came from."""

    pieces: tuple[TracedPiece, ...]
    views: tuple[TableView, ...]
    pictures: tuple[TablePicture, ...]
    findings: tuple[Finding, ...]


def trace_pieces(
    photos: Sequence[TablePhoto],
    *,
    thickness_mm: float | None = None,
    printed_mm: tuple[float, float] | None = None,
    tags: TagSet = OUR_SHEETS,
) -> Trace:
    """Return the pieces that lie on a table with marker sheets.

    Parameters
    ----------
    photos
        Of the same table; one is enough, more are averaged.
    thickness_mm
        Of the card: its upper face is nearer to the camera than the sheets are, and looks larger.
        None takes it as lying in the sheets' plane.
    printed_mm
        The sheets' two check lengths as measured.
    tags
        What to look for: fitkit's own sheets, or tags of a maker's own.

    Raises
    ------
    PhotoError
        When no photo can be trusted; the reason is told.
    """
    findings: list[Finding] = []
    views_seen: list[SheetView] = []
    for index, one in enumerate(photos):
        seen, remarks = view_sheets(one.photo, index, tags)
        views_seen += seen
        # A printed part bears a tag of its own, which is on no marker sheet.
        findings += [remark for remark in remarks if remark.code != "tag-unknown"]
    if not views_seen:
        first = next((f for f in findings if f.remedy), None)
        raise PhotoError(
            first.message if first else "No marker sheet can be read in the photos.",
            "Lay a printed marker sheet flat beside the piece and take the photo from straight "
            "above, so that the whole sheet shows.",
        )
    if tags.ours:
        sheets = [view.sheet for view in views_seen if isinstance(view.sheet, MarkerSheet)]
        printed, remarks = print_scale(sheets, printed_mm)
    else:
        printed, remarks = tag_scale(tags)
    findings += remarks
    views = solve_table_views([one.photo for one in photos], views_seen, printed)
    findings += [
        _left_out(one.photo.name)
        for index, one in enumerate(photos)
        if index not in {view.photo for view in views}
    ]
    views, remarks = _steep_ones_out(views)
    findings += remarks
    found: list[tuple[TableView, TablePicture, list[_Seen]]] = []
    first_error: PhotoError | None = None
    for view in sorted(views, key=lambda view: view.tilt_rad):
        picture = table_picture(photos[view.photo].colour, view, height_mm=thickness_mm or 0.0)
        try:
            areas = piece_areas(picture)
        except PhotoError as error:
            first_error = first_error or error
            findings.append(
                Finding(
                    "photo-no-piece",
                    Severity.WARNING,
                    view.camera.photo,
                    f"{view.camera.photo}: {error.cause}",
                    error.remedy,
                )
            )
            continue
        seen_here = [
            _Seen(view, *piece_outlines(picture, area), pencil_marks(picture, area))
            for area in areas
        ]
        found.append((view, picture, seen_here))
    if not found:
        assert first_error is not None
        raise first_error
    if thickness_mm is None:
        findings.append(_thickness_finding(views))
    numbers = [tag for _, picture, _ in found for tag in part_tags(picture)]
    pieces = tuple(_with_number(_averaged(group), numbers) for group in _grouped(found))
    findings += [finding for n, piece in enumerate(pieces) for finding in _doubts(piece, n)]
    return Trace(
        pieces,
        tuple(view for view, _, _ in found),
        tuple(picture for _, picture, _ in found),
        tuple(findings),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """A piece in one photo."""

    view: TableView
    outline: PieceOutline
    holes: tuple[PieceOutline, ...]
    pencil: tuple[Floats, ...]


def _grouped(found: Sequence[tuple[TableView, TablePicture, list[_Seen]]]) -> list[list[_Seen]]:
    """Return the sightings of each piece, the straightest photo's first, largest piece first."""
    groups: list[tuple[shapely.Polygon, list[_Seen]]] = []
    for _, _, seen_here in found:
        for seen in seen_here:
            area = shapely.Polygon(seen.outline.points_mm).buffer(0)
            for own, group in groups:
                if shapely.intersection(own, area).area > _SAME_SHARE * max(own.area, area.area):
                    group.append(seen)
                    break
            else:
                groups.append((area, [seen]))
    groups.sort(key=lambda group: -group[0].area)
    return [group for _, group in groups]


def _averaged(group: Sequence[_Seen]) -> TracedPiece:
    """Return one piece from its sightings: outlines averaged by how sure each is."""
    best = group[0]
    points = np.array(best.outline.points_mm)
    sigma = np.hypot(best.outline.sigma_mm, best.view.sigma_mm(points))
    others = [
        (seen.outline.points_mm, float(np.median(seen.outline.sigma_mm)), seen.view)
        for seen in group[1:]
    ]
    if others:
        outward = outward_normals(points)
        reach = _REACH_MM * outward
        rays = shapely.linestrings(np.stack([points - reach, points + reach], axis=1))
        total = np.zeros(len(points))
        weight = 1.0 / sigma**2
        for other, edge_sigma, view in others:
            ring = shapely.LinearRing(other)
            shapely.prepare(ring)
            own = 1.0 / (edge_sigma**2 + view.sigma_mm(points) ** 2)
            for n, crossing in enumerate(shapely.intersection(rays, ring)):
                places = shapely.get_coordinates(crossing)
                if not len(places):
                    continue
                off = (places - points[n]) @ outward[n]
                total[n] += own[n] * off[np.abs(off).argmin()]
                weight[n] += own[n]
        points = points + (total / weight)[:, None] * outward
        sigma = 1.0 / np.sqrt(weight)
    rounds, openings = _sorted_holes(group)
    return TracedPiece(
        points,
        float(np.sqrt(np.mean(sigma**2))),
        rounds,
        openings,
        best.pencil,
        tuple(seen.view.camera.photo for seen in group),
    )


def _with_number(piece: TracedPiece, tags: Sequence[tuple[int, Floats]]) -> TracedPiece:
    """Return a piece with the part number whose tag lies on it, where all photos agree.

    The tag's own squares and the frame and name of one stuck on are no pencil lines, and neither
    tag nor white paper, which may be as dark or as pale as the table, is a hole.
    """
    area = shapely.Polygon(piece.outline_mm).buffer(0)
    own = [(number, at) for number, at in tags if area.contains(shapely.Point(at))]
    numbers = {number for number, _ in own}
    middles = shapely.points(np.reshape([at for _, at in own], (-1, 2)))

    def is_bare(hole: shapely.Geometry) -> bool:
        return bool((shapely.distance(hole, middles) > 0.5 * PART_TAG_SIDE_MM).all())

    rounds = tuple(
        hole
        for hole in piece.round_holes
        if is_bare(shapely.Point(hole.centre_mm).buffer(0.5 * hole.diameter_mm))
    )
    openings = tuple(ring for ring in piece.openings_mm if is_bare(shapely.Polygon(ring)))
    drawn = tuple(
        line
        for line in piece.pencil_mm
        if all(np.linalg.norm(line - at, axis=1).max() > _TAG_REACH_MM for _, at in own)
    )
    number = numbers.pop() if len(numbers) == 1 else None
    return replace(
        piece, part_number=number, round_holes=rounds, openings_mm=openings, pencil_mm=drawn
    )


def _sorted_holes(group: Sequence[_Seen]) -> tuple[tuple[RoundHole, ...], tuple[Floats, ...]]:
    """Return the straightest photo's holes, round ones averaged over the photos."""
    rounds, openings = [], []
    for hole in group[0].holes:
        centre, radius, off = _circle(hole.points_mm)
        if off > _ROUND_MM:
            openings.append(hole.points_mm)
            continue
        alike = [(centre, radius)]
        for seen in group[1:]:
            for other in seen.holes:
                at, own_radius, own_off = _circle(other.points_mm)
                if np.linalg.norm(at - centre) < _REACH_MM and own_off <= _ROUND_MM:
                    alike.append((at, own_radius))
        x, y = np.mean([at for at, _ in alike], axis=0)
        diameter = 2.0 * float(np.mean([own for _, own in alike]))
        rounds.append(RoundHole((float(x), float(y)), diameter))
    return tuple(rounds), tuple(openings)


def _circle(points: Floats) -> tuple[Floats, float, float]:
    """Return centre, radius and RMS misfit of the circle nearest to points (Kasa's fit)."""
    middle = points.mean(axis=0)
    own = points - middle
    a = np.column_stack([2.0 * own, np.ones(len(own))])
    (x, y, rest), *_ = np.linalg.lstsq(a, np.sum(own**2, axis=1), rcond=None)
    radius = float(np.sqrt(max(rest + x * x + y * y, 1e-12)))
    off = np.linalg.norm(own - [x, y], axis=1) - radius
    return middle + np.array([x, y]), radius, float(np.sqrt(np.mean(off**2)))


def _steep_ones_out(
    views: Sequence[TableView],
) -> tuple[tuple[TableView, ...], tuple[Finding, ...]]:
    kept = tuple(view for view in views if view.tilt_rad <= _MOST_TILT_RAD)
    if not kept:
        least = min(views, key=lambda view: view.tilt_rad)
        raise PhotoError(
            f"The photo looks at the table {np.degrees(least.tilt_rad):.0f}° from straight down.",
            "Take it from straighter above; up to 35° is good.",
        )
    findings = []
    for view in views:
        if view.tilt_rad > _SLANTED_RAD:
            used = "left out" if view.tilt_rad > _MOST_TILT_RAD else "used"
            findings.append(
                Finding(
                    "photo-slanted",
                    Severity.WARNING,
                    view.camera.photo,
                    f"{view.camera.photo} looks {np.degrees(view.tilt_rad):.0f}° from straight "
                    f"down and was {used}.",
                    "Take it from straighter above; up to 35° is good.",
                    number=round(float(np.degrees(view.tilt_rad)), 1),
                    limit=round(float(np.degrees(_SLANTED_RAD)), 1),
                    unit="°",
                )
            )
    return kept, tuple(findings)


def _left_out(name: str) -> Finding:
    return Finding(
        "photo-not-connected",
        Severity.WARNING,
        name,
        f"{name} was left out: it shows no marker sheet that the other photos show too.",
        "Let the same sheet show in every photo.",
    )


def _thickness_finding(views: Sequence[TableView]) -> Finding:
    distance = min(float(view.camera.centre_mm()[2]) for view in views)
    grows = _THICK_MM / distance
    return Finding(
        "thickness-not-given",
        Severity.NOTE,
        "trace",
        f"The card's thickness was not given; each millimetre of it makes a piece of 300 mm look "
        f"{300 * grows:.1f} mm larger.",
        "Give the thickness.",
        number=round(grows, 5),
    )


def _doubts(piece: TracedPiece, index: int) -> list[Finding]:
    if piece.sigma_mm <= _DOUBTFUL_MM:
        return []
    return [
        Finding(
            "outline-doubtful",
            Severity.WARNING,
            f"piece {index + 1}",
            f"Its outline is known to {piece.sigma_mm:.1f} mm only.",
            "Take the photo from nearer, in even light, on something of a different colour.",
            number=round(piece.sigma_mm, 3),
            limit=_DOUBTFUL_MM,
            unit="mm",
        )
    ]
