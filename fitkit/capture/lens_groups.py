"""Photos that went through another program: cropped or resized, they lost their lens."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from fitkit.capture.photo import Photo
from fitkit.findings import Finding, Severity

__all__ = ["settle_lenses"]

# So many photos of one size can settle a lens of their own.
_FEWEST_FOR_A_LENS = 3
_SAME_SHAPE = 0.005

_Size = tuple[int, int]


def settle_lenses(
    photos: Sequence[Photo],
) -> tuple[tuple[Photo, ...], frozenset[int], tuple[Finding, ...]]:
    """Find photos whose size is not what their camera stored for the others.

    Of a camera that the files name, the size that most of its photos have is taken for
    what it stores. Three or more photos of another size, or of another shape than the file
    says was taken, get a lens of their own whose focal length the file does not vouch for;
    fewer are left out, for they cannot settle one.

    Returns
    -------
    tuple
        The photos in the same order, some with another belief about their lens; the
        indices of those to leave out; and the findings.
    """
    of_camera: dict[str, list[int]] = {}
    for index, photo in enumerate(photos):
        if photo.camera:
            of_camera.setdefault(photo.camera, []).append(index)
    settled = list(photos)
    left_out: set[int] = set()
    findings: list[Finding] = []
    for camera in sorted(of_camera):
        indices = of_camera[camera]
        counts = Counter(photos[k].stored_px for k in indices)
        usual = max(counts, key=lambda size: (counts[size], size))
        odd: dict[_Size, list[int]] = {}
        for k in indices:
            if _went_through_another_program(photos[k], usual):
                odd.setdefault(photos[k].stored_px, []).append(k)
        for size in sorted(odd):
            names = [photos[k].name for k in odd[size]]
            if len(names) < _FEWEST_FOR_A_LENS:
                left_out.update(odd[size])
                findings += [_left_out(photos[k], usual) for k in odd[size]]
                continue
            for k in odd[size]:
                settled[k] = replace(photos[k], focal_known=False)
            findings.append(_own_lens(names, size, usual))
    return tuple(settled), frozenset(left_out), tuple(findings)


def _went_through_another_program(photo: Photo, usual: _Size) -> bool:
    if photo.taken_px is not None and not _alike(photo.taken_px, photo.stored_px):
        return True
    if photo.stored_px == usual:
        return False
    # The camera's own smaller or larger mode tells the same size twice and keeps the shape.
    return photo.taken_px != photo.stored_px or not _alike(photo.stored_px, usual)


def _alike(size: _Size, other: _Size) -> bool:
    return abs(size[0] * other[1] / (size[1] * other[0]) - 1.0) < _SAME_SHAPE


def _left_out(photo: Photo, usual: _Size) -> Finding:
    size = photo.stored_px
    told = usual if size != usual or photo.taken_px is None else photo.taken_px
    cropped = not _alike(size, told)
    return Finding(
        "photo-cropped" if cropped else "photo-resized",
        Severity.WARNING,
        photo.name,
        f"{photo.name} was left out: it is {size[0]} x {size[1]} px where its camera stored "
        f"{told[0]} x {told[1]} px, so it was {'cropped' if cropped else 'resized or cropped'} "
        "and its lens is not known.",
        "Use the photo as the camera stored it.",
        number=float(size[0]),
        limit=float(told[0]),
        unit="px",
    )


def _own_lens(names: Sequence[str], size: _Size, usual: _Size) -> Finding:
    return Finding(
        "photos-other-size",
        Severity.NOTE,
        names[0],
        f"{len(names)} photos ({names[0]} and so on) are {size[0]} x {size[1]} px; their camera "
        f"stores {usual[0]} x {usual[1]} px. They were given a lens of their own.",
    )
