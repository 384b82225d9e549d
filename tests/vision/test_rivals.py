"""How a board may be mistaken for itself: the layings tried, and what a symmetric print does."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import pytest

from calibrate.types import Artwork
from scoring.lattice import cell_centres_mm, regular_lattice
from scoring.regular import Shape
from tests.vision.practice import from_pixels, practice
from vision.errors import BoardNotFound
from vision.find import find_board
from vision.proof import MARGIN
from vision.rivals import rivals_mm
from vision.types import Photo

MADE = practice("square")
LATTICE = MADE.sheet.lattice
ARTWORK = MADE.table.artwork

Pixels = np.ndarray


@pytest.mark.parametrize(
    ("kind", "row_pitch_mm", "shifts", "turns"),
    [
        ("square", None, 4, 7),
        ("diamond", None, 4, 7),
        ("hex-pointy", None, 6, 13),
        ("hex-flat", None, 6, 13),
        ("courses", 16.4, 6, 13),
        ("courses", 10.0, 6, 5),
    ],
)
def test_every_shift_turn_and_mirror_of_a_lattice_is_tried(
    kind: str, row_pitch_mm: float | None, shifts: int, turns: int
) -> None:
    """Squares: 3 turns and 4 mirrors. Hexagons: 5 and 6, and the two quarter turns, under which a
    frame may look the same though the cells do not. Low courses: 3 turns and 2 mirrors."""
    shape = Shape((5, 4, 5, 4), 20.0, 1.0, (19.0, 19.0), row_pitch_mm)
    tried = rivals_mm(regular_lattice(kind, shape))

    assert (len(tried[0]), len(tried[1])) == (shifts, turns)


def test_turns_keep_the_middle_of_the_board() -> None:
    middle = np.append(np.array(LATTICE.board_size_mm) / 2, 1)

    for motion in rivals_mm(LATTICE)[1]:
        np.testing.assert_allclose(motion @ middle, middle, atol=1e-9)
        assert abs(abs(np.linalg.det(motion)) - 1) < 1e-9


def mirrored(pixels: Pixels) -> Pixels:
    """The left half, and beside it its reflection."""
    half = pixels.shape[1] // 2
    return np.concatenate([pixels[:, :half], pixels[:, half - 1 :: -1]], axis=1)


def turned(pixels: Pixels) -> Pixels:
    """The upper half, and below it the same upside down."""
    half = pixels.shape[0] // 2
    return np.concatenate([pixels[:half], pixels[half - 1 :: -1, ::-1]], axis=0)


def printed(symmetric: Callable[[Pixels], Pixels]) -> tuple[Artwork, Photo, np.ndarray]:
    """A board of symmetric print, a photo of it, and where its corners truly are (4, 2) px."""
    pixels = np.ascontiguousarray(symmetric(ARTWORK.pixels))
    artwork = Artwork(pixels, np.ones(pixels.shape[:2], bool), ARTWORK.px_per_mm, ARTWORK.origin_mm)
    corners = np.array([[210, 150], [960, 190], [1010, 800], [150, 760]], np.float32)
    height, width = pixels.shape[:2]
    around = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32) - 0.5
    to_photo = cv2.getPerspectiveTransform(around, corners)
    cloth = np.random.default_rng(4).normal(120, 12, (900, 1200, 3)).clip(0, 255).astype(np.uint8)
    laid = cv2.warpPerspective(pixels, to_photo, (1200, 900), flags=cv2.INTER_AREA)
    inside = cv2.warpPerspective(np.ones((height, width), np.uint8), to_photo, (1200, 900))
    return artwork, from_pixels(np.where(inside[..., None] > 0, laid, cloth)), corners.astype(float)


@pytest.mark.parametrize("symmetric", [mirrored, turned])
def test_a_print_that_does_not_tell_which_way_round_it_lies_is_refused(
    symmetric: Callable[[Pixels], Pixels],
) -> None:
    artwork, photo, _ = printed(symmetric)

    with pytest.raises(BoardNotFound) as refused:
        find_board(photo, LATTICE, artwork, {})
    assert str(refused.value) == (
        "made.png: the board is seen, but it looks the same turned round or in a mirror. Tap its "
        "four corners, its own top left first, then clockwise (--corners), or print corner marks "
        "for it."
    )


@pytest.mark.parametrize("symmetric", [mirrored, turned])
def test_tapped_corners_tell_which_way_round_such_a_board_lies(
    symmetric: Callable[[Pixels], Pixels],
) -> None:
    artwork, photo, corners = printed(symmetric)
    taps = corners + np.random.default_rng(5).uniform(-4, 4, (4, 2))
    found = find_board(photo, LATTICE, artwork, {}, taps)
    ends = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * LATTICE.board_size_mm

    assert found.method == "corners"
    assert found.evidence["over_turns"] < MARGIN < found.evidence["over_shifts"]
    assert np.abs(found.project(ends) - corners).max() < 2


def test_a_person_may_turn_a_symmetric_board_but_not_shift_it() -> None:
    artwork, photo, corners = printed(turned)
    upside_down = find_board(photo, LATTICE, artwork, {}, np.roll(corners, 2, axis=0))
    upright = find_board(photo, LATTICE, artwork, {}, corners)
    places = np.array(cell_centres_mm(LATTICE))

    np.testing.assert_allclose(
        upside_down.project(np.array(LATTICE.board_size_mm) - places),
        upright.project(places),
        atol=1.0,
    )
    cell = (corners[1] - corners[0]) * 20.0 / LATTICE.board_size_mm[0]
    with pytest.raises(BoardNotFound):
        find_board(photo, LATTICE, artwork, {}, corners + cell)


@pytest.mark.parametrize("way", [1, 2, 3])
def test_a_print_that_tells_its_way_round_is_not_turned_by_taps(way: int) -> None:
    artwork, photo, corners = printed(np.copy)

    with pytest.raises(BoardNotFound):
        find_board(photo, LATTICE, artwork, {}, np.roll(corners, way, axis=0))


def plain(pixels: Pixels) -> Pixels:
    """A board without art: a frame of one colour, outlines of cells, a title at the upper side."""
    board = np.full_like(pixels, (96, 40, 44))
    low, high = (ARTWORK.to_px(np.array(c)) for c in ((16.0, 16.0), (122.0, 102.0)))
    cv2.rectangle(board, low.astype(int).tolist(), high.astype(int).tolist(), (228, 220, 196), -1)
    for cell in LATTICE.cells:
        outline = np.round(ARTWORK.to_px(np.array(cell.polygon_mm))).astype(np.int32)
        cv2.polylines(board, [outline], True, (90, 60, 60), 2, cv2.LINE_AA)
    at = ARTWORK.to_px(np.array([40.0, 11.0])).astype(int).tolist()
    cv2.putText(board, "SALTGATE WHARF", at, cv2.FONT_HERSHEY_SIMPLEX, 1.3, (235, 225, 200), 3)
    grain = np.random.default_rng(len(pixels)).normal(0, 1.5, board.shape)
    return np.asarray((board + grain).clip(0, 255), np.uint8)


def test_a_plain_board_is_told_by_its_title_once_tapped() -> None:
    """Its frame shows grain only, which no other photo shows again, and says nothing."""
    artwork, photo, corners = printed(plain)
    rng = np.random.default_rng(8)
    pixels = photo.pixels.copy()
    right = find_board(photo, LATTICE, artwork, {}, corners)
    for cell in LATTICE.cells:
        piece = right.project(np.array(cell.polygon_mm) + rng.uniform(-0.5, 0.5, 2))
        colour = rng.integers(30, 230, 3).tolist()
        cv2.fillPoly(pixels, [np.round(piece).astype(np.int32)], colour, cv2.LINE_AA)
    grain = rng.normal(0, 3, pixels.shape)
    covered = from_pixels(np.asarray((pixels + grain).clip(0, 255), np.uint8), "covered.png")
    found = find_board(covered, LATTICE, artwork, {}, corners + 3)
    ends = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * LATTICE.board_size_mm

    assert np.abs(found.project(ends) - corners).max() < 3
    assert found.evidence["beside"] > 0.9
