"""A reading drawn over its photo, so that a person sees at once what was read.

Every cell carries its colour's letter; a doubtful cell has a thick broken outline and a question
mark, so that nothing hangs on telling colours apart on the screen.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from scoring.sheet import GameSheet
from scoring.types import EMPTY, Cell
from vision.rectify import to_decoded
from vision.types import ODD, Photo, Reading

Array = NDArray[np.float64]
Picture = NDArray[np.uint8]
Ink = tuple[int, int, int]

WHITE, BLACK, DOUBT = (255, 255, 255), (0, 0, 0), (255, 0, 200)
CROP_PX = 320
FONT = cv2.FONT_HERSHEY_SIMPLEX
DASHES = 5
RIM = 0.14
"""Width of the rim about a letter, in shares of its height."""


def overlay(photo: Photo, reading: Reading, sheet: GameSheet) -> Picture:
    """The photo (H, W, 3), RGB, with every cell's outline and letter."""
    picture = photo.pixels.copy()
    letters = letters_of(sheet)
    thick = max(1, round(max(picture.shape) / 900))
    for cell in sheet.lattice.cells:
        read = reading.cells[cell.id]
        outline = _outline(photo, reading, cell, _height(read.colour, sheet))
        if read.doubt is None:
            _line(picture, outline, WHITE, thick)
        else:
            _broken_line(picture, outline, 2 * thick)
        _letter(picture, outline, letters[read.colour] + ("?" if read.doubt else ""))
    return picture


def letters_of(sheet: GameSheet) -> dict[str, str]:
    """The mark that stands for each label: a colour's letter, a dot for empty, a cross for odd."""
    return {c.name: c.letter for c in sheet.colours} | {EMPTY: ".", ODD: "x"}


def crop(photo: Photo, reading: Reading, sheet: GameSheet, cell: str) -> Picture:
    """One cell with its surroundings, (``CROP_PX``, ``CROP_PX``, 3), RGB, the cell outlined."""
    place = next(c for c in sheet.lattice.cells if c.id == cell)
    outline = _outline(photo, reading, place, _height(reading.cells[cell].colour, sheet))
    middle = (outline.min(axis=0) + outline.max(axis=0)) / 2
    reach = float((outline.max(axis=0) - outline.min(axis=0)).max())
    scale = CROP_PX / (2 * reach)
    move = np.array(
        [[scale, 0, CROP_PX / 2 - scale * middle[0]], [0, scale, CROP_PX / 2 - scale * middle[1]]]
    )
    picture = np.asarray(
        cv2.warpAffine(photo.pixels, move, (CROP_PX, CROP_PX), flags=cv2.INTER_CUBIC), np.uint8
    )
    _line(picture, outline @ move[:, :2].T + move[:, 2], WHITE, 2)
    return picture


def _height(colour: str, sheet: GameSheet) -> float:
    return 0.0 if colour == EMPTY else sheet.piece_height_mm


def _outline(photo: Photo, reading: Reading, cell: Cell, z_mm: float) -> Array:
    """The cell's corners (K, 2), decoded px."""
    return to_decoded(photo, reading.registration.project(np.array(cell.polygon_mm), z_mm))


def _line(picture: Picture, outline: Array, colour: tuple[int, int, int], thick: int) -> None:
    corners = [np.round(outline * 8).astype(np.int32)]
    cv2.polylines(picture, corners, True, BLACK, thick + 2, cv2.LINE_AA, 3)
    cv2.polylines(picture, corners, True, colour, thick, cv2.LINE_AA, 3)


def _broken_line(picture: Picture, outline: Array, thick: int) -> None:
    """A thick outline of dashes, black under a strong colour."""
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        for k in range(DASHES):
            ends = [
                tuple(int(v) for v in np.round(a + (b - a) * (k + e) / DASHES)) for e in (0, 0.6)
            ]
            cv2.line(picture, ends[0], ends[1], BLACK, thick + 2, cv2.LINE_AA)
            cv2.line(picture, ends[0], ends[1], DOUBT, thick, cv2.LINE_AA)


def _letter(picture: Picture, outline: Array, text: str) -> None:
    """``text`` in the middle of the cell, white on a black rim, a third of the cell high."""
    size = float((outline.max(axis=0) - outline.min(axis=0)).min())
    middle = (outline.min(axis=0) + outline.max(axis=0)) / 2
    write_words(picture, text, middle, size / 3 / 22, WHITE, BLACK)


def write_words(
    picture: Picture, words: str, middle_px: Array, scale: float, ink: Ink, rim: Ink
) -> None:
    """Words about a point, in place, with a rim in another colour; ``scale`` as of OpenCV's font.

    The rim is grown from the letters: OpenCV 5 gives them one weight, whatever thickness is asked.
    """
    (width, height), below = cv2.getTextSize(words, FONT, scale, 2)
    reach = max(2, round(RIM * height))
    pad = 2 * reach
    letters = np.zeros((height + below + 2 * pad, width + 2 * pad), np.uint8)
    cv2.putText(letters, words, (pad, pad + height), FONT, scale, 255, 2, cv2.LINE_AA)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    left, top = (int(v) for v in np.round(middle_px - (width / 2 + pad, height / 2 + pad)))
    for mask, colour in ((cv2.dilate(letters, disc), rim), (letters, ink)):
        _paint(picture, np.asarray(mask, np.uint8), left, top, colour)


def _paint(picture: Picture, mask: NDArray[np.uint8], left: int, top: int, colour: Ink) -> None:
    """A colour through a mask whose first px lies at (left, top), where it is in the picture."""
    inside = mask[max(0, -top) :, max(0, -left) :]
    place = picture[max(0, top) :, max(0, left) :][: inside.shape[0], : inside.shape[1]]
    share = inside[: place.shape[0], : place.shape[1], None] / 255.0
    place[:] = np.round(place * (1 - share) + np.array(colour) * share).astype(np.uint8)
