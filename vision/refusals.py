"""Why a board was not found, in a sentence, and what to do about it."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from scoring.lattice import board_corners_mm
from scoring.types import Lattice
from vision.errors import BoardNotFound
from vision.geometry import tilt_deg
from vision.types import Photo, Registration

DARK = 25
BURNT = 250
"""8-bit levels: a photo whose 95th percentile is below, or whose median is above, shows nothing."""

STEEPEST_DEG = 58.0
"""Tilt beyond which no board is read: a piece of half its width's height hides its neighbour."""

SHARP_PX = 800
FEWEST_EDGES = 25.0
"""Variance of the Laplacian at ``SHARP_PX`` below which a photo counts as blurred (by hand).

Source of the measure: Pech-Pacheco et al., "Diatom autofocusing in brightfield microscopy", 2000.
"""


def check_exposure(photo: Photo) -> None:
    """Raise BoardNotFound where the photo is too dark or too burnt out to show anything."""
    grey = photo.greys[0][::8, ::8]
    if np.mean(grey < DARK) > 0.95:
        raise BoardNotFound(photo.name, "the photo is too dark.", "Turn a lamp on and snap again.")
    if np.mean(grey > BURNT) > 0.5:
        raise BoardNotFound(
            photo.name,
            "the photo is burnt out.",
            "Tap the board on the phone's screen and snap again.",
        )


def check_in_frame(photo: Photo, registration: Registration, lattice: Lattice) -> None:
    """Raise BoardNotFound where a cell lies outside the photo."""
    corners_mm, cells = _outlines_mm(lattice)
    corners = registration.project(corners_mm)
    outside = ((corners < 0) | (corners >= photo.full_size_px)).any(axis=1)
    if outside.any():
        raise BoardNotFound(
            photo.name,
            f"the board is cut off: cell {cells[int(outside.argmax())]} lies outside the photo.",
            "Step back until the whole board is in the picture.",
        )


@lru_cache(maxsize=16)
def _outlines_mm(lattice: Lattice) -> tuple[NDArray[np.float64], tuple[str, ...]]:
    """The corners (N, 2) of all cells, one after the other, and whose corner each is."""
    corners = [(corner, cell.id) for cell in lattice.cells for corner in cell.polygon_mm]
    return np.array([corner for corner, _ in corners]), tuple(cell for _, cell in corners)


def check_sharpness(photo: Photo) -> None:
    """Raise BoardNotFound where the photo is too blurred to show a board's artwork."""
    grey = photo.greys[0]
    k = SHARP_PX / max(grey.shape)
    small = cv2.resize(grey, None, fx=k, fy=k, interpolation=cv2.INTER_AREA)
    if float(cv2.Laplacian(small, cv2.CV_64F).var()) < FEWEST_EDGES:
        raise BoardNotFound(
            photo.name,
            "the photo is too blurred.",
            "Hold the phone still, wipe its lens, snap again.",
        )


def check_tilt(photo: Photo, registration: Registration, lattice: Lattice) -> None:
    """Raise BoardNotFound where pieces would hide too much of one another."""
    middle = np.array(board_corners_mm(lattice)).mean(axis=0)
    tilt = tilt_deg(registration, middle)
    if tilt > STEEPEST_DEG:
        raise BoardNotFound(
            photo.name,
            f"the board is seen too slanted, about {tilt:.0f} degrees off the straight view.",
            "Hold the phone more directly above the board and snap again.",
        )


def several(photo: Photo, expected: int = 1) -> BoardNotFound:
    """The refusal of a photo that shows more boards of this table than were expected."""
    if expected == 1:
        return BoardNotFound(
            photo.name,
            "two boards of this table are in the photo.",
            "Snap each board by itself, or say how many are in the photo.",
        )
    return BoardNotFound(
        photo.name,
        f"more than {expected} boards of this table are in the photo.",
        "Say how many there are, or snap again without the others.",
    )


def too_few(photo: Photo, found: int, expected: int) -> BoardNotFound:
    """The refusal of a photo in which fewer boards could be proven than were expected."""
    return BoardNotFound(
        photo.name,
        f"only {found} of {expected} boards could be proven to be in the photo.",
        "Step nearer or free the others of cards and hands, or snap each board by itself.",
    )


def mirrored(photo: Photo) -> BoardNotFound:
    """The refusal of a photo that shows the board as a mirror does."""
    return BoardNotFound(
        photo.name,
        "the board is mirrored, as in a selfie.",
        "Use the phone's back camera, or turn mirroring off.",
    )


def either_way(photo: Photo) -> BoardNotFound:
    """The refusal of a photo of a board whose print does not tell which way round it lies."""
    return BoardNotFound(
        photo.name,
        "the board is seen, but it looks the same turned round or in a mirror.",
        "Tap its four corners, its own top left first, then clockwise (--corners), or print corner "
        "marks for it.",
    )


def wrong_board(photo: Photo) -> BoardNotFound:
    """The refusal of a photo in which marks or artwork point to a board that does not prove to be
    this table's: another printing, or too much of it is hidden."""
    return BoardNotFound(
        photo.name,
        "there seems to be a board, but it could not be proven to be this table's.",
        "Check that the table was learned from this very board, free its frame of cards and hands "
        "and snap again.",
    )


def unproven(photo: Photo) -> BoardNotFound:
    """The refusal of a photo in which nothing could be proven to be this table's board."""
    return BoardNotFound(
        photo.name,
        "no board of this table could be proven to be in the photo.",
        "If it is another table's board, choose that table; if it is this one's, free it of cards "
        "and hands and snap again, or give its four corners (--corners).",
    )
