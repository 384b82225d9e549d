"""Where the outlines of cells, or of the pieces on them, lie in a photo.

Each outline collects the votes of the photo's edges along it, wherever it may have been moved to
(Ballard, "Generalizing the Hough transform to detect arbitrary shapes", Pattern Recognition 13(2),
1981, with edges that vote by their direction).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.patches import parabola_top
from vision.types import Registration
from vision.view import View

Array = NDArray[np.float64]
Field = NDArray[np.float32]

CLEAR = 1.6
"""An outline's best place must beat the middle of its window's votes by so many spreads of them
(by hand)."""


@dataclass(frozen=True, eq=False)
class Sighting:
    """Where outlines seem to lie: offset (N, 2), mm, from where they were expected, how clearly
    each is seen (N,), the votes it collects (N,), and the ``inset`` at which all are seen best."""

    offsets_mm: Array
    clear: Array
    votes: Array
    inset: float


def sighted(
    view: View,
    registration: Registration,
    outlines_mm: Sequence[Array],
    insets: Sequence[float],
    px_per_mm: float,
    reach_px: int,
    z_mm: float = 0.0,
) -> Sighting:
    """Outlines (K, 2) of the board's plane, or of the one at ``z_mm``, each sought within
    ``reach_px`` of a levelled picture, at the inset (share of the outline) that suits all best."""
    corners = np.concatenate(outlines_mm)
    room = 2 * reach_px + round(float(np.ptp(outlines_mm[0], axis=0).max()) * px_per_mm)
    origin = (np.floor(corners.min(axis=0) * px_per_mm) - room) / px_per_mm
    width, height = np.ceil(np.ptp(corners, axis=0) * px_per_mm).astype(int) + 1 + 2 * room
    at = (float(origin[0]), float(origin[1]))
    field = _edges(view.level(registration, at, px_per_mm, (int(width), int(height)), z_mm))
    outlines = [(outline - origin) * px_per_mm for outline in outlines_mm]
    surfaces = np.stack(
        [[_votes(field, outline, inset, reach_px) for outline in outlines] for inset in insets]
    )
    best = int(surfaces.max(axis=(2, 3)).mean(axis=1).argmax())
    x, y, clear, votes = np.array([_peak(surface) for surface in surfaces[best]]).T
    offsets = np.stack([x - reach_px, y - reach_px], axis=1) / px_per_mm
    return Sighting(offsets, clear, votes, insets[best])


def _edges(grey: NDArray[np.uint8]) -> Field:
    """Edges (H, W, 2) as double angles, so that dark on pale and pale on dark vote alike.

    Source: Bigun and Granlund, "Optimal orientation detection of linear symmetry", ICCV 1987.
    Strength is levelled by a power, lest one bold motif outvote a thin outline.
    """
    soft = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.0)
    gx, gy = cv2.Sobel(soft, cv2.CV_32F, 1, 0), cv2.Sobel(soft, cv2.CV_32F, 0, 1)
    strength = gx * gx + gy * gy + 1.0
    double = np.dstack([gx * gx - gy * gy, 2 * gx * gy])
    return np.asarray(double / strength[..., None] ** 0.75, np.float32)


def _votes(field: Field, outline_px: Array, inset: float, reach_px: int) -> Field:
    """Votes (2 reach + 1, 2 reach + 1) for this outline moved by up to ``reach_px`` each way."""
    middle = outline_px.mean(axis=0)
    points, normals = _along(middle + (outline_px - middle) * inset)
    corner = np.floor(points.min(axis=0)).astype(int) - 2
    size = np.ceil(points.max(axis=0)).astype(int) + 3 - corner
    ring = np.zeros((size[1], size[0], 2), np.float32)
    at = np.round(points - corner).astype(int)
    double = np.column_stack(
        [normals[:, 0] ** 2 - normals[:, 1] ** 2, 2 * normals[:, 0] * normals[:, 1]]
    )
    np.add.at(ring, (at[:, 1], at[:, 0]), double / len(points))
    ring = cv2.GaussianBlur(ring, (0, 0), 1.0)
    window = field[
        corner[1] - reach_px : corner[1] + size[1] + reach_px,
        corner[0] - reach_px : corner[0] + size[0] + reach_px,
    ]
    return np.asarray(cv2.matchTemplate(window, ring, cv2.TM_CCORR), np.float32)


def _along(outline_px: Array) -> tuple[Array, Array]:
    """Points (P, 2) every px along a closed outline, and the unit normals there."""
    points, normals = [], []
    for a, b in zip(outline_px, np.roll(outline_px, -1, axis=0), strict=True):
        length = float(np.linalg.norm(b - a))
        steps = (np.arange(max(1, round(length))) + 0.5) / max(1, round(length))
        points.append(a + steps[:, None] * (b - a))
        normal = np.array([a[1] - b[1], b[0] - a[0]]) / max(length, 1e-9)
        normals.append(np.tile(normal, (len(steps), 1)))
    return np.concatenate(points), np.concatenate(normals)


def _peak(surface: Field) -> tuple[float, float, float, float]:
    """Sub-pixel (x, y) of the highest vote, by how many spreads it stands out, 0 at the rim, and
    the vote."""
    _, top, _, (x, y) = cv2.minMaxLoc(surface)
    if not (0 < x < surface.shape[1] - 1 and 0 < y < surface.shape[0] - 1):
        return float(x), float(y), 0.0, top
    near = surface[y - 1 : y + 2, x - 1 : x + 2].astype(float)
    spread = float(surface.std()) + 1e-9
    return (
        x + float(parabola_top(near[1, 0], near[1, 1], near[1, 2])),
        y + float(parabola_top(near[0, 1], near[1, 1], near[2, 1])),
        (top - float(np.median(surface))) / spread,
        top,
    )
