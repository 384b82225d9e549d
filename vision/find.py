"""Finding the board: several finders in turn, one shared refinement, and a proof or a refusal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibrate.types import Artwork
from scoring.lattice import board_corners_mm, cell_centres_mm
from scoring.types import Lattice
from vision.artwork import LOOKS, align_patches, match_artwork
from vision.errors import BoardNotFound
from vision.geometry import homography_between, refine_registration, registration_from
from vision.marks import find_marks, mark_pairs
from vision.proof import SEEN, is_proven, prove
from vision.refusals import (
    check_exposure,
    check_in_frame,
    check_sharpness,
    mirrored,
    unproven,
)
from vision.types import Photo, Registration

Array = NDArray[np.float64]

REACHES_PX = (14, 5, 3)
TAP_REACHES_PX = (REACHES_PX, (20, 10, 5, 3), (28, 20, 10, 5, 3))
"""Search radii of the rounds of alignment, artwork px (the board is 1000 long)."""

FEWEST_PATCHES = 10


def find_board(
    photo: Photo,
    lattice: Lattice,
    artwork: Artwork,
    marks: Mapping[int, Array],
    corners_px: Array | None = None,
) -> Registration:
    """The proven registration of the board in ``photo``.

    Marks are tried first, then the artwork. ``corners_px`` (4, 2), where given, replace both:
    full-size px of the board's top left, top right, bottom right, bottom left. Each start is
    refined on the artwork and must prove itself. Raises BoardNotFound with the likeliest reason.
    """
    check_exposure(photo)
    for start in _starts(photo, lattice, artwork, marks, corners_px):
        found = _proven(photo, start, lattice, artwork)
        if found is not None:
            check_in_frame(photo, found, lattice)
            return found
    check_sharpness(photo)
    if corners_px is None and _is_mirrored(photo, lattice, artwork):
        raise mirrored(photo)
    raise unproven(photo)


def _is_mirrored(photo: Photo, lattice: Lattice, artwork: Artwork) -> bool:
    """Whether the board is proven to be in the photo once that is flipped."""
    flipped = replace(photo, pixels=np.ascontiguousarray(photo.pixels[:, ::-1]))
    starts = _by_artwork(flipped, artwork, LOOKS[:1])
    return any(_proven(flipped, start, lattice, artwork) for start in starts)


def _starts(
    photo: Photo,
    lattice: Lattice,
    artwork: Artwork,
    marks: Mapping[int, Array],
    corners_px: Array | None,
) -> Iterator[Registration]:
    """First guesses, cheapest first."""
    if corners_px is not None:
        yield from_corners(photo, lattice, corners_px)
        return
    if marks:
        by_marks = from_marks(photo, marks)
        if by_marks is not None:
            yield by_marks
    yield from _by_artwork(photo, artwork, LOOKS)


def _by_artwork(
    photo: Photo, artwork: Artwork, looks: Sequence[tuple[int, float]]
) -> Iterator[Registration]:
    for long_side_px, ratio in looks:
        homography = match_artwork(photo, artwork, long_side_px, ratio)
        if homography is not None and np.linalg.det(homography) > 0:
            yield registration_from(homography, photo.full_size_px, "artwork")


def from_marks(photo: Photo, marks: Mapping[int, Array]) -> Registration | None:
    """Registration by the corner marks seen, or None where fewer than two are."""
    board_mm, photo_px = mark_pairs(find_marks(photo), marks)
    if len(board_mm) < 8:
        return None
    homography = homography_between(board_mm, photo_px, 4.0 * photo.scale)
    if homography is None or np.linalg.det(homography) <= 0:
        return None
    return registration_from(homography, photo.full_size_px, "marks")


def from_corners(photo: Photo, lattice: Lattice, corners_px: Array) -> Registration:
    """Registration by the board's four corners, top left first, clockwise."""
    homography = homography_between(np.array(board_corners_mm(lattice)), corners_px, 4.0)
    if homography is None or np.linalg.det(homography) <= 0:
        raise BoardNotFound(
            photo.name,
            "the four corners do not span a board.",
            "Give them in this order: top left, top right, bottom right, bottom left.",
        )
    return registration_from(homography, photo.full_size_px, "corners")


def _proven(
    photo: Photo, start: Registration, lattice: Lattice, artwork: Artwork
) -> Registration | None:
    """``start`` refined, with its proof, or None where it does not prove itself.

    Taps may be so far off that a corner locks onto a repeating pattern one repeat away. Theirs is
    refined with several reaches; where most of the artwork is seen is the right one.
    """
    found = []
    for reaches in TAP_REACHES_PX if start.method == "corners" else [REACHES_PX]:
        refined = _refined(photo, start, lattice, artwork, reaches)
        if refined is not None:
            evidence = prove(photo, refined, lattice, artwork)
            error_mm = float(np.hypot(refined.error_mm, artwork.frame_error_mm))
            found.append(replace(refined, error_mm=error_mm, evidence=evidence))
    best = max(found, key=lambda registration: registration.evidence["seen"], default=None)
    return best if best is not None and is_proven(best.evidence) else None


def _refined(
    photo: Photo,
    start: Registration,
    lattice: Lattice,
    artwork: Artwork,
    reaches_px: Sequence[int],
) -> Registration | None:
    """``start`` aligned to the artwork below a pixel; None where too little of it is seen."""
    places_mm = np.array(cell_centres_mm(lattice))
    found = start
    for reach in reaches_px:
        board_mm, photo_px, scores = align_patches(photo, found, artwork, reach)
        good = scores >= SEEN
        if good.sum() < FEWEST_PATCHES:
            return None
        found = refine_registration(
            found, board_mm[good], photo_px[good], photo.full_size_px, places_mm
        )
        if not np.isfinite(found.homography).all() or np.linalg.det(found.homography) <= 0:
            return None
    return found
