"""Sheets that do not lie flat: curled paper taken as curled, folded paper in pieces.

A sheet that moved between photos fits a plane in each of them; one that is bent fits none.
Forced on a plane it would pull scale and cameras with it, and the reprojection error would
hardly show it. Paper does not stretch: where it curls, its points lie on a cylinder whose
curvature the photos tell; where it is folded, its halves lie each on a plane and get a pose
of their own; where one corner is bent up, its quarters do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitkit.capture.bundle_adjustment import adjust, residuals_px, residuals_with_jacobian
from fitkit.capture.owner_sums import summed_by_owner
from fitkit.capture.photo_network import LensPriors, Network, Sightings
from fitkit.capture.tag_set import AnySheet
from fitkit.findings import Finding, Severity
from fitkit.geometry.arrays import Bools, Floats, Ints
from fitkit.geometry.rigid import RigidTransform

__all__ = ["PiecedNetwork", "posed_as_one", "split_bent_sheets"]

# A sheet is bent that misses a plane by this in the middle one of its photos, if two halves
# miss by less than this part of it, or a cylinder does; noise is the same in all.
_BENT_PX, _BETTER = 0.25, 0.6
_FEWEST_VIEWS, _FEWEST_ROWS, _FEWEST_OF_CAMERA = 3, 8, 12
# Halves hold the scale far better than quarters, which must fit by so much better.
_QUARTERS_BETTER = 0.5
# What misses by more says no more than that it misses.
_LOST_PX = 5.0
_ROUNDS = 20
_POSE = 6


@dataclass(frozen=True, slots=True, eq=False)
class PiecedNetwork:
    """A network in which folded sheets are several, and the sheet that each piece is of.

    The points of curled sheets lie in ``sightings`` as the paper does, not as it was printed.
    """

    network: Network
    sightings: Sightings
    sheet_of_piece: tuple[int, ...]
    findings: tuple[Finding, ...]


def split_bent_sheets(
    network: Network,
    sightings: Sightings,
    priors: LensPriors,
    *,
    sheets: Sequence[AnySheet],
) -> PiecedNetwork:
    """Return the network with every bent sheet in pieces, adjusted anew.

    Parameters
    ----------
    network, sightings, priors
        After a first adjustment with all sheets taken as flat.
    sheets
        What the sheets of the network are; a tag by itself is too small to be split.
    """
    whole_px = _misfits_px(network, sightings)
    suspects = whole_px > _BENT_PX
    if not suspects.any():
        return PiecedNetwork(network, sightings, tuple(range(len(sheets))), ())
    halves_px = np.minimum(
        *(_misfits_px(network, sightings, sightings.points_mm[:, k] > 0) for k in (0, 1))
    )
    curvatures = [_curvatures_per_mm(network, sightings, axis) for axis in (0, 1)]
    curls = [
        replace(sightings, points_mm=_rolled(sightings.points_mm, k[sightings.sheet], axis))
        for axis, k in enumerate(curvatures)
    ]
    curled_px = np.array([_misfits_px(network, curl) for curl in curls])
    suspects &= np.minimum(halves_px, curled_px.min(axis=0)) < _BETTER * whole_px
    bent = [k for k, sheet in enumerate(sheets) if len(sheet.saddles_mm()) and suspects[k]]
    piece, owner = sightings.sheet.copy(), list(range(len(sheets)))
    points = sightings.points_mm.copy()
    for sheet in bent:
        rows = np.flatnonzero(sightings.sheet == sheet)
        if curled_px[:, sheet].min() < halves_px[sheet]:
            points[rows] = curls[int(curled_px[:, sheet].argmin())].points_mm[rows]
            continue
        part = _best_parts(network, sightings, rows)
        for other in range(1, int(part.max()) + 1):
            piece[rows[part == other]] = len(owner)
            owner.append(sheet)
    split = _sorted(replace(sightings, sheet=piece, points_mm=points))
    split = split.where(_fixed(split))
    used, number = np.unique(split.sheet, return_inverse=True)
    owner = [owner[k] for k in used]
    split = replace(split, sheet=np.asarray(number, dtype=np.int64))
    parted, _ = _posed(_with_sheets(network, owner), split)
    parted = adjust(parted, split, priors, huber=3.0, max_rounds=25)
    findings = []
    for sheet in bent:
        pieces = [k for k, one in enumerate(owner) if one == sheet]
        if pieces:
            height_mm = _height_mm(parted, split, pieces)
            findings.append(_bent(sheets[sheet], height_mm, len(pieces)))
    return PiecedNetwork(parted, split, tuple(owner), tuple(findings))


def posed_as_one(
    sheet: AnySheet, pieces: Sequence[RigidTransform], points_mm: Sequence[Floats]
) -> RigidTransform:
    """Return the pose of a flat sheet nearest to its pieces.

    Parameters
    ----------
    sheet
        The sheet.
    pieces
        Pose of each piece, as that of the whole sheet if it went on flat.
    points_mm
        (K, 3) float mm each: printed points that lie on the piece.
    """
    if len(pieces) == 1:
        return pieces[0]
    printed = np.concatenate(list(points_mm))
    placed = np.concatenate([p.apply(q) for p, q in zip(pieces, points_mm, strict=True)])
    if len(np.unique(printed, axis=0)) < 3:
        printed = np.tile(sheet.outer_points_mm(), (len(pieces), 1))
        placed = np.concatenate([pose.apply(sheet.outer_points_mm()) for pose in pieces])
    a, b = printed - printed.mean(axis=0), placed - placed.mean(axis=0)
    u, _, vt = np.linalg.svd(b.T @ a)
    turn = u @ np.diag([1.0, 1.0, np.linalg.det(u @ vt)]) @ vt
    # The middle of the tag is where the pieces have it, not where a plane through them does.
    middle = np.mean([pose.translation_mm for pose in pieces], axis=0)
    return RigidTransform(turn, middle)


def _misfits_px(network: Network, sightings: Sightings, part: Bools | None = None) -> Floats:
    """(S,) float px: what each sheet misses its shape by in the middle one of its photos.

    Each photo has its own pose for it. ``part`` (N,) bool tells which rows belong together
    where not all of a sheet do.
    """
    count = len(network.sheet_rotations)
    alone, of_view, row_view = _view_by_view(network, sightings, part)
    posed, _ = _posed(_with_sheets(network, of_view // 2 % count), alone)
    squares = np.bincount(alone.sheet, _capped(posed, alone) ** 2, len(of_view))
    rows = np.bincount(row_view, minlength=len(of_view))
    # A pose takes six of the numbers measured for itself.
    squares, surplus = (
        np.bincount(of_view // 2, np.where(rows > _POSE, amount, 0.0))
        for amount in (squares, rows - _POSE)
    )
    views = np.flatnonzero(surplus >= _POSE)
    return _middle_ones(np.sqrt(squares[views] / surplus[views]), views % count, count)


def _curvatures_per_mm(network: Network, sightings: Sightings, axis: int) -> Floats:
    """(S,) float 1 / mm: how much each sheet curls along its x or y, the middle of its photos."""
    count = len(network.sheet_rotations)
    alone, of_view, row_view = _view_by_view(network, sightings, None)
    sheet = of_view // 2 % count
    _, curvature = _posed(_with_sheets(network, sheet), alone, curls_along=axis)
    telling = np.bincount(row_view) >= 2 * _POSE
    return _middle_ones(curvature[telling], sheet[telling], count)


def _view_by_view(
    network: Network, sightings: Sightings, part: Bools | None
) -> tuple[Sightings, Ints, Ints]:
    """Return the rows with a sheet for each view, (V,) ``(camera, sheet, part)`` in one, and (N,).

    The last says of the rows as they were which view they are of.
    """
    key = sightings.camera * len(network.sheet_rotations) + sightings.sheet
    views, view = np.unique(2 * key + (0 if part is None else part), return_inverse=True)
    view = np.asarray(view, dtype=np.int64)
    return _sorted(replace(sightings, sheet=view)), views, view


def _middle_ones(values: Floats, sheet: Ints, count: int) -> Floats:
    """(S,) float: the median of each sheet's values, 0 where there are too few."""
    middle = np.zeros(count)
    for one in range(count):
        own = values[sheet == one]
        if len(own) >= _FEWEST_VIEWS:
            middle[one] = np.median(own)
    return middle


