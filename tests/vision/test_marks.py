"""Corner marks, drawn with OpenCV's own generator and found again."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from tests.vision.practice import from_pixels
from vision.marks import find_marks, mark_pairs
from vision.types import Photo

Place = tuple[int, int, int]
"""Id, and the px (x, y) of the mark's top left pixel."""

SIDE = 160


def picture(
    places: list[Place], size: tuple[int, int] = (1200, 900), side: int = SIDE
) -> np.ndarray:
    """White paper with marks printed on it, black rim and all, each ``side`` px wide."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    paper = np.full((size[1], size[0], 3), 235, np.uint8)
    for number, x, y in places:
        mark = cv2.aruco.generateImageMarker(dictionary, number, side)
        paper[y : y + side, x : x + side] = np.where(mark > 127, 235, 20)[..., None]
    return paper


def corners(x: int, y: int, side: int = SIDE) -> np.ndarray:
    """True corners: the outer edge of the rim lies half a px before its first pixel's centre."""
    return np.array([[x, y], [x + side, y], [x + side, y + side], [x, y + side]]) - 0.5


def photo(pixels: np.ndarray, blur: float = 0.8) -> Photo:
    noise = np.random.default_rng(1).normal(0, 3, pixels.shape)
    soft = cv2.GaussianBlur(pixels, (0, 0), blur) + noise
    return from_pixels(soft.clip(0, 255).astype(np.uint8))


def test_marks_are_found_where_they_were_drawn() -> None:
    places = [(4, 80, 90), (17, 700, 120), (0, 310, 600), (49, 900, 640)]
    seen = find_marks(photo(picture(places)))

    assert sorted(seen) == [0, 4, 17, 49]
    for number, x, y in places:
        np.testing.assert_allclose(seen[number], corners(x, y), atol=0.6)


@pytest.mark.parametrize(("width", "scale"), [(3100, 1), (3400, 2)])
def test_a_large_photo_is_searched_smaller_and_answers_in_full_size_px(
    width: int, scale: int
) -> None:
    """Either is halved to look for marks: one after it was decoded in full, one in decoding."""
    places = [(3, 300, 200), (8, 2300, 250)]
    made = photo(picture(places, (width, 900), 480), blur=1.5)
    seen = find_marks(made)

    assert made.scale == scale
    for number, x, y in places:
        off = seen[number] - corners(x, y, 480)
        assert np.abs(off.mean(axis=0)).max() < 0.3
        assert np.abs(off).max() < 1.5


@pytest.mark.parametrize("turn_deg", [30.0, 120.0, 250.0])
def test_corners_count_from_the_marks_own_top_left_however_it_lies(turn_deg: float) -> None:
    """A mark turned and seen aslant; the outside is the very homography that laid it there."""
    lay = cv2.getRotationMatrix2D((600.0, 450.0), turn_deg, 1.0)
    lay = np.array([[1, 0.08, 0], [0.02, 1, 0], [8e-5, 5e-5, 1]]) @ np.vstack([lay, [0, 0, 1]])
    flat = picture([(11, 520, 370)])
    seen = find_marks(
        photo(cv2.warpPerspective(flat, lay, (1200, 900), borderValue=(235, 235, 235)))
    )
    expected = cv2.perspectiveTransform(corners(520, 370)[None], lay)[0]

    np.testing.assert_allclose(seen[11], expected, atol=0.8)


def test_a_mark_seen_twice_is_left_out_and_the_others_stay() -> None:
    seen = find_marks(photo(picture([(5, 80, 90), (5, 700, 120), (6, 310, 600)])))

    assert list(seen) == [6]


def test_a_mirrored_mark_is_none() -> None:
    flipped = np.ascontiguousarray(picture([(7, 300, 300)])[:, ::-1])

    assert 7 not in find_marks(photo(flipped))


def test_an_empty_table_and_noise_hold_no_marks() -> None:
    noise = np.random.default_rng(2).integers(0, 256, (900, 1200, 3)).astype(np.uint8)

    assert find_marks(photo(picture([]))) == {}
    assert find_marks(photo(noise)) == {}


def test_pairs_join_what_is_seen_with_what_is_known() -> None:
    seen = {9: corners(0, 0), 2: corners(50, 60), 30: corners(1, 1)}
    known = {2: np.full((4, 2), 2.0), 9: np.full((4, 2), 9.0), 40: np.zeros((4, 2))}
    board_mm, photo_px = mark_pairs(seen, known)

    np.testing.assert_array_equal(board_mm, np.vstack([known[2], known[9]]))
    np.testing.assert_array_equal(photo_px, np.vstack([seen[2], seen[9]]))


def test_without_a_mark_in_common_there_are_no_pairs() -> None:
    board_mm, photo_px = mark_pairs({1: corners(0, 0)}, {2: corners(0, 0)})

    assert board_mm.shape == photo_px.shape == (0, 2)
