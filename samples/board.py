"""The board that is photographed: its cells, its printed art, its marks and the paints of its
pieces.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

ART_PX_PER_MM = 10.0
"""Resolution of ``Board.art``; pixel (i, j) covers mm (i / 10, j / 10) to ((i + 1) / 10, (j + 1)
/ 10).
"""

CARD_MM = 0.4
"""Thickness of a card with a mark."""

Corners = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Mark:
    """One mark of OpenCV's DICT_4X4_50: its id, its corners in board mm, clockwise from its own
    top left, whether it is printed ``on`` the "board" or on a "card" beside it, and where a
    card, laid by hand, really lies (its corners in board mm; empty: exactly where it should).
    """

    id: int
    corners_mm: Corners
    on: str = "board"
    lies_mm: Corners = ()

    @property
    def real_corners_mm(self) -> NDArray[np.float64]:
        """Where its corners really are, shape (4, 2), in board mm."""
        return np.asarray(self.lies_mm or self.corners_mm, float)


@dataclass(frozen=True)
class Place:
    """One printed cell: id, outline in board mm, whether it is an anchor."""

    id: str
    polygon_mm: Corners
    anchor: bool

    @property
    def centre_mm(self) -> tuple[float, float]:
        """Centroid of the outline's area, in board mm."""
        x, y = centroid(np.asarray(self.polygon_mm))
        return float(x), float(y)


@dataclass(frozen=True, eq=False)
class Board:
    """A board to photograph. ``art`` is uint8 sRGB of shape (height, width, 3) at
    ``ART_PX_PER_MM``; ``paints`` maps each colour name to a reflectance over the bands of
    ``samples.spectra``.
    """

    title: str
    size_mm: tuple[float, float]
    places: tuple[Place, ...]
    paints: Mapping[str, NDArray[np.float64]]
    marks: tuple[Mark, ...]
    art: NDArray[np.uint8]
    piece_mm: float = 3.0
    board_mm: float = 2.0

    @property
    def corners_mm(self) -> NDArray[np.float64]:
        """Top left, top right, bottom right, bottom left, shape (4, 2)."""
        w, h = self.size_mm
        return np.array([[0, 0], [w, 0], [w, h], [0, h]], float)

    def mark_height_mm(self, mark: Mark) -> float:
        """Height of a mark above the board's surface: below it for a card on the table."""
        return 0.0 if mark.on == "board" else CARD_MM - self.board_mm

    @property
    def pitch_mm(self) -> float:
        """The shortest way from one cell's centre to another's."""
        centres = np.array([place.centre_mm for place in self.places])
        gaps = np.linalg.norm(centres[:, None] - centres[None], axis=2)
        return float(gaps[gaps > 0].min())


def centroid(polygon: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the centroid of a polygon's area, shape (2,), from its corners of shape (N, 2)."""
    after = np.roll(polygon, -1, axis=0)
    cross = polygon[:, 0] * after[:, 1] - after[:, 0] * polygon[:, 1]
    return ((polygon + after) * cross[:, None]).sum(axis=0) / (3.0 * cross.sum())


def inset(polygon: NDArray[np.float64], by_mm: float) -> NDArray[np.float64]:
    """Return a convex polygon shrunk so that every side moves in by about ``by_mm``."""
    middle = centroid(polygon)
    return middle + (polygon - middle) * (1.0 - by_mm / inner_radius(polygon))


def inner_radius(polygon: NDArray[np.float64]) -> float:
    """Return the shortest way from the centroid to a side, in the polygon's own unit."""
    along = np.roll(polygon, -1, axis=0) - polygon
    to = centroid(polygon) - polygon
    cross = np.abs(along[:, 0] * to[:, 1] - along[:, 1] * to[:, 0])
    return float((cross / np.linalg.norm(along, axis=1).clip(1e-9)).min())


def soften(polygon: NDArray[np.float64], share: float = 0.1) -> NDArray[np.float64]:
    """Return the polygon with each corner cut, ``share`` of a side at a time, twice: a worn
    corner.
    """
    for cut in (share, share * 2.2):
        after = np.roll(polygon, -1, axis=0)
        pairs = np.stack(
            [polygon + cut * (after - polygon), after - cut * (after - polygon)], axis=1
        )
        polygon = pairs.reshape(-1, 2)
    return polygon


def turn(outline: NDArray, deg: float) -> NDArray[np.float64]:
    """Return an outline turned about its middle."""
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    middle = outline.mean(axis=0)
    return middle + (outline - middle) @ np.array([[c, s], [-s, c]])
