"""The board plane of a photo seen from straight above."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import Photo, Registration

MAP_STEP = 16
"""Rectifying maps are worked out at every 16th px and interpolated between."""


def rectify(
    photo: Photo,
    registration: Registration,
    origin_mm: tuple[float, float],
    px_per_mm: float,
    size_px: tuple[int, int],
    z_mm: float = 0.0,
) -> NDArray[np.uint8]:
    """Picture (h, w, 3) of the plane at ``z_mm``; px (i, j) lies at origin + (i, j) / px_per_mm."""
    places = plane_map(registration, origin_mm, px_per_mm, size_px, photo.scale, z_mm)
    return seen_at(photo.pixels, places)


def plane_map(
    registration: Registration,
    origin_mm: tuple[float, float],
    px_per_mm: float,
    size_px: tuple[int, int],
    scale: int,
    z_mm: float = 0.0,
) -> NDArray[np.float32]:
    """For each px of the plane's picture the (x, y), (h, w, 2), in a photo ``scale`` times smaller
    than full size."""
    width, height = size_px
    # The middles of blocks, one block beyond each edge: enlarging keeps a picture's blocks.
    columns, rows = (
        (np.arange(-1, -(-side // MAP_STEP) + 1) + 0.5) * MAP_STEP - 0.5 for side in size_px
    )
    x, y = np.meshgrid(columns / px_per_mm + origin_mm[0], rows / px_per_mm + origin_mm[1])
    at = registration.project(np.column_stack([x.ravel(), y.ravel()]), z_mm)
    coarse = ((at - (scale - 1) / 2) / scale).astype(np.float32).reshape(len(rows), -1, 2)
    fine = cv2.resize(coarse, None, fx=MAP_STEP, fy=MAP_STEP, interpolation=cv2.INTER_LINEAR)
    return np.asarray(fine[MAP_STEP : MAP_STEP + height, MAP_STEP : MAP_STEP + width], np.float32)


def seen_at(pixels: NDArray[np.uint8], places: NDArray[np.float32]) -> NDArray[np.uint8]:
    """The pixels (h, w) or (h, w, 3) at places (h, w, 2), px (x, y), between four each."""
    # The stubs know no empty second map, which OpenCV takes where the first holds both x and y.
    shown = cv2.remap(pixels, places, None, cv2.INTER_LINEAR)  # type: ignore[call-overload]
    return np.asarray(shown, np.uint8)


def to_decoded(photo: Photo, points_px: NDArray[np.float64]) -> NDArray[np.float64]:
    """Decoded px of full-size px; pixel centres sit at whole numbers in both."""
    return (points_px - (photo.scale - 1) / 2) / photo.scale


def to_full(photo: Photo, points_px: NDArray[np.float64]) -> NDArray[np.float64]:
    """Full-size px of decoded px."""
    return points_px * photo.scale + (photo.scale - 1) / 2
