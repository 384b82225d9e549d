"""A quadrilateral of a photo that may be an objective card -> the cells of its little pattern and
the ink in each.

It is levelled, and proves itself by flat patches that have the lattice's own shape and stand at its
own steps. What stands at a step and is neither clearly a cell nor clearly bare paper is kept as a
doubt.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.card_outline import levelled, upright
from vision.cell_shape import CellShape
from vision.colour import linear_from_srgb
from vision.rectify import to_full
from vision.types import Photo

Array = NDArray[np.float64]
Small = NDArray[np.float32]
Picture = NDArray[np.uint8]
Outline = cv2.typing.MatLike
Step = tuple[int, int]

CELL_SHARE = (0.0015, 0.12)
"""A cell fills between these shares of its card."""

LIKE_SHAPE = 0.84
"""Overlap (intersection over union) with the lattice's outline from which a patch may be a cell."""

OFF_STEP = 0.14
"""Greatest distance of a cell from its step, in shares of the pitch."""

GROWTHS = np.linspace(0.98, 1.5, 53)
"""Pitch over the side of a flat patch: patches lose their blurred rims, cells their gaps."""

FLAT_STEPS = (0.9, 1.5, 2.5, 4.0, 6.5)
"""Change of colour, CIELAB units per px, up to which a picture counts as flat; all are tried."""

WEAK, STRONG = 0.3, 0.55
"""Edge of a side, over the median of the cells found, that is surely none and surely one."""

NOISY = 3.0
"""A side is also none where it changes less than this many times the card's median px."""

ONE_TINT = 8.0
"""CIELAB difference in a and b up to which paper is of one tint."""

ON_PAPER = 5.0
"""CIELAB difference up to which a place shows bare paper."""

SIGN_DIFFERENCE, SIGN_SHARE = 14.0, 0.03
"""A sign is printed in a cell where more than this share of its core is that far off its ink."""


FACE_PX, FACE_SHARE = 32, 0.6
"""Side of the picture of a cell's core, and how much of the cell it shows."""


@dataclass(frozen=True, eq=False)
class CardCell:
    """One printed cell: its step (u, v) and outline (K, 2) in px of the levelled card; its ink as
    linear RGB (3,) over the bare paper around it; whether a sign is printed in it; ``face``
    (FACE_PX, FACE_PX), the lightness of its core, CIELAB L; ``sure`` False where it may be no cell
    at all."""

    step: Step
    outline_px: Array
    ink: Array
    signed: bool
    face: Small
    sure: bool


@dataclass(frozen=True, eq=False)
class CardLook:
    """What a photo shows of a card: its corners (4, 2), full-size px, top left first as it lies;
    the levelled picture (H, W, 3), sRGB; its cells, row by row."""

    corners_px: Array
    level: Picture
    cells: tuple[CardCell, ...]


@dataclass(frozen=True, eq=False)
class Levelled:
    """A quadrilateral that may be a card: its corners (4, 2), decoded px, its level picture, and
    the lattice of cells in it."""

    corners: Array
    seen: _Print
    fit: _Fit


def lattice_on(pixels: Picture, quad: Array, shape: CellShape) -> Levelled | None:
    """The quadrilateral (4, 2), decoded px, the way round in which most cells stand on their
    lattice; None where fewer than two do."""
    best: Levelled | None = None
    for turn in (0,) if shape.quarter_turns else (0, 1):
        corners = np.roll(upright(quad), -turn, axis=0)
        seen = _print_of(levelled(pixels, corners))
        fit = _lattice_in(seen, shape)
        if fit and (best is None or fit.worth > best.fit.worth):
            best = Levelled(corners, seen, fit)
    return best


def paper_share(card: Levelled, shape: CellShape) -> float:
    """How much of what lies close round the cells is of one tint, shadows apart; 0 where a cell
    reaches the rim of the quadrilateral."""
    lab, outline = card.seen.lab, shape.outline * card.fit.side * 1.06
    places = [outline + card.fit.at(step) for step in card.fit.steps]
    corners = np.concatenate(places)
    if corners.min() < 0 or (corners.max(axis=0) > lab.shape[1::-1]).any():
        return 0.0
    off = np.linalg.norm(_round_cells(lab, places)[:, 1:] - _paper(lab, places)[1:], axis=1)
    return float((off < ONE_TINT).mean())


