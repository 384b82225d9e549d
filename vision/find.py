"""Finding boards: several finders in turn, one shared refinement, and a proof or a refusal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from calibrate.types import Artwork
from scoring.lattice import board_corners_mm, cell_centres_mm
from scoring.types import Lattice
from vision.artwork import LOOKS, Features, match_artwork, photo_features
from vision.errors import BoardNotFound
from vision.geometry import (
    can_be,
    homography_between,
    px_per_mm,
    refine_registration,
    registration_from,
)
from vision.marks import Marks, find_marks, mark_pairs, seen_once, wanted_marks
from vision.on_cells import refined_on_cells
from vision.patches import FEWEST_PATCHES, align_patches
from vision.proof import (
    ALL_SEEN,
    beside_cells,
    has_little_artwork,
    is_likely,
    is_proven,
    prove,
    stands_out,
)
from vision.refusals import (
    check_exposure,
    check_in_frame,
    check_sharpness,
    check_tilt,
    either_way,
    mirrored,
    several,
    too_few,
    unproven,
    wrong_board,
)
from vision.rivals import SEEN
from vision.types import Photo, Registration
from vision.view import View, view_of

Array = NDArray[np.float64]

NEAR, FAR, FARTHEST = (5, 3), (14, 5, 3), (28, 20, 10, 5, 3)
REACHES_PX = {
    "marks": (NEAR, FAR, FARTHEST),
    "artwork": (NEAR, FAR, FARTHEST),
    "corners": (FAR, (20, 10, 5, 3), FARTHEST),
}
"""Search radii of the rounds of alignment, artwork px (the board is 1000 long), for each way to a
first guess. The first will do that makes the place stand out and sees the print that no piece
covers; of several the one that sees most of the artwork counts."""

TELL_THE_WAY = ("marks", "corners")
"""Marks are never seen mirrored and each has its corner, taps come in order: the board's print
need not tell again which way round it lies."""

SECOND_SUPPORT = 20
"""Matched features that must agree on a place before a second board is sought there (by hand)."""

STILL_PX = 4.0
"""After a round that moves no patch by more, artwork px, another moves none by more than 0.2."""

ROOM = 1.03
"""A found board is taken out of the picture grown to this, before the next is looked for."""


@dataclass(frozen=True, eq=False)
class Sought:
    """What is looked for: a table's board. ``marks``: id -> corners (4, 2) mm; ``piece_mm``: how
    high pieces stand on it."""

    lattice: Lattice
    artwork: Artwork
    marks: Mapping[int, Array]
    piece_mm: float


@dataclass
class Search:
    """One photo's view, its features as they are worked out, the marks seen, the likely places that
    could not be proven, and whether one lacked only to be told which way round it lies."""

    view: View
    features: dict[int, Features] = field(default_factory=dict)
    marks: Marks = field(default_factory=list)
    likely: list[Registration] = field(default_factory=list)
    either_way: bool = False

    def features_at(self, long_side_px: int) -> Features:
        """The photo's features at this size, worked out once."""
        if long_side_px not in self.features:
            self.features[long_side_px] = photo_features(self.view, long_side_px)
        return self.features[long_side_px]

    def without(self, found: Registration, lattice: Lattice) -> Search:
        """The search in what is left of the photo once ``found`` is painted over."""
        corners = np.array(board_corners_mm(lattice))
        middle = corners.mean(axis=0)
        outline = found.project(middle + (corners - middle) * ROOM)
        left = {size: features.outside(outline) for size, features in self.features.items()}
        return Search(self.view.without(outline), left)


