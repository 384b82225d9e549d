"""Flat patches of the scene and how they are laid onto the canvas.

A patch is a rectangle of a plane parallel to the board, sampled in px: x from left, y down, in
board mm. The canvas is float32 linear light of shape (H, W, 3), white paper under the full light
being 1.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from samples.camera import Canvas

Field = NDArray[np.float32]
Bounds = tuple[float, float, float, float]


@dataclass(frozen=True)
class Patch:
    """A rectangle (x0, y0, x1, y1) in board mm at one height (mm), sampled at ``px_per_mm``."""

    bounds_mm: Bounds
    height_mm: float
    px_per_mm: float

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        x0, y0, x1, y1 = self.bounds_mm
        return max(2, round((y1 - y0) * self.px_per_mm)), max(2, round((x1 - x0) * self.px_per_mm))

    @property
    def step_mm(self) -> tuple[float, float]:
        """Width and height of one px in mm, after rounding to whole px."""
        x0, y0, x1, y1 = self.bounds_mm
        rows, columns = self.shape
        return (x1 - x0) / columns, (y1 - y0) / rows

    def to_px(self, points_mm: NDArray) -> NDArray[np.float64]:
        """Return px (x, y) of points of shape (N, 2) in board mm."""
        low = np.array(self.bounds_mm[:2])
        return (np.asarray(points_mm, float) - low) / self.step_mm - 0.5

    def mm_from_px(self) -> NDArray[np.float64]:
        """Return the 3 x 3 from px (x, y, 1) to board mm."""
        sx, sy = self.step_mm
        x0, y0 = self.bounds_mm[:2]
        return np.array([[sx, 0, x0 + 0.5 * sx], [0, sy, y0 + 0.5 * sy], [0, 0, 1.0]])

    def grid_mm(self) -> tuple[Field, Field]:
        """Return the x and y of every px in board mm, shapes (1, W) and (H, 1)."""
        m = self.mm_from_px()
        rows, columns = self.shape
        x = (m[0, 0] * np.arange(columns) + m[0, 2]).astype(np.float32)
        y = (m[1, 1] * np.arange(rows) + m[1, 2]).astype(np.float32)
        return x[None, :], y[:, None]

    def at(self, px_per_mm: float) -> Patch:
        """Return the same rectangle sampled more coarsely or finely."""
        return Patch(self.bounds_mm, self.height_mm, px_per_mm)

    def fit(self, field: Field) -> Field:
        """Return a coarser field resampled to this patch."""
        rows, columns = self.shape
        if field.shape[:2] == (rows, columns):
            return field
        return np.asarray(
            cv2.resize(field, (columns, rows), interpolation=cv2.INTER_LINEAR), np.float32
        )


def fill(patch: Patch, polygons_mm: list[NDArray], grow_mm: float = 0.0) -> NDArray[np.uint8]:
    """Return a mask, 0 to 255 with soft rims, of polygons in board mm."""
    mask = np.zeros(patch.shape, np.uint8)
    for polygon in polygons_mm:
        points = [np.round(patch.to_px(polygon) * 16).astype(np.int32)]
        cv2.fillPoly(mask, points, 255, cv2.LINE_AA, 4)
        if grow_mm:
            width = max(1, round(2 * grow_mm * patch.px_per_mm))
            cv2.polylines(mask, points, True, 255, width, cv2.LINE_AA, 4)
    return mask


def sharpness(canvas: Canvas, bounds_mm: Bounds, height_mm: float, most: float = 10.0) -> float:
    """Return the px per mm at which a patch is sampled about as finely as the canvas shows it."""
    x0, y0, x1, y1 = bounds_mm
    corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], float)
    seen = canvas.place(corners, height_mm)
    sides = np.linalg.norm(np.roll(seen, -1, axis=0) - seen, axis=1)
    lengths = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    return float(np.clip((sides / lengths).mean(), 1.5, most))


def lay(picture: Field, canvas: Canvas, patch: Patch, layer: Field) -> None:
    """Lay a patch onto the canvas in place; ``layer`` is (H, W, 4), light already multiplied by
    alpha.
    """
    homography = canvas.plane(patch.height_mm) @ patch.mm_from_px()
    x0, y0, x1, y1 = seen_box(canvas, patch)
    if x1 - x0 < 2 or y1 - y0 < 2:
        return
    move = np.array([[1, 0, -x0], [0, 1, -y0], [0, 0, 1.0]])
    size = (x1 - x0, y1 - y0)
    warped = cv2.warpPerspective(layer, move @ homography, size, flags=cv2.INTER_LINEAR)
    part = picture[y0:y1, x0:x1]
    part *= 1.0 - warped[..., 3:]
    part += warped[..., :3]


def seen_box(canvas: Canvas, patch: Patch) -> tuple[int, int, int, int]:
    """Return (x0, y0, x1, y1) in canvas px round the patch; the whole canvas if it passes the
    eye.
    """
    x0, y0, x1, y1 = patch.bounds_mm
    corners = np.array([[x0, y0, 1], [x1, y0, 1], [x1, y1, 1], [x0, y1, 1]], float)
    rays = corners @ canvas.camera.plane(patch.height_mm).T
    width, height = canvas.size_px
    if (rays[:, 2] < 1.0).any():
        return 0, 0, width, height
    seen = canvas.place(corners[:, :2], patch.height_mm)
    low, high = np.floor(seen.min(axis=0)) - 1, np.ceil(seen.max(axis=0)) + 2
    low, high = np.clip(low, 0, canvas.size_px), np.clip(high, 0, canvas.size_px)
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])
