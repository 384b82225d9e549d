"""The frame of a new table: the first photo's registration, refined on the board's printed cells.

Marks on loose cards lie a millimetre off, taps a few px, and neither shows the lens. The outlines
of the cells do: each bare cell is sought near where it is expected, and a homography with one
radial term is fitted to all of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from scoring.lattice import cell_centres_mm
from scoring.types import Lattice
from vision.geometry import refine_registration
from vision.rectify import rectify
from vision.types import Photo, Registration
from vision.view import grey_of

Array = NDArray[np.float64]
Field = NDArray[np.float32]

INSETS: Sequence[float] = (0.76, 0.8, 0.84, 0.88, 0.92, 0.96, 1.0, 1.04)
"""Sizes at which outlines are sought, in shares of the cell: a print may leave a rim of its own."""

ROUNDS = ((0.22, 48), (0.10, 72), (0.08, 72))
"""Search radius in shares of the pitch, and px of the levelled picture from a cell to the next:
less than half a cell, so that no cell is ever taken for its neighbour."""

CLEAR = 1.6
"""A cell's best place must beat the middle of its window's votes by so many spreads of them."""

ENOUGH_CLEAR = 0.6
"""Share of the cells that must be clear, and fit; fewer leave the frame as it was."""

PRINT_OFF = 0.025
"""By so much of the pitch all cells alike may be printed beside their outlines, rounded ends for
one; no photo of the board alone can tell. 1.8 % is the most seen."""

FITS = 0.04
"""Largest residual of a cell that counts as fitting, in shares of the pitch. All by hand."""


@dataclass(frozen=True, eq=False)
class Sighting:
    """Where the cells seem to lie: offset (N, 2) in levelled px from where they were expected, and
    how clearly each is seen (N,); and the ``inset`` at which they are seen best."""

    offsets_px: Array
    clear: Array
    inset: float


def frame_on_cells(photo: Photo, start: Registration, lattice: Lattice) -> Registration:
    """``start`` refined on the outlines of all cells of a bare board, lens included.

    ``error_mm`` is then the half width of a 95 % interval of a cell centre; it stays infinite, and
    the registration as it was, where too few outlines are clear or they do not agree.
    """
    places = np.array(cell_centres_mm(lattice))
    pitch_mm = _pitch_mm(places)
    found, insets = start, INSETS
    for reach, pitch_px in ROUNDS:
        px_per_mm = pitch_px / pitch_mm
        seen = _sighted(photo, found, lattice, insets, px_per_mm, round(reach * pitch_px))
        insets = (seen.inset,)
        good = seen.clear >= CLEAR
        if good.mean() < ENOUGH_CLEAR or good.sum() < 8:
            return start
        there = found.project(places + seen.offsets_px / px_per_mm)
        found = refine_registration(found, places[good], there[good], photo.full_size_px, places)
        if not np.isfinite(found.homography).all() or np.linalg.det(found.homography) <= 0:
            return start
    # What is left over between the last sighting and the fit to it.
    left_px = np.linalg.norm(found.project(places) - there, axis=1)
    beside = found.project(places + np.array([pitch_mm, 0]))
    side_px = np.linalg.norm(beside - found.project(places), axis=1)
    fitting = good & (left_px < FITS * side_px)
    if fitting.mean() < ENOUGH_CLEAR:
        return start
    error_mm = float(np.hypot(found.error_mm, PRINT_OFF * pitch_mm))
    return replace(found, error_mm=error_mm)


def _pitch_mm(places_mm: Array) -> float:
    apart = np.linalg.norm(places_mm[:, None] - places_mm[None], axis=2)
    np.fill_diagonal(apart, np.inf)
    return float(np.median(apart.min(axis=1)))


def _sighted(
    photo: Photo,
    registration: Registration,
    lattice: Lattice,
    insets: Sequence[float],
    px_per_mm: float,
    reach_px: int,
) -> Sighting:
    """Each cell's outline sought within ``reach_px``, at the inset that suits all cells best."""
    room = 2 * reach_px + round(_pitch_mm(np.array(cell_centres_mm(lattice))) * px_per_mm)
    width, height = lattice.board_size_mm
    size = (round(width * px_per_mm) + 2 * room, round(height * px_per_mm) + 2 * room)
    origin = (-room / px_per_mm, -room / px_per_mm)
    field = _edges(grey_of(rectify(photo, registration, origin, px_per_mm, size)))
    outlines = [(np.array(cell.polygon_mm) - origin) * px_per_mm for cell in lattice.cells]
    surfaces = np.stack(
        [[_votes(field, outline, inset, reach_px) for outline in outlines] for inset in insets]
    )
    best = int(surfaces.max(axis=(2, 3)).mean(axis=1).argmax())
    peaks = [_peak(surface) for surface in surfaces[best]]
    offsets = np.array([peak[:2] for peak in peaks]) - reach_px
    return Sighting(offsets, np.array([peak[2] for peak in peaks]), insets[best])


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


def _peak(surface: Field) -> tuple[float, float, float]:
    """Sub-pixel (x, y) of the highest vote and by how many spreads it stands out; 0 at the rim."""
    _, top, _, (x, y) = cv2.minMaxLoc(surface)
    if not (0 < x < surface.shape[1] - 1 and 0 < y < surface.shape[0] - 1):
        return float(x), float(y), 0.0
    near = surface[y - 1 : y + 2, x - 1 : x + 2].astype(float)
    spread = float(surface.std()) + 1e-9
    return (
        x + _parabola(near[1, 0], near[1, 1], near[1, 2]),
        y + _parabola(near[0, 1], near[1, 1], near[2, 1]),
        (top - float(np.median(surface))) / spread,
    )


def _parabola(before: float, top: float, after: float) -> float:
    bend = before - 2 * top + after
    return 0.5 * (before - after) / bend if bend < 0 else 0.0
