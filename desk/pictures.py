"""Pictures that show what was read: the reading over its photo, one cell beside its question."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from desk.durable import write_whole
from desk.types import Seat
from scoring.sheet import GameSheet
from vision.draw import crop, overlay
from vision.types import Photo, Reading


def save_overlay(photo: Photo, reading: Reading, sheet: GameSheet, path: Path) -> None:
    """The reading drawn over its photo, as PNG."""
    write_png(overlay(photo, reading, sheet), path)


def save_crop(seat: Seat, sheet: GameSheet, cell: str, path: Path) -> None:
    """One cell with its neighbours, as PNG."""
    write_png(crop(seat.photo, seat.reading, sheet, cell), path)


def write_png(pixels: NDArray[np.uint8], path: Path) -> None:
    """RGB pixels of shape (H, W, 3) as a PNG file."""
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "PNG")
    write_whole(path, out.getvalue())