def card_look(photo: Photo, card: Levelled, shape: CellShape) -> CardLook:
    """What the photo shows of a card."""
    cells = _cells_of(card.seen, shape, card.fit)
    return CardLook(to_full(photo, card.corners), card.seen.level, cells)


@dataclass(frozen=True, eq=False)
class _Print:
    """A levelled card: sRGB (H, W, 3), CIELAB (H, W, 3), and the change of colour (H, W) in
    CIELAB units per px."""

    level: Picture
    lab: Small
    slope: Small


def _print_of(level: Picture) -> _Print:
    calm = np.asarray(cv2.medianBlur(level, 5), np.float32) / 255
    lab = np.asarray(cv2.cvtColor(calm, cv2.COLOR_RGB2LAB), np.float32)
    soft = cv2.GaussianBlur(lab, (0, 0), 1.2)
    dx, dy = (cv2.Scharr(soft, cv2.CV_32F, *way) / 32.0 for way in ((1, 0), (0, 1)))
    return _Print(level, lab, np.asarray(np.sqrt((dx**2 + dy**2).sum(axis=-1)), np.float32))


def _lattice_in(seen: _Print, shape: CellShape) -> _Fit | None:
    """The lattice on which most flat patches stand, or None where fewer than two agree."""
    fits = [_agreed(*_patches(seen.slope < flat, shape), shape) for flat in FLAT_STEPS]
    return max((fit for fit in fits if fit), key=lambda fit: fit.worth, default=None)


def _patches(flat: NDArray[np.bool_], shape: CellShape) -> tuple[Array, Array]:
    """Middles (M, 2) and areas (M,) of the flat patches that have a cell's outline."""
    area = flat.size
    mask = np.asarray(flat, np.uint8)
    contours, family = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    outer = [contour for contour, kin in zip(contours, family[0], strict=True) if kin[3] < 0]
    middles, areas = [], []
    for contour in outer:
        size = cv2.contourArea(contour)
        if not CELL_SHARE[0] * area < size < CELL_SHARE[1] * area:
            continue
        moments = cv2.moments(contour)
        middle = np.array([moments["m10"], moments["m01"]]) / moments["m00"]
        if _overlap(contour, shape.outline * np.sqrt(size / shape.area) + middle) > LIKE_SHAPE:
            middles.append(middle)
            areas.append(size)
    return np.array(middles).reshape(-1, 2), np.array(areas)


def _overlap(contour: Outline, outline: Array) -> float:
    """Intersection over union of a contour's inside and an outline's."""
    x, y, wide, tall = cv2.boundingRect(contour)
    masks = np.zeros((2, tall + 16, wide + 16), np.uint8)
    shift = np.array([x - 8, y - 8])
    cv2.fillPoly(masks[0], [contour - shift.astype(np.int32)], 1)
    cv2.fillPoly(masks[1], [np.round(outline - shift).astype(np.int32)], 1)
    return float((masks[0] & masks[1]).sum() / (masks[0] | masks[1]).sum())


@dataclass(frozen=True, eq=False)
class _Fit:
    """Steps that cells were found at, and where step (u, v) lies: ``origin + (u, v) @ grid``;
    ``side`` is the root of a cell's area over that of the shape at pitch 1; ``worth`` how many
    cells there are, less how badly they stand (below 1)."""

    steps: tuple[Step, ...]
    origin: Array
    grid: Array
    side: float
    worth: float

    def at(self, step: Step) -> Array:
        return self.origin + np.array(step) @ self.grid


