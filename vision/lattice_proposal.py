"""A photo of an empty board -> a proposed lattice: kind, pitch, rows, and which cells exist.

Every kind of cell and every pitch is tried as a template of outlines on the levelled board. A
template votes with the direction of the print's edges, so that a busy frame votes for nothing:
the sum over an outline of |gradient| cos 2(direction - normal) (Ballard, "Generalizing the Hough
transform to detect arbitrary shapes", Pattern Recognition 13(2), 1981, with signed votes). The
lattice that collects most votes where its cells repeat is proposed, then refined and its cells
looked for one by one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from scoring.regular import Shape, piece_outline
from vision.errors import BoardNotFound

Array = NDArray[np.float64]

COARSE_PX, FINE_PX = 200, 640
"""Long side of the levelled board at which lattices are tried, and refined."""

PITCHES = np.geomspace(1 / 18, 1 / 3.4, 50)
"""Pitches tried, in shares of the board's long side."""

RATIOS = (0.68, 0.73, 0.78, 0.83, 0.88, 0.94, 1.0)
"""Row pitches of courses tried, in shares of the pitch."""

GAP = 0.05
"""Gap between cells, in shares of the pitch, until it is measured."""

SMALLER = 0.6
"""A lattice of cells smaller than this share of the best one's is taken instead if it collects
``AS_GOOD`` of the votes: cells of twice the pitch fit the same lines."""

AS_GOOD = 0.85
EXISTS = 0.62
SIDE = 0.25
"""Share of the usual votes that a cell, and its second poorest side, must collect to exist."""

LEAST_VOTES = 0.25
"""Votes, 0 to 1, below which the best lattice is no lattice."""


@dataclass(frozen=True)
class Proposal:
    """A proposed lattice; lengths in mm of the board.

    ``kind`` and ``round_lower`` as in a sheet; cells of row v and half column u have their centre
    at ``origin_mm + (u * across_mm / 2, v * down_mm)`` with u + v even (square: u always even).
    ``steps`` holds (u, v) of every cell that exists; ``votes``, 0 to 1, how well outlines fit.
    """

    kind: str
    across_mm: float
    down_mm: float
    origin_mm: tuple[float, float]
    gap_mm: float
    round_lower: bool
    steps: tuple[tuple[int, int], ...]
    votes: float

    @property
    def pitch_mm(self) -> float:
        """Distance of two neighbouring cells (in courses: of two in one row)."""
        return {
            "hex-flat": 2 * self.down_mm,
            "diamond": self.across_mm / math.sqrt(2),
        }.get(self.kind, self.across_mm)

    def centre_mm(self, step: tuple[int, int]) -> tuple[float, float]:
        """Centre of the place at a step."""
        x, y = self.origin_mm
        return (x + step[0] * self.across_mm / 2, y + step[1] * self.down_mm)

    def outline_mm(self, step: tuple[int, int]) -> Array:
        """Outline (K, 2) of the cell at a step."""
        return _outline(self) + np.array(self.centre_mm(step))


def propose_lattice(level: NDArray[np.uint8], size_mm: tuple[float, float], name: str) -> Proposal:
    """The lattice that a levelled picture (H, W, 3) of the empty board shows.

    The picture covers the board of ``size_mm`` whole, sRGB, RGB. Raises BoardNotFound where no
    lattice collects enough votes; ``name`` is the photo's.
    """
    coarse = _votes_of(level, COARSE_PX, size_mm)
    tried = sorted(
        ((_collected(coarse, one), i, one) for i, one in enumerate(_candidates(max(size_mm)))),
        key=lambda entry: -entry[0][0],
    )
    best_votes, best_area = tried[0][0][0], _area(tried[0][2])
    (_, origin), _, best = next(
        (entry for entry in tried if _area(entry[2]) < SMALLER * best_area
         and entry[0][0] > AS_GOOD * best_votes),
        tried[0],
    )  # fmt: skip
    fine = _votes_of(level, FINE_PX, size_mm)
    refined = _refined(fine, replace(best, origin_mm=origin))
    if refined.votes < LEAST_VOTES:
        raise BoardNotFound(
            name,
            "no regular cells are seen on the board.",
            "Tap its corners exactly, take the photo from above in even light, or draw the cells "
            "as an SVG.",
        )
    return _with_cells(fine, refined)


