"""Pictures of games in the archive: the kept photo upright, and where its cells lie in it."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import cv2
import numpy as np

from desk.archive import Archive
from desk.web.errors import no_such
from desk.web.work import jpeg_for_phones
from scoring.lattice import board_corners_mm
from scoring.sheet import parse_sheet
from vision.decode import load_photo


def kept_jpeg(archive: Archive, game: dict[str, Any], seat: int) -> bytes:
    """The photo of one board as a JPEG for phones."""
    return picture(archive.photo(board_of(game, seat)["photo_file"]))[0]


def kept_outlines(archive: Archive, game: dict[str, Any], seat: int) -> dict[str, Any]:
    """Every cell's outline, from the board's corners that the record holds (good to a few px)."""
    board = board_of(game, seat)
    _, width, height, full = picture(archive.photo(board["photo_file"]))
    sheet = parse_sheet(game["sheet_text"])
    corners = np.array(board["reading"]["board_corners_px"], np.float32)
    flat = np.array(board_corners_mm(sheet.lattice), np.float32)
    place = cv2.getPerspectiveTransform(flat, (corners + 0.5) * (width / full))
    outlines = {
        cell.id: cv2.perspectiveTransform(np.array([cell.polygon_mm], np.float32), place)[0]
        for cell in sheet.lattice.cells
    }
    return {
        "width": width,
        "height": height,
        "letters": {colour.name: colour.letter for colour in sheet.colours},
        "outlines": {cell: points.round(1).tolist() for cell, points in outlines.items()},
    }


def board_of(game: dict[str, Any], seat: int) -> dict[str, Any]:
    """One board of a kept game."""
    if seat >= len(game["boards"]):
        raise no_such("board")
    return game["boards"][seat]


@lru_cache(maxsize=8)
def picture(data: bytes) -> tuple[bytes, int, int, int]:
    """JPEG, its width and height, and the full-size photo's width."""
    photo = load_photo(data, "kept photo")
    jpeg, size = jpeg_for_phones(photo)
    return jpeg, size[0], size[1], photo.full_size_px[0]