def _agreed(middles: Array, areas: Array, shape: CellShape) -> _Fit | None:
    """The lattice on which most patches of one size stand, or None where not two do."""
    best: tuple[float, _Fit] | None = None
    for seed in range(len(middles)):
        alike = np.abs(np.log(areas / areas[seed])) < 0.3
        side = np.sqrt(np.median(areas[alike]) / shape.area)
        away = (middles - middles[seed]) / side
        all_steps, all_off = shape.nearest((away / GROWTHS[:, None, None]).reshape(-1, 2))
        stacked = zip(
            GROWTHS, np.split(all_steps, len(GROWTHS)), np.split(all_off, len(GROWTHS)), strict=True
        )
        for growth, steps, off in stacked:
            pitch = growth * side
            on = alike & (off < OFF_STEP)
            keys = [tuple(step) for step in steps[on]]
            if len(keys) < 2 or len(set(keys)) < len(keys) or not _joined(keys, shape):
                continue
            worth = len(keys) - (off[on] ** 2).mean() / OFF_STEP**2
            if best is None or worth > best[0] + 1e-9:
                best = worth, _fitted(middles[on], keys, shape, (pitch, side, worth))
    return best[1] if best else None


def _joined(keys: Sequence[Step], shape: CellShape) -> bool:
    """Whether some two of the cells stand side by side (within two steps): a pattern is compact."""
    steps = np.array(keys) * [shape.across[0], shape.down[1]]
    apart = np.linalg.norm(steps[:, None] - steps[None], axis=2)
    np.fill_diagonal(apart, np.inf)
    return bool((apart.min(axis=1) < 2.2).all())


def _fitted(
    middles: Array, keys: Sequence[Step], shape: CellShape, found: tuple[float, float, float]
) -> _Fit:
    """Least squares of the grid, held near the shape's own; ``found`` pitch, side and worth."""
    pitch, side, worth = found
    steps = np.array(keys, np.float64)
    plain = np.array([shape.across, shape.down]) * pitch
    hold = 0.7
    rows = np.column_stack([np.ones(len(steps)), steps])
    design = np.vstack([rows, [0, hold, 0], [0, 0, hold]])
    solved = np.linalg.lstsq(design, np.vstack([middles, hold * plain]), rcond=None)[0]
    return _Fit(tuple((int(u), int(v)) for u, v in keys), solved[0], solved[1:], side, worth)


def _cells_of(seen: _Print, shape: CellShape, fit: _Fit) -> tuple[CardCell, ...]:
    """The agreed cells and those beside them that are, or may be, cells too."""
    lab, slope, linear = seen.lab, seen.slope, linear_from_srgb(seen.level)
    outline = shape.outline * fit.side * 1.06  # patches lose their blurred rims
    usual = float(np.median([_sides(slope, outline + fit.at(step)) for step in fit.steps]))
    weak = max(WEAK * usual, NOISY * float(np.median(slope)))
    steps, queue = dict.fromkeys(fit.steps, True), list(fit.steps)
    paper = _paper(lab, [outline + fit.at(step) for step in fit.steps])
    while queue:
        near = [s for s in _around(queue.pop(), shape) if s not in steps]
        for step in near:
            told = _exists(seen, outline + fit.at(step), (weak, STRONG * usual))
            if told is not None:
                steps[step] = told
                queue += [step] if told else []
    places = [outline + fit.at(step) for step in steps]
    around = _surroundings(lab.shape[:2], places)
    cells = []
    for (step, sure), place in zip(steps.items(), places, strict=True):
        ink, signed = _ink(lab, linear, place)
        over = ink / _paper_at(linear, lab, around, place, paper)
        cells.append(CardCell(step, place, over, signed, _face(lab, place), sure))
    return tuple(sorted(cells, key=lambda cell: cell.step[::-1]))


def _around(step: Step, shape: CellShape) -> list[Step]:
    """The steps next to one, corners included."""
    return [
        (step[0] + du, step[1] + dv)
        for du in range(-2, 3)
        for dv in range(-2, 3)
        if (du, dv) != (0, 0)
        and (shape.every_step or (du + dv) % 2 == 0)
        and np.hypot(du * shape.across[0], dv * shape.down[1]) < 1.45
    ]


def _sides(slope: Small, outline: Array) -> Array:
    """The edge that each side of an outline shows, CIELAB units per px; NaN off the picture."""
    height, width = slope.shape
    middle = outline.mean(axis=0)
    told = []
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        line = a + np.linspace(0.15, 0.85, 15)[:, None] * (b - a)
        out = (line - middle) / np.linalg.norm(line - middle, axis=1, keepdims=True)
        tries = [line + out * shift for shift in range(-4, 5)]
        at = np.round(np.stack(tries)).astype(int)
        if (at < 0).any() or (at[..., 0] >= width).any() or (at[..., 1] >= height).any():
            return np.full(len(outline), np.nan)
        told.append(float(np.median(slope[at[..., 1], at[..., 0]].max(axis=0))))
    return np.array(told)