def with_cell_at(one: Proposal, point_mm: tuple[float, float]) -> Proposal:
    """The proposal with the place under a point as a cell too; the point is in board mm."""
    u = round(2 * (point_mm[0] - one.origin_mm[0]) / one.across_mm)
    v = round((point_mm[1] - one.origin_mm[1]) / one.down_mm)
    near = [(u + du, v + dv) for du in (-2, -1, 0, 1, 2) for dv in (-1, 0, 1)]
    places = [(a, b) for a, b in near if (a if one.kind == "square" else a + b) % 2 == 0]
    step = min(places, key=lambda place: math.dist(one.centre_mm(place), point_mm))
    return replace(one, steps=tuple(sorted({*one.steps, step}, key=lambda s: (s[1], s[0]))))


@dataclass(frozen=True, eq=False)
class _Votes:
    """Edges of the levelled board: strength times (cos, sin) of twice their normal's direction.

    ``cos``, ``sin`` (H, W), strength 0 to 1; ``scale`` px per mm.
    """

    cos: NDArray[np.float32]
    sin: NDArray[np.float32]
    scale: float
    size_mm: tuple[float, float]


def _votes_of(level: NDArray[np.uint8], long_px: int, size_mm: tuple[float, float]) -> _Votes:
    scale = long_px / max(size_mm)
    size = (round(size_mm[0] * scale), round(size_mm[1] * scale))
    grey = cv2.cvtColor(level, cv2.COLOR_RGB2GRAY).astype(np.float32)
    log = np.log(cv2.resize(grey, size, interpolation=cv2.INTER_AREA) + 12)
    log = cv2.GaussianBlur(log, (0, 0), 0.8)
    dx, dy = cv2.Sobel(log, cv2.CV_32F, 1, 0), cv2.Sobel(log, cv2.CV_32F, 0, 1)
    power = dx * dx + dy * dy
    strength = np.sqrt(power)
    around = cv2.GaussianBlur(strength, (0, 0), 5 * scale)
    soft = strength / (strength + 1.2 * around + 0.02)
    spread = max(0.7, 0.5 * scale)
    cos = cv2.GaussianBlur(soft * (dx * dx - dy * dy) / (power + 1e-9), (0, 0), spread)
    sin = cv2.GaussianBlur(soft * 2 * dx * dy / (power + 1e-9), (0, 0), spread)
    return _Votes(np.asarray(cos), np.asarray(sin), scale, size_mm)


def _candidates(long_mm: float) -> Iterator[Proposal]:
    """Every lattice that is tried, without a place."""
    root3, root2 = math.sqrt(3), math.sqrt(2)
    for share in PITCHES:
        p = float(share) * long_mm
        yield _bare("square", p, p, p)
        yield _bare("hex-pointy", p, p * root3 / 2, p)
        yield _bare("hex-flat", p * root3, p / 2, p)
        yield _bare("diamond", p * root2, p / root2, p)
        for ratio in RATIOS:
            yield _bare("courses", p, p * ratio, p)
            yield _bare("courses", p, p * ratio, p, True)


def _bare(kind: str, across: float, down: float, pitch: float, rounded: bool = False) -> Proposal:
    return Proposal(kind, across, down, (0.0, 0.0), GAP * pitch, rounded, (), 0.0)


def _area(one: Proposal) -> float:
    return one.across_mm * one.down_mm


def _outline(one: Proposal) -> Array:
    """Outline (K, 2) mm of a cell about its place's centre."""
    pitch = one.pitch_mm
    down = one.down_mm if one.kind == "courses" else None
    shape = Shape((1,), pitch, one.gap_mm, (0.0, 0.0), down, "none", one.round_lower)
    corners = np.array(piece_outline(one.kind, shape, (0, 0)))
    box = np.array(piece_outline(one.kind, replace(shape, round_lower=False), (0, 0)))
    return np.asarray(corners - (box.min(axis=0) + box.max(axis=0)) / 2, np.float64)