def find_board(
    photo: Photo,
    lattice: Lattice,
    artwork: Artwork,
    marks: Mapping[int, Array],
    corners_px: Array | None = None,
    piece_mm: float = 0.0,
) -> Registration:
    """The proven registration of the one board in ``photo``.

    Marks are tried first, then the artwork. ``corners_px`` (4, 2), where given, replace both:
    full-size px of the board's top left, top right, bottom right, bottom left. Each start is
    refined on the artwork and must prove itself. Raises BoardNotFound with the likeliest reason,
    also where a second board is proven: nobody could say which is meant. ``piece_mm``, the height
    of the pieces, helps to find boards with little artwork.
    """
    check_exposure(photo)
    sought, search = Sought(lattice, artwork, marks, piece_mm), Search(view_of(photo))
    found = _first_proven(search, sought, corners_px)
    if found is None:
        raise _why_not(search, sought, given=corners_px is not None)
    check_tilt(photo, found, lattice)
    check_in_frame(photo, found, lattice)
    if corners_px is None and _another(search, found, sought):
        raise several(photo)
    return found


def find_boards(
    photo: Photo,
    lattice: Lattice,
    artwork: Artwork,
    marks: Mapping[int, Array],
    expected: int,
    piece_mm: float = 0.0,
) -> tuple[Registration, ...]:
    """The proven registrations of ``expected`` boards of one table in ``photo``, left to right.

    Each board found is painted over before the next is sought, so no board is found twice. Raises
    BoardNotFound where fewer are proven, or more, or where one is cut off or too slanted.
    """
    check_exposure(photo)
    sought, search = Sought(lattice, artwork, marks, piece_mm), Search(view_of(photo))
    boards: list[Registration] = []
    while len(boards) <= expected:
        found = _first_proven(search, sought, None)
        if found is None:
            break
        boards.append(found)
        search = search.without(found, lattice)
    if not boards:
        raise _why_not(search, sought, given=False)
    if len(boards) < expected:
        raise too_few(photo, len(boards), expected)
    if len(boards) > expected:
        raise several(photo, expected)
    for found in boards:
        check_tilt(photo, found, lattice)
        check_in_frame(photo, found, lattice)
    middle = np.array(board_corners_mm(lattice)).mean(axis=0, keepdims=True)
    return tuple(sorted(boards, key=lambda found: float(found.project(middle)[0, 0])))


def _another(search: Search, found: Registration, sought: Sought) -> bool:
    """Whether a second whole board can be proven in the rest of the photo.

    Beside a board found by its artwork the features at hand tell; beside one found by marks, a
    mark that is seen twice does.
    """
    twice = len(seen_once(search.marks)) < len(search.marks)
    if not search.features and not twice:
        return False
    rest = search.without(found, sought.lattice)
    starts = _by_artwork(rest, sought, LOOKS[:1], SECOND_SUPPORT)
    second = next(_proven_ones(rest, starts, sought), None)
    if second is None:
        return False
    try:
        check_in_frame(search.view.photo, second, sought.lattice)
    except BoardNotFound:
        return False
    return True


def _why_not(search: Search, sought: Sought, *, given: bool) -> BoardNotFound:
    """The likeliest reason why nothing was proven."""
    photo = search.view.photo
    check_sharpness(photo)
    if given:
        return unproven(photo)
    if search.either_way:
        return either_way(photo)
    if _is_mirrored(search, sought):
        return mirrored(photo)
    for place in search.likely:
        check_tilt(photo, place, sought.lattice)
        check_in_frame(photo, place, sought.lattice)
    return wrong_board(photo) if search.likely else unproven(photo)


def _is_mirrored(search: Search, sought: Sought) -> bool:
    """Whether the board is proven to be in the photo once that is flipped."""
    flipped = Search(search.view.flipped())
    return any(_proven_ones(flipped, _by_artwork(flipped, sought, LOOKS[:2]), sought))


def _first_proven(search: Search, sought: Sought, corners_px: Array | None) -> Registration | None:
    starts = _starts(search, sought, corners_px)
    return next(_proven_ones(search, starts, sought), None)


