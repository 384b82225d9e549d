"""The board at rest: a small level picture of its plane, and where each cell lies in it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calibrate.types import Artwork
from scoring.lattice import cell_centres_mm, pitch_mm
from scoring.types import Lattice
from vision.rectify import rectify
from vision.types import Photo, Registration

Array = NDArray[np.float64]

PX_PER_PITCH = 26
"""Level pictures show one cell's pitch with this many px: enough for its motif, soft on noise."""

CORE = 0.72
"""A cell's colour is sampled in its outline shrunk to this; the rim may show its neighbours."""

MOTIF = 0.85
OUTLINE = 1.05
"""A cell's structure is compared inside its outline shrunk and grown to these."""

CLEAR = 1.2
"""What lies outside every cell's outline grown to this is board that no piece covers."""


@dataclass(frozen=True, eq=False)
class Plan:
    """Where things lie in level pictures of one board: masks as flat pixel indices per cell.

    ``core``, ``motif``, ``outline``: for each cell the indices into the raveled picture.
    ``bare``: (H, W) bool, board that no piece covers. ``centres_mm``: (N, 2).
    """

    size_px: tuple[int, int]
    px_per_mm: float
    core: tuple[NDArray[np.int64], ...]
    motif: tuple[NDArray[np.int64], ...]
    outline: tuple[NDArray[np.int64], ...]
    bare: NDArray[np.bool_]
    centres_mm: Array

    @property
    def origin_mm(self) -> tuple[float, float]:
        """Board mm of the centre of pixel (0, 0)."""
        return (0.5 / self.px_per_mm, 0.5 / self.px_per_mm)


@lru_cache(maxsize=16)
def plan_of(lattice: Lattice) -> Plan:
    """The plan of a lattice's level pictures; kept, for it is asked at each photo."""
    scale = PX_PER_PITCH / pitch_mm(lattice)
    size = (round(lattice.board_size_mm[0] * scale), round(lattice.board_size_mm[1] * scale))
    outlines = [np.array(cell.polygon_mm) * scale - 0.5 for cell in lattice.cells]

    def filled(grown: float) -> tuple[NDArray[np.int64], ...]:
        return tuple(np.flatnonzero(_polygon(size, outline, grown)) for outline in outlines)

    covered = np.zeros(size[0] * size[1], bool)
    for place in filled(CLEAR):
        covered[place] = True
    bare = ~cv2.dilate(covered.reshape(size[::-1]).astype(np.uint8), np.ones((3, 3))).astype(bool)
    return Plan(
        size_px=size,
        px_per_mm=scale,
        core=filled(CORE),
        motif=filled(MOTIF),
        outline=filled(OUTLINE),
        bare=bare,
        centres_mm=np.array(cell_centres_mm(lattice)),
    )


def _polygon(size_px: tuple[int, int], outline: Array, grown: float) -> NDArray[np.uint8]:
    """Picture (H, W) with the outline, scaled about its box's middle, filled with ones."""
    middle = (outline.min(axis=0) + outline.max(axis=0)) / 2
    picture = np.zeros((size_px[1], size_px[0]), np.uint8)
    corners = np.round((middle + (outline - middle) * grown) * 16).astype(np.int32)
    cv2.fillPoly(picture, [corners], 1, shift=4)
    return picture


def level_picture(
    photo: Photo, registration: Registration, plan: Plan, z_mm: float
) -> NDArray[np.uint8]:
    """Level picture (H, W, 3), sRGB, of the plane at height ``z_mm``, each px a mean of four."""
    fine = rectify(
        photo,
        registration,
        (0.25 / plan.px_per_mm, 0.25 / plan.px_per_mm),
        2 * plan.px_per_mm,
        (2 * plan.size_px[0], 2 * plan.size_px[1]),
        z_mm,
    )
    return np.asarray(cv2.resize(fine, plan.size_px, interpolation=cv2.INTER_AREA), np.uint8)


@lru_cache(maxsize=16)
def level_artwork(artwork: Artwork, plan: Plan) -> NDArray[np.uint8]:
    """The artwork as a level picture (H, W, 3), sRGB."""
    return np.asarray(
        cv2.resize(artwork.pixels, plan.size_px, interpolation=cv2.INTER_AREA), np.uint8
    )