def _rolled(points_mm: Floats, curvature_per_mm: Floats, axis: int) -> Floats:
    """(N, 3) float mm: points of a flat sheet on a cylinder, lengths along it kept."""
    along = points_mm[:, axis]
    turn = along * curvature_per_mm
    rolled = points_mm.copy()
    # sin(t) / t and (1 - cos(t)) / t, good also where the paper is flat
    rolled[:, axis] = along * np.sinc(turn / np.pi)
    rolled[:, 2] += along * 0.5 * turn * np.sinc(turn / (2.0 * np.pi)) ** 2
    return rolled


def _best_parts(network: Network, sightings: Sightings, rows: Ints) -> Ints:
    """(K,) int: for each row of one sheet, which of two halves or four quarters it is on."""
    own = sightings.where(rows)
    right = (own.points_mm[:, 0] > 0).astype(np.int64)
    above = (own.points_mm[:, 1] > 0).astype(np.int64)
    divisions = [above, right, right + 2 * above]
    sheet = int(own.sheet[0])
    misfits = []
    for division in divisions:
        _, number = np.unique(division, return_inverse=True)
        one = _sorted(replace(own, sheet=np.asarray(number, dtype=np.int64)))
        pieces, _ = _posed(_with_sheets(network, [sheet] * (int(number.max()) + 1)), one)
        misfits.append(float(np.sqrt((_capped(pieces, one) ** 2).mean())))
    best = int(np.argmin(misfits[:2]))
    return divisions[2 if misfits[2] < _QUARTERS_BETTER * misfits[best] else best]


