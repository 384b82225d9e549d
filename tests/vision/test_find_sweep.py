"""Boards are found however the photo was taken: tilted, turned, far, near, huge, in shadow."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest

from samples.conditions import HandShadow
from samples.photographer import Shot
from scoring.lattice import cell_centres_mm
from tests.vision.practice import from_pixels, photo_of, practice, snap
from vision.decode import load_photo
from vision.find import find_board
from vision.types import Photo

FEW = 0.06
"""Share of the way from a cell to the next by which a centre may be off."""

STANDS: dict[str, dict[str, Any]] = {
    "from straight above": {"tilt_deg": 0.0},
    "tilted 35 degrees": {"tilt_deg": 35.0, "size_px": (1200, 900)},
    "tilted 50 degrees": {"tilt_deg": 50.0, "size_px": (1600, 1200)},
    "upside down": {"turn_deg": 180.0},
    "on its side": {"turn_deg": 93.0},
    "askew": {"turn_deg": -41.0, "size_px": (1200, 900)},
    "filling the picture": {"reach": 0.99, "tilt_deg": 3.0, "turn_deg": 0.0, "roll_deg": 0.0},
    "a sixth of the picture": {"reach": 0.4, "size_px": (1600, 1200)},
    "portrait by EXIF": {"size_px": (600, 800), "exif_orientation": 6},
    "on a printed cloth": {"tabletop": "printed", "loose": 6, "dice": 1},
    "under a hand's shadow": {"shadows": (HandShadow(depth=0.7),), "fingers": 1},
}


def centres_off(photo: Photo, shot: Shot, kind: str, grown: float = 1.0) -> float:
    """Largest distance of a found cell's centre from the truth, in shares of the way to the next.

    ``grown``: how many times larger the photo is than the shot that it was made of.
    """
    made = practice(kind)
    lattice = made.sheet.lattice
    found = find_board(photo, lattice, made.table.artwork, made.table.marks)
    true = np.array([shot.truth.cell_centres_px[cell.id] for cell in lattice.cells])
    true = (true + 0.5) * grown - 0.5
    apart = np.linalg.norm(true[:, None] - true[None], axis=2)
    np.fill_diagonal(apart, np.inf)
    off = np.linalg.norm(found.project(np.array(cell_centres_mm(lattice))) - true, axis=1)
    return float((off / apart.min(axis=1)).max())


def shot_of(kind: str, **changes: object) -> Shot:
    made = practice(kind)
    return snap(made.board, dict(made.layout), 21, **changes)


@pytest.mark.parametrize("kind", ["square", "hex-pointy"])
@pytest.mark.parametrize("stand", STANDS)
def test_a_board_is_found_however_the_photo_was_taken(stand: str, kind: str) -> None:
    shot = shot_of(kind, **STANDS[stand])

    assert centres_off(photo_of(shot), shot, kind) < FEW


@pytest.mark.parametrize(("grown", "scale"), [(1.45, 1), (5.0, 2), (10.2, 4)])
def test_one_to_fifty_megapixels(grown: float, scale: int) -> None:
    """The same scene enlarged: 1, 12 and 50 MP."""
    shot = shot_of("square")
    large = cv2.resize(shot.pixels, None, fx=grown, fy=grown, interpolation=cv2.INTER_LINEAR)
    photo = load_photo(cv2.imencode(".jpg", large[..., ::-1])[1].tobytes(), "large.jpg")

    assert photo.scale == scale
    assert centres_off(photo, shot, "square", grown) < FEW


@pytest.mark.parametrize("seen", [(0, 1), (0, 2), (1, 3)])
def test_any_two_marks_suffice(seen: tuple[int, int]) -> None:
    shot = shot_of("hex-pointy")
    picture = shot.pixels.copy()
    for number, corners in enumerate(shot.truth.mark_corners_px.values()):
        if number not in seen:
            spot = np.array(corners)
            card = spot.mean(axis=0) + 1.3 * (spot - spot.mean(axis=0))
            cv2.fillPoly(picture, [np.round(card).astype(np.int32)], (120, 110, 100))
    made = practice("hex-pointy")
    photo = from_pixels(picture)
    found = find_board(photo, made.sheet.lattice, made.table.artwork, made.table.marks)

    assert found.method == "marks"
    assert centres_off(photo, shot, "hex-pointy") < FEW
