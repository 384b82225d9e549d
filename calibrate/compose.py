"""The board's artwork, composed of several photos of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibrate.types import Artwork
from scoring.types import EMPTY, Lattice
from vision.colour import linear_from_srgb
from vision.level import plan_of
from vision.light import gain_at
from vision.rectify import rectify
from vision.types import Photo, Registration

ARTWORK_PX = 1000
"""Long side of the artwork: about the size at which phones show a board that fills the picture."""

GAIN_ACROSS = 24
"""The light is worked out on so many by so many places and interpolated between."""

UNCOVERED = 1.15
"""A piece hides its cell's outline grown to this, walls and cast shadow included."""


@dataclass(frozen=True, eq=False)
class Shot:
    """One calibration photo: where the board lies in it, and each cell's colour or ``empty``."""

    photo: Photo
    registration: Registration
    labels: tuple[str, ...]


def artwork_pixels(photo: Photo, registration: Registration, lattice: Lattice) -> Artwork:
    """The artwork as a single photo shows it."""
    width, height = lattice.board_size_mm
    scale = ARTWORK_PX / max(width, height)
    size = (round(width * scale), round(height * scale))
    origin = (0.5 / scale, 0.5 / scale)
    pixels = rectify(photo, registration, origin, scale, size)
    return Artwork(pixels, np.ones(pixels.shape[:2], bool), scale, origin)


def compose_artwork(shots: Sequence[Shot], lattice: Lattice) -> Artwork:
    """The artwork that all photos together show, in the light of the first.

    Each photo is levelled and freed of its own light; a pixel is the median over the photos in
    which no piece hides it, so a shadow or a reflection in one of them leaves no trace.
    """
    first = artwork_pixels(shots[0].photo, shots[0].registration, lattice)
    anything_empty = any(label == EMPTY for shot in shots for label in shot.labels)
    hidden = np.stack([_hidden(shot, first, lattice) for shot in shots])
    never = hidden.all(axis=0)
    known = np.asarray(~never if anything_empty else np.ones_like(never), np.bool_)
    if len(shots) == 1:
        return replace(first, known=known)
    layers = np.stack([_lit_as_first(shot, first, lattice) for shot in shots])
    layers[hidden & ~never] = np.nan
    with np.errstate(all="ignore"):
        middle = np.nanmedian(layers, axis=0)
    pixels = np.round(255 * _srgb_from_linear(np.clip(middle, 0, 1))).astype(np.uint8)
    return replace(first, pixels=pixels, known=known)


def _lit_as_first(shot: Shot, first: Artwork, lattice: Lattice) -> NDArray[np.float32]:
    """Linear RGB (H, W, 3) of the shot's board, divided by its light against the first's."""
    height, width = first.pixels.shape[:2]
    flat = rectify(shot.photo, shot.registration, first.origin_mm, first.px_per_mm, (width, height))
    plan = plan_of(lattice)
    level = np.asarray(cv2.resize(flat, plan.size_px, interpolation=cv2.INTER_AREA), np.uint8)
    across = np.linspace(0, 1, GAIN_ACROSS)
    x, y = np.meshgrid(across * lattice.board_size_mm[0], across * lattice.board_size_mm[1])
    gain = gain_at(np.column_stack([x.ravel(), y.ravel()]), level, first, plan)
    field = gain.reshape(GAIN_ACROSS, GAIN_ACROSS, 3).astype(np.float32)
    fine = cv2.resize(field, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(linear_from_srgb(flat) / fine, np.float32)


def _hidden(shot: Shot, first: Artwork, lattice: Lattice) -> NDArray[np.bool_]:
    """Where (H, W) a piece hides the board in this shot."""
    picture = np.zeros(first.pixels.shape[:2], np.uint8)
    for cell, label in zip(lattice.cells, shot.labels, strict=True):
        if label != EMPTY:
            outline = np.array(cell.polygon_mm)
            middle = outline.mean(axis=0)
            corners = first.to_px(middle + (outline - middle) * UNCOVERED)
            cv2.fillPoly(picture, [np.round(corners).astype(np.int32)], 1)
    return picture.astype(bool)


def _srgb_from_linear(linear: NDArray[np.float32]) -> NDArray[np.float32]:
    """sRGB in [0, 1] (IEC 61966-2-1:1999, clause 5.2)."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