def _posed(
    network: Network, sightings: Sightings, *, curls_along: int | None = None
) -> tuple[Network, Floats]:
    """Return the network with each sheet moved to where it fits, cameras and lenses held.

    Sheets do not touch each other then: Levenberg-Marquardt on all of them side by side.
    With ``curls_along`` x (0) or y (1) each also takes the curvature (S,) that fits it best.
    """
    count = len(network.sheet_rotations)
    unknowns = _POSE + (curls_along is not None)
    curvature, index = np.zeros(count), np.arange(unknowns)

    def seen(curvature: Floats) -> Sightings:
        if curls_along is None:
            return sightings
        points = _rolled(sightings.points_mm, curvature[sightings.sheet], curls_along)
        return replace(sightings, points_mm=points)

    cost = np.bincount(sightings.sheet, residuals_px(network, sightings) ** 2, count)
    damping = np.full(count, 1e-3)
    no_lens, no_camera = np.zeros(network.lenses.shape), np.zeros((len(network.growths_px), 7))
    for _ in range(_ROUNDS):
        residuals, slopes = residuals_with_jacobian(network, seen(curvature))
        slopes = slopes[:, -_POSE:]
        if curls_along is not None:
            # The paper rises out of its plane by the curvature times half the square.
            up = network.sheet_rotations[sightings.sheet, :, 2]
            rise = 0.5 * sightings.points_mm[:, curls_along] ** 2
            slopes = np.column_stack([slopes, (slopes[:, 3:] * up).sum(axis=1) * rise])
        normal = summed_by_owner(slopes[:, :, None] * slopes[:, None, :], sightings.sheet, count)
        side = summed_by_owner(slopes * residuals[:, None], sightings.sheet, count)
        size = np.sqrt(np.maximum(normal[:, index, index], 1e-12))
        scaled = normal / (size[:, :, None] * size[:, None, :])
        scaled[:, index, index] = 1.0 + damping[:, None] + 1e-9
        steps = -np.linalg.solve(scaled, (side / size)[:, :, None])[:, :, 0] / size
        trial = network.moved(no_lens, no_camera, steps[:, :_POSE])
        trial_curvature = curvature + steps[:, _POSE:].sum(axis=1)
        misses = residuals_px(trial, seen(trial_curvature))
        trial_cost = np.bincount(sightings.sheet, misses**2, count)
        better = trial_cost < cost
        gained, before = float((cost - trial_cost)[better].sum()), float(cost.sum())
        network = replace(
            network,
            sheet_rotations=np.where(
                better[:, None, None], trial.sheet_rotations, network.sheet_rotations
            ),
            sheet_shifts_mm=np.where(
                better[:, None], trial.sheet_shifts_mm, network.sheet_shifts_mm
            ),
        )
        curvature = np.where(better, trial_curvature, curvature)
        cost = np.where(better, trial_cost, cost)
        damping = np.where(better, damping / 10.0, damping * 10.0)
        if better.any() and gained <= 1e-7 * before:
            break
    return network, curvature