def _proven_ones(
    search: Search, starts: Iterator[Registration], sought: Sought
) -> Iterator[Registration]:
    for start in starts:
        best = _best_refined(search.view, start, sought)
        if best is None:
            continue
        if is_proven(best.evidence, way_told=start.method in TELL_THE_WAY):
            yield best
        elif is_proven(best.evidence, way_told=True):
            search.either_way = True
        elif is_likely(best.evidence):
            search.likely.append(best)


def _starts(search: Search, sought: Sought, corners_px: Array | None) -> Iterator[Registration]:
    """First guesses, cheapest first."""
    if corners_px is not None:
        yield from_corners(search.view.photo, sought.lattice, corners_px)
        return
    if sought.marks:
        search.marks = wanted_marks(search.view, sought.marks)
        by_marks = _by_marks(search.view.photo, seen_once(search.marks), sought.marks)
        if by_marks is not None:
            search.likely.append(by_marks)
            yield by_marks
    yield from _by_artwork(search, sought, LOOKS)


def _by_artwork(
    search: Search, sought: Sought, looks: Sequence[tuple[int, float]], support: int = 0
) -> Iterator[Registration]:
    """Where at least ``support`` features agree that the board is, at one size after the other."""
    for long_side_px, ratio in looks:
        match = match_artwork(search.features_at(long_side_px), sought.artwork, ratio)
        if match is not None and match.support >= support:
            start = registration_from(match.homography, search.view.photo.full_size_px, "artwork")
            yield start


def from_marks(photo: Photo, marks: Mapping[int, Array]) -> Registration | None:
    """Registration by the corner marks seen, or None where fewer than two are."""
    return _by_marks(photo, find_marks(photo), marks) if marks else None


def _by_marks(
    photo: Photo, seen: Mapping[int, Array], marks: Mapping[int, Array]
) -> Registration | None:
    board_mm, photo_px = mark_pairs(seen, marks)
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


def _best_refined(view: View, start: Registration, sought: Sought) -> Registration | None:
    """``start`` refined, with the figures that may prove it, or None where nothing aligns.

    Where the print repeats, a corner may lock onto a pattern one repeat away, and taps may be so
    far off that it does anywhere: then several reaches are tried, and where most of the artwork
    is seen is the right one.
    """
    lattice, artwork = sought.lattice, sought.artwork
    found = []
    for reaches in REACHES_PX[start.method]:
        refined = _refined(view, start, sought, reaches)
        if refined is None:
            if start.method != "corners" and reaches is FAR:
                break  # nothing of the board is here
            continue
        evidence = prove(view, refined, lattice, artwork)
        error_mm = float(np.hypot(refined.error_mm, artwork.frame_error_mm))
        found.append(replace(refined, error_mm=error_mm, evidence=evidence))
        if start.method != "corners" and stands_out(evidence) and evidence["beside"] >= ALL_SEEN:
            break
    return max(found, key=lambda registration: registration.evidence["seen"], default=None)


def _refined(
    view: View, start: Registration, sought: Sought, reaches_px: Sequence[int]
) -> Registration | None:
    """``start`` aligned to the artwork below a pixel; None where too little of it is seen."""
    lattice, artwork = sought.lattice, sought.artwork
    if has_little_artwork(lattice, artwork):
        telling = beside_cells(lattice, artwork)
        return refined_on_cells(
            view, start, lattice, artwork, sought.piece_mm, telling, (*reaches_px, reaches_px[-1])
        )
    places_mm = np.array(cell_centres_mm(lattice))
    found = start
    for reach in reaches_px:
        board_mm, photo_px, scores = align_patches(view, found, artwork, reach)
        good = scores >= SEEN
        if good.sum() < FEWEST_PATCHES:
            return None
        before = found.project(board_mm[good])
        found = refine_registration(
            found, board_mm[good], photo_px[good], view.photo.full_size_px, places_mm
        )
        if not can_be(found):
            return None
        moved = np.linalg.norm(found.project(board_mm[good]) - before, axis=1).max()
        if moved * artwork.px_per_mm < STILL_PX * px_per_mm(found, places_mm).min():
            break
    return found
