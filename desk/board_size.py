"""Where a new board lies in the photo of it, and how large it is: from taps, a ruler, or the
corner cards that ``print`` makes, whose marks have a known size."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from desk.given import GivenError, parse_corners
from desk.printing.marks import CORNER_IDS, MARK_MM, QUIET_MM
from desk.types import PointsPx
from vision.marks import find_marks
from vision.types import Photo

Array = NDArray[np.float64]

OUTER = (
    (MARK_MM + QUIET_MM, -QUIET_MM),
    (-QUIET_MM, -QUIET_MM),
    (-QUIET_MM, MARK_MM + QUIET_MM),
    (MARK_MM + QUIET_MM, MARK_MM + QUIET_MM),
)
"""Where the board's corner lies on each card, mm from the mark's own top left: a card's edge that
faces the board is flush with the board's side, its upper (lower) edge with the board's."""


@dataclass(frozen=True, eq=False)
class Placed:
    """A board in a photo: its corners (4, 2) full-size px, its size in mm, and how that is known.

    ``by_cards`` tells whether corner cards lie beside it, so that the sheet should name them.
    """

    corners_px: PointsPx
    size_mm: tuple[float, float]
    told: tuple[str, ...] = ()
    by_cards: bool = False


def placed_board(photo: Photo, corners: Sequence[str] | None, size: str | None) -> Placed:
    """The board from what was given, and from the corner cards for what was not.

    Raises GivenError saying what to give where the photo does not show it.
    """
    corners_px = parse_corners(corners) if corners else None
    size_mm = parse_size(size) if size else None
    return place_board(photo, corners_px, size_mm)


def place_board(
    photo: Photo, corners_px: PointsPx | None, size_mm: tuple[float, float] | None
) -> Placed:
    """As ``placed_board``, from points and mm."""
    cards = {mark: quad for mark, quad in find_marks(photo).items() if mark in CORNER_IDS}
    told = []
    if corners_px is None:
        corners_px = corners_from_cards(cards)
        if corners_px is None:
            raise GivenError(
                photo.name,
                f"shows {len(cards)} of the four printed corner cards; give the board's four "
                "corners in the photo (--corners), clockwise from its top left.",
            )
        told.append("The board's corners were told by the corner cards; look whether they fit.")
    if size_mm is None:
        size_mm = size_from_marks(corners_px, cards)
        if size_mm is None:
            raise GivenError(
                photo.name,
                "shows no printed corner card that gives the scale; measure the board and give "
                "its size in mm (--size), such as 170x164.",
            )
        told.append(
            f"The board is {size_mm[0]:g} x {size_mm[1]:g} mm by the corner cards; if a ruler "
            "says otherwise, give --size."
        )
    return Placed(corners_px, size_mm, tuple(told), len(cards) == len(CORNER_IDS))


def corners_from_cards(cards: Mapping[int, Array]) -> PointsPx | None:
    """The board's corners (4, 2) px where all four cards are seen, laid as they say; else None."""
    if not set(CORNER_IDS) <= set(cards):
        return None
    found = []
    for mark, outer in zip(CORNER_IDS, OUTER, strict=True):
        plane = cv2.getPerspectiveTransform(SQUARE, cards[mark].astype(np.float32))
        spot = cv2.perspectiveTransform(np.array([[outer]], np.float64), plane)
        found.append(spot.reshape(2))
    corners = np.array(found, np.float64)
    return corners if cv2.isContourConvex(corners.astype(np.float32)) else None


SQUARE = np.array([[0, 0], [MARK_MM, 0], [MARK_MM, MARK_MM], [0, MARK_MM]], np.float32)


def size_from_marks(corners_px: PointsPx, marks: Mapping[int, Array]) -> tuple[float, float] | None:
    """The board's width and height in mm from marks of known size in its plane; None without one.

    In shares of the board a mark's side (du, dv) is MARK_MM long: (W du)^2 + (H dv)^2 = MARK_MM^2,
    linear in W^2 and H^2, by least squares over all sides of all marks.
    """
    if not marks:
        return None
    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    to_share = cv2.getPerspectiveTransform(np.asarray(corners_px, np.float32), unit)
    rows = []
    for quad in marks.values():
        shares = cv2.perspectiveTransform(quad[None].astype(np.float64), to_share)[0]
        rows.append((shares - np.roll(shares, 1, axis=0)) ** 2)
    squares, *_ = np.linalg.lstsq(np.vstack(rows), np.full(4 * len(rows), MARK_MM**2), rcond=None)
    if squares.min() <= 0:
        return None
    width, height = np.sqrt(squares)
    return round(float(width), 1), round(float(height), 1)


def parse_size(words: str) -> tuple[float, float]:
    """``170x164`` as (width, height) in mm."""
    parts = words.lower().replace(" ", "").split("x")
    try:
        width, height = (float(part) for part in parts)
    except ValueError as error:
        raise GivenError("--size", "write width x height in mm, such as 170x164.") from error
    if not (10 <= width <= 10_000 and 10 <= height <= 10_000):
        raise GivenError("--size", "a board is between 10 and 10000 mm wide and high.")
    return width, height