def _with_sheets(network: Network, sheets: Sequence[int] | Ints) -> Network:
    index = np.asarray(sheets, dtype=np.int64)
    return replace(
        network,
        sheet_rotations=network.sheet_rotations[index],
        sheet_shifts_mm=network.sheet_shifts_mm[index],
    )


def _sorted(sightings: Sightings) -> Sightings:
    order = np.lexsort((sightings.sheet, sightings.camera))
    return sightings.where(order)


def _fixed(sightings: Sightings) -> Bools:
    """(N,) bool: rows of pieces that enough photos show well enough to fix them."""
    pieces = int(sightings.sheet.max()) + 1
    key = sightings.camera * pieces + sightings.sheet
    views, view, rows = np.unique(key, return_inverse=True, return_counts=True)
    good = rows >= _FEWEST_ROWS
    seen = np.bincount(views % pieces, weights=good, minlength=pieces)
    keep = good[view] & (seen >= 2)[sightings.sheet]
    left = np.bincount(sightings.camera, weights=keep)
    return np.asarray(keep | (left < _FEWEST_OF_CAMERA)[sightings.camera])


def _capped(network: Network, sightings: Sightings) -> Floats:
    capped: Floats = np.minimum(np.abs(residuals_px(network, sightings)), _LOST_PX)
    return capped


def _height_mm(network: Network, sightings: Sightings, pieces: Sequence[int]) -> float:
    """Return how thick a slab a sheet in pieces fills."""
    placed = []
    for k in pieces:
        points = np.unique(sightings.points_mm[sightings.sheet == k].round(3), axis=0)
        placed.append(points @ network.sheet_rotations[k].T + network.sheet_shifts_mm[k])
    points = np.concatenate(placed)
    middle = points.mean(axis=0)
    normal = np.linalg.svd(points - middle, full_matrices=False)[2][2]
    return float(np.ptp((points - middle) @ normal))


def _bent(sheet: AnySheet, height_mm: float, pieces: int) -> Finding:
    how = {1: "curled", 2: "folded"}.get(pieces, "bent up at a corner")
    taken = "as it curls" if pieces == 1 else f"in {pieces} pieces, each as it lies"
    return Finding(
        "sheet-bent",
        Severity.WARNING,
        f"sheet {sheet.number}",
        f"{sheet.called[:1].upper()}{sheet.called[1:]} does not lie flat: it is {how}, by about "
        f"{height_mm:.0f} mm. It was taken {taken}.",
        "Tape the sheet flat on all sides, or glue it on card.",
        number=round(height_mm, 2),
        limit=0.0,
        unit="mm",
    )