def _along(outline: Array, step_mm: float) -> tuple[Array, Array, NDArray[np.int64]]:
    """Points (K, 2) along an outline, twice-angle normals (K, 2), and each point's side."""
    points, normals, sides = [], [], []
    for side, (a, b) in enumerate(zip(outline, np.roll(outline, -1, axis=0), strict=True)):
        length = float(np.linalg.norm(b - a))
        count = max(2, round(length / step_mm))
        shares = (np.arange(count) + 0.5) / count
        points.append(a + shares[:, None] * (b - a))
        nx, ny = (b - a)[1] / length, -(b - a)[0] / length
        normals.append(np.tile([nx * nx - ny * ny, 2 * nx * ny], (count, 1)))
        sides.append(np.full(count, side))
    return np.vstack(points), np.vstack(normals), np.concatenate(sides)


def _collected(votes: _Votes, one: Proposal) -> tuple[float, tuple[float, float]]:
    """Mean votes of the best placing of a lattice over the board's middle, and its origin, mm."""
    scale = votes.scale
    points, normals, _ = _along(_outline(one), 1 / scale)
    where = np.round(points * scale).astype(int)
    half = int(np.abs(where).max()) + 1
    kernel = np.zeros((2, 2 * half + 1, 2 * half + 1), np.float32)
    for k in (0, 1):
        np.add.at(kernel[k], (where[:, 1] + half, where[:, 0] + half), normals[:, k] / len(points))
    border = cv2.BORDER_CONSTANT
    cell = cv2.filter2D(votes.cos, -1, kernel[0], borderType=border)
    cell = cell + cv2.filter2D(votes.sin, -1, kernel[1], borderType=border)
    height, width = cell.shape
    rows, columns = np.mgrid[height // 5 : height - height // 5, width // 5 : width - width // 5]
    across, down = one.across_mm * scale, one.down_mm * scale
    line = np.floor((rows + 0.5) / down)
    shift = 0 if one.kind == "square" else (line % 2) * across / 2
    x = np.floor(np.mod(columns - shift, across)).astype(int)
    y = np.floor(np.mod(rows + 0.5, down)).astype(int)
    wide = int(across) + 1
    place = (y * wide + x).ravel()
    sums = np.bincount(place, cell[rows, columns].ravel())
    counts = np.bincount(place)
    means = np.where(counts >= 3, sums / np.maximum(counts, 1), 0)
    best = int(means.argmax())
    return float(means[best]), ((best % wide + 0.5) / scale, (best // wide) / scale)


def _at(votes: _Votes, points_mm: Array, normals: Array) -> Array:
    """Votes of points of shape (..., 2) mm with twice-angle normals (..., 2)."""
    where = np.asarray(points_mm * votes.scale - 0.5, np.float32)
    x, y = np.ascontiguousarray(where[..., 0]), np.ascontiguousarray(where[..., 1])
    flat = x.reshape(-1, 1), y.reshape(-1, 1)
    cos = cv2.remap(votes.cos, *flat, cv2.INTER_LINEAR).reshape(x.shape)
    sin = cv2.remap(votes.sin, *flat, cv2.INTER_LINEAR).reshape(x.shape)
    return np.asarray(normals[..., 0] * cos + normals[..., 1] * sin, np.float64)


def _steps_on(one: Proposal, size_mm: tuple[float, float]) -> list[tuple[int, int]]:
    """Every step whose cell lies on the board whole."""
    outline = _outline(one)
    low, high = outline.min(axis=0), outline.max(axis=0)
    lines = range(-60, 61)
    return [
        (u, v)
        for v in lines
        for u in lines
        if (u % 2 == 0 if one.kind == "square" else (u + v) % 2 == 0)
        and all(np.array(one.centre_mm((u, v))) + low >= -0.5)
        and all(np.array(one.centre_mm((u, v))) + high <= np.array(size_mm) + 0.5)
    ]


def _mean_votes(votes: _Votes, one: Proposal, steps: Sequence[tuple[int, int]]) -> float:
    points, normals, _ = _along(_outline(one), 1.0)
    centres = np.array([one.centre_mm(step) for step in steps])
    return float(_at(votes, centres[:, None] + points, np.broadcast_to(
        normals, (len(centres), *normals.shape))).mean())  # fmt: skip


def _refined(votes: _Votes, one: Proposal) -> Proposal:
    """The proposal moved, stretched and gapped to where it collects most, from the middle out."""
    for reach in (0.35, 0.42, 0.5):
        middle, half = np.array(votes.size_mm) / 2, reach * np.array(votes.size_mm)
        steps = [
            step
            for step in _steps_on(one, votes.size_mm)
            if np.all(np.abs(np.array(one.centre_mm(step)) - middle) <= half)
        ]
        if reach == 0.5:
            steps = [s for s, seen in zip(steps, _exist(votes, one, steps), strict=True) if seen]
        if len(steps) < 4:
            continue
        one = _fitted(votes, one, steps)
    return one


def _fitted(votes: _Votes, one: Proposal, steps: Sequence[tuple[int, int]]) -> Proposal:
    """The proposal whose place, stretch and gap collect most over these cells."""
    middle = np.array(steps[len(steps) // 2], float)

    def at(theta: Array) -> Proposal:
        across = one.across_mm * (1 + theta[2] / 100)
        down = one.down_mm * (1 + theta[3 if one.kind == "courses" else 2] / 100)
        dx = theta[0] - middle[0] * (across - one.across_mm) / 2
        dy = theta[1] - middle[1] * (down - one.down_mm)
        gap = float(np.clip(one.gap_mm + theta[4] / 2, 0.0, 0.14 * one.pitch_mm))
        origin = (one.origin_mm[0] + dx, one.origin_mm[1] + dy)
        return replace(one, across_mm=across, down_mm=down, origin_mm=origin, gap_mm=gap)

    start = np.zeros(5)
    simplex = np.vstack([start, np.diag([0.8, 0.8, 1.0, 1.0, 0.8])])
    found = minimize(
        lambda theta: -_mean_votes(votes, at(theta), steps),
        start,
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "maxiter": 120, "xatol": 0.02, "fatol": 1e-4},
    )
    best = at(found.x)
    return replace(best, votes=_mean_votes(votes, best, steps))


def _exist(votes: _Votes, one: Proposal, steps: Sequence[tuple[int, int]]) -> NDArray[np.bool_]:
    """Which of the places hold a cell: all of its outline must be printed there."""
    centres = np.array([one.centre_mm(step) for step in steps])
    points, normals, sides = _along(_outline(one), 1.0)
    shape = (len(centres), *normals.shape)
    tries = [
        _at(votes, centres[:, None] + points + np.array([dx, dy]), np.broadcast_to(normals, shape))
        for dx in (-0.8, 0.0, 0.8)
        for dy in (-0.8, 0.0, 0.8)
    ]
    best = np.max([one_try.mean(axis=1) for one_try in tries], axis=0)
    side_of = (sides * min(6, sides.max() + 1)) // (sides.max() + 1)
    by_side = np.max(
        [np.stack([t[:, side_of == k].mean(axis=1) for k in sorted(set(side_of))], 1)
         for t in tries], axis=0
    )  # fmt: skip
    poorest = np.sort(by_side, axis=1)[:, 1]
    usual = np.median(best[best > 0.5 * np.quantile(best, 0.9)])
    return np.asarray((best > EXISTS * usual) & (poorest > SIDE * usual), np.bool_)


def _with_cells(votes: _Votes, one: Proposal) -> Proposal:
    steps = _steps_on(one, votes.size_mm)
    seen = _exist(votes, one, steps)
    return replace(one, steps=tuple(s for s, there in zip(steps, seen, strict=True) if there))
