"""The part of a photo that shows the board, small enough to embed, and the cells' outlines."""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from scoring.lattice import board_corners_mm
from scoring.sheet import GameSheet
from scoring.types import Point
from vision.types import Photo, Registration

WIDEST_PX = 960
"""Width of the embedded picture: a cell of a ten-cell board is some 90 px wide on it."""

BORDER = 0.03
"""Of the board's picture, left free on every side."""

JPEG_QUALITY = 82


@dataclass(frozen=True)
class BoardPicture:
    """A JPEG of the board and, by cell id, the outline of the cell's piece in its pixels."""

    jpeg: bytes
    width: int
    height: int
    outlines: Mapping[str, tuple[Point, ...]]

    @property
    def lattice_box(self) -> str:
        """The SVG view box that shows all cells and little else."""
        x, y = zip(*(point for outline in self.outlines.values() for point in outline), strict=True)
        left, top, right, bottom = min(x), min(y), max(x), max(y)
        rim = BORDER * max(right - left, bottom - top)
        parts = (left - rim, top - rim, right - left + 2 * rim, bottom - top + 2 * rim)
        return " ".join(f"{part:.0f}" for part in parts)


def picture_board(photo: Photo, registration: Registration, sheet: GameSheet) -> BoardPicture:
    """Cut the board out of its photo."""
    corners = registration.project(np.array(board_corners_mm(sheet.lattice)))
    outlines = {
        cell.id: registration.project(np.array(cell.polygon_mm), sheet.piece_height_mm)
        for cell in sheet.lattice.cells
    }
    frame = frame_around(np.vstack([corners, *outlines.values()]), photo)
    jpeg, (width, height) = cut(photo, frame)
    scale = width / (frame[2] - frame[0])
    moved = {
        cell: tuple((float(x), float(y)) for x, y in (points - frame[:2]) * scale)
        for cell, points in outlines.items()
    }
    return BoardPicture(jpeg, width, height, moved)


def frame_around(points_px: NDArray[np.float64], photo: Photo) -> NDArray[np.float64]:
    """Left, top, right, bottom in full-size px around these points, inside the photo."""
    low, high = points_px.min(axis=0), points_px.max(axis=0)
    border = BORDER * float((high - low).max())
    limit = np.array(photo.full_size_px, float) - 1
    low, high = np.clip(low - border, 0, limit), np.clip(high + border, 0, limit)
    return np.concatenate([low, high])


def cut(photo: Photo, frame: NDArray[np.float64]) -> tuple[bytes, tuple[int, int]]:
    """The framed part of a photo as JPEG bytes, and its size in px."""
    # The centre of decoded pixel i lies at full-size pixel scale * i + (scale - 1) / 2.
    box = tuple((frame + 0.5) / photo.scale)
    wide = min(WIDEST_PX, round(box[2] - box[0]))
    size = (wide, max(1, round(wide * (box[3] - box[1]) / (box[2] - box[0]))))
    image = Image.fromarray(photo.pixels).resize(size, Image.Resampling.LANCZOS, box=box)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=JPEG_QUALITY, optimize=True)
    return out.getvalue(), size
