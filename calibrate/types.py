"""The value types that cross the wall of calibrate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scoring.sheet import GameSheet
from vision.types import Evidence

Array = NDArray[np.float64]

FORMAT = 1
"""Version of the table file; a table of another version is refused, never guessed at."""


@dataclass(frozen=True, eq=False)
class Artwork:
    """The empty board seen from straight above in the calibration's light.

    ``pixels`` is of shape (H, W, 3), uint8, sRGB, RGB; ``known`` of shape (H, W), bool, tells where
    the board itself was seen. Px (column, row) lies at ``origin_mm + (column, row) / px_per_mm``.
    ``frame_error_mm``: half width of a 95 % interval of how far the artwork itself lies off the
    board's true mm, for the first calibration photo was placed by marks or by hand.
    """

    pixels: NDArray[np.uint8]
    known: NDArray[np.bool_]
    px_per_mm: float
    origin_mm: tuple[float, float]
    frame_error_mm: float = 0.0

    def to_px(self, points_mm: Array) -> Array:
        """Artwork px of board points of shape (N, 2) mm."""
        return (np.asarray(points_mm, float) - self.origin_mm) * self.px_per_mm

    def to_mm(self, points_px: Array) -> Array:
        """Board mm of artwork px of shape (N, 2)."""
        return np.asarray(points_px, float) / self.px_per_mm + self.origin_mm


@dataclass(frozen=True, eq=False)
class Palette:
    """What calibration learned of the colours, all as relative colour.

    Relative colour is linear RGB divided by the photo's gain over the calibration and by the
    calibration's own ``exposure``: what is left is the surface, whatever the light.
    For a lattice of N cells and M pieces seen: ``exposure`` (N,); ``empty`` (N, 3), empty cells,
    NaN where never seen empty; ``colours`` M names; ``samples`` (M, 3); ``veils`` (M,), how much
    white glare each sample carries already; ``veil_scale``, the glare to expect (mean);
    ``structure`` (C, 4), for each of the C colours in alphabetical order, weights and intercept of
    the log odds of a piece of it, against the empty cell, given a cell's structure;
    ``unrest``, the relative spread of luminance up to which a cell's surface counts as its own.
    """

    exposure: Array
    empty: Array
    colours: tuple[str, ...]
    samples: Array
    veils: Array
    veil_scale: float
    structure: Array
    unrest: float


@dataclass(frozen=True, eq=False)
class Lesson:
    """One board of a finished game that a person found rightly read, which tells of its light.

    ``game`` says which game of the archive, ``at`` when it was played (ISO 8601), ``photo`` is the
    SHA-256 of the photo; ``evidence`` is what the photo shows, and ``cells`` what lies in those
    cells that are certain.
    """

    game: str
    at: str
    photo: str
    evidence: Evidence
    cells: Mapping[str, str]


@dataclass(frozen=True, eq=False)
class Table:
    """One set of components under one light: a game sheet plus what calibration learned of it.

    ``marks`` maps the id of each printed corner mark to its corners (4, 2), board mm. ``limits``
    says, a sentence each, what calibration could not check by itself. ``lessons`` are boards
    learned from since, the oldest first.
    """

    name: str
    sheet: GameSheet
    artwork: Artwork
    palette: Palette
    marks: Mapping[int, Array] = field(default_factory=dict)
    limits: tuple[str, ...] = ()
    lessons: tuple[Lesson, ...] = ()