def _exists(seen: _Print, place: Array, edges: tuple[float, float]) -> bool | None:
    """True for a cell, False for what may be one, None for no cell.

    ``edges``: the change of colour at a side that is surely none, and surely one.
    """
    weak, strong = edges
    sides = np.sort(_sides(seen.slope, place))
    if np.isnan(sides).any():
        return None
    if sides[0] > strong:
        return True
    size = seen.slope.shape
    core = seen.lab[_inside(size, place, 0.6)]
    ring = seen.lab[_inside(size, place, 1.5) & ~_inside(size, place, 1.15)]
    differs = np.linalg.norm(np.median(core, axis=0) - np.median(ring, axis=0)) > ON_PAPER
    flat = np.quantile(np.linalg.norm(core - np.median(core, axis=0), axis=1), 0.8) < ON_PAPER
    if sides[1] < weak and not (differs and flat and sides[-1] < strong):
        return None
    return False


def _inside(size: tuple[int, int], outline: Array, grown: float) -> NDArray[np.bool_]:
    mask = np.zeros(size, np.uint8)
    middle = outline.mean(axis=0)
    points = np.round((middle + (outline - middle) * grown) * 16).astype(np.int32)
    cv2.fillPoly(mask, [points], 1, shift=4)
    return mask.astype(bool)


def _surroundings(size: tuple[int, int], places: Sequence[Array]) -> NDArray[np.bool_]:
    """What lies outside of every cell."""
    outside = np.ones(size, bool)
    for place in places:
        outside &= ~_inside(size, place, 1.2)
    return outside


def _paper(lab: Small, places: Sequence[Array]) -> Array:
    """CIELAB (3,) of the bare paper: the usual colour close round the cells."""
    seen = _round_cells(lab, places)
    light = seen[seen[:, 0] >= np.quantile(seen[:, 0], 0.5)]
    return np.asarray(np.median(light, axis=0))


def _round_cells(lab: Small, places: Sequence[Array]) -> Small:
    """CIELAB (N, 3) of the px close round the cells."""
    outside = _surroundings(lab.shape[:2], places)
    near = np.zeros(lab.shape[:2], bool)
    for place in places:
        near |= _inside(lab.shape[:2], place, 1.9)
    return lab[near & outside]


def _paper_at(
    linear: Array, lab: Small, outside: NDArray[np.bool_], place: Array, paper: Array
) -> Array:
    """Linear RGB (3,) of the paper close round one cell, or of all paper where it shows none."""
    for grown in (2.2, 4.0, 50.0):
        near = _inside(lab.shape[:2], place, grown) & outside
        near &= np.linalg.norm(lab - paper, axis=2) < 15
        if near.sum() > 150:
            return np.asarray(np.median(linear[near], axis=0))
    return np.asarray(linear.reshape(-1, 3).max(axis=0))


def _ink(lab: Small, linear: Array, place: Array) -> tuple[Array, bool]:
    """Linear RGB (3,) of a cell's ink, and whether a sign is printed in it."""
    core = _inside(lab.shape[:2], place, 0.72)
    usual = np.median(lab[core], axis=0)
    off = np.linalg.norm(lab[core] - usual, axis=1)
    own = linear[core][off < SIGN_DIFFERENCE]
    return np.median(own, axis=0), bool((off > SIGN_DIFFERENCE).mean() > SIGN_SHARE)


def _face(lab: Small, place: Array) -> Small:
    """The lightness of a cell's core as a small square picture."""
    middle, half = place.mean(axis=0), FACE_SHARE * np.ptp(place, axis=0) / 2
    scale = FACE_PX / (2 * half)
    move = np.column_stack([np.diag(scale), (half - middle) * scale])
    lightness = np.ascontiguousarray(lab[..., 0])
    return np.asarray(cv2.warpAffine(lightness, move, (FACE_PX, FACE_PX)), np.float32)
