"""OpenCV's own calibration photographs as a square lattice, against findChessboardCornersSB.

The photos are ``left01.jpg`` to ``left14.jpg`` of OpenCV's samples (Apache 2.0), as Debian's
``opencv-doc`` carries them; ``TALLYGLASS_CHESSBOARDS`` may name another folder that holds them.
A real camera with a strong lens took them, 640 x 480, of a flat chessboard of 10 x 7 squares, held
every which way. The outside: Duda and Frese, "Accurate detection and localization of checkerboard
corners for calibration", BMVC 2018, as OpenCV implements it; it shares nothing with our finder.
"""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibrate.compose import artwork_pixels
from calibrate.types import Artwork
from scoring.lattice import regular_lattice
from scoring.regular import Shape
from vision.decode import load_photo
from vision.errors import BoardNotFound
from vision.find import find_board, from_corners
from vision.frame import frame_on_cells
from vision.geometry import px_per_mm
from vision.proof import MARGIN
from vision.types import Photo

FOLDER = Path(os.environ.get("TALLYGLASS_CHESSBOARDS", "/usr/share/doc/opencv-doc/examples/data"))
NAMES = [f"left{number:02}.jpg" for number in (1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14)]
SQUARE_MM = 25.0
LATTICE = regular_lattice("square", Shape((8,) * 5, SQUARE_MM, 0.0, (0.0, 0.0)))
"""The cells between the 9 x 6 inner corners: 8 x 5 squares."""

SEEK = cv2.CALIB_CB_EXHAUSTIVE | cv2.CALIB_CB_ACCURACY | cv2.CALIB_CB_NORMALIZE_IMAGE
INNER = (9, 6)
CORNERS_MM = SQUARE_MM * np.array([[x, y] for y in range(INNER[1]) for x in range(INNER[0])], float)

BETWEEN_FOUR = np.pad(np.ones((INNER[1] - 2, INNER[0] - 2), bool), 1).ravel()
"""The corners (54,) that four cells share: the interval claimed is one of cell centres, and the
lattice's rim lies beyond them."""

pytestmark = pytest.mark.skipif(
    not all((FOLDER / name).exists() for name in NAMES),
    reason=f"OpenCV's calibration photographs are not in {FOLDER} (Debian: opencv-doc)",
)


@cache
def photo(name: str) -> Photo:
    return load_photo((FOLDER / name).read_bytes(), name)


@cache
def outside_px(taken: Photo) -> np.ndarray:
    """The inner corners (54, 2) as OpenCV finds them, row by row."""
    grey = cv2.cvtColor(taken.pixels, cv2.COLOR_RGB2GRAY)
    there, corners = cv2.findChessboardCornersSB(grey, INNER, flags=SEEK)
    assert there, taken.name
    return np.asarray(corners, float).reshape(-1, 2)


def off_px(found_px: np.ndarray, true_px: np.ndarray) -> np.ndarray:
    """Distances (54,), whichever end either counts its corners from."""
    ways = [np.linalg.norm(found_px - way, axis=1) for way in (true_px, true_px[::-1])]
    return min(ways, key=lambda way: float(way.mean()))


def ends(true_px: np.ndarray) -> np.ndarray:
    """The lattice's four corners (4, 2), clockwise from its own top left."""
    return true_px[[0, INNER[0] - 1, -1, -INNER[0]]]


def learned() -> Artwork:
    """What one tapped photo teaches of the board, as calibration does."""
    first = photo(NAMES[0])
    tapped = from_corners(first, LATTICE, ends(outside_px(first)))
    return artwork_pixels(first, frame_on_cells(first, tapped, LATTICE), LATTICE)


@pytest.fixture(scope="module")
def artwork() -> Artwork:
    return learned()


@pytest.mark.parametrize("name", NAMES[1:])
def test_a_tapped_chessboard_is_found_in_its_place(name: str, artwork: Artwork) -> None:
    """Taps up to 3 px off: corners come within 0.6 px on average, 2.6 at worst. The squares are the
    same in a mirror; that taps come in order rules it out."""
    taken = photo(name)
    true = outside_px(taken)
    taps = ends(true) + np.random.default_rng(len(name)).uniform(-3, 3, (4, 2))
    found = find_board(taken, LATTICE, artwork, {}, taps)
    off = off_px(found.project(CORNERS_MM), true)

    assert off.mean() < 0.6
    assert off.max() < 3
    assert found.evidence["over_turns"] < MARGIN


@pytest.mark.parametrize("name", NAMES)
def test_taps_refined_on_the_squares_show_the_lens(name: str) -> None:
    """The frame of a new table: within a px on average where taps alone leave two, for every
    photo, and within the interval claimed."""
    taken = photo(name)
    true = outside_px(taken)
    taps = ends(true) + np.random.default_rng(len(name)).uniform(-3, 3, (4, 2))
    start = from_corners(taken, LATTICE, taps)
    found = frame_on_cells(taken, start, LATTICE)
    off, before = (off_px(placed.project(CORNERS_MM), true) for placed in (found, start))

    assert off.mean() < 1 < before.mean()
    assert found.k1 < -0.03
    claimed = found.error_mm * px_per_mm(found, CORNERS_MM)
    assert np.mean((off <= claimed)[BETWEEN_FOUR]) >= 0.95


@pytest.mark.parametrize("name", NAMES[::3])
def test_a_chessboard_tapped_upside_down_is_refused(name: str, artwork: Artwork) -> None:
    taken = photo(name)
    turned = np.roll(ends(outside_px(taken)), 2, axis=0)

    with pytest.raises(BoardNotFound):
        find_board(taken, LATTICE, artwork, {}, turned)


@pytest.mark.parametrize("name", NAMES[1:4])
def test_untapped_a_chessboard_is_refused(name: str, artwork: Artwork) -> None:
    """Squares that look the same in a mirror do not tell which way round they lie."""
    with pytest.raises(BoardNotFound):
        find_board(photo(name), LATTICE, artwork, {})
