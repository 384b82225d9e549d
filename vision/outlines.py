"""Flat patches of a picture with the outline of a piece, turned any way; votes for outlines."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Small = NDArray[np.float32]
Picture = NDArray[np.uint8]
Mask = NDArray[np.bool_]
Window = tuple[slice, slice]

SIDE_PX = 36.0
"""Root of a piece's area in the levelled picture."""


FLAT_STEPS = (1.0, 1.8, 3.0, 5.0)
"""Change of colour, CIELAB units per px, up to which a picture counts as flat; all are tried."""


PIECE_SHARE = (0.0002, 0.08)
"""A piece fills between these shares of the photo."""


TURNS = 12
"""Turns tried of an outline, over its own symmetry."""


@dataclass(frozen=True, eq=False)
class Piece:
    """The outline of one piece (K, 2) about its middle, area 1, and the turn after which it looks
    the same (deg)."""

    outline: Array
    symmetry_deg: float


def piece_of(polygon_mm: Sequence[tuple[float, float]]) -> Piece:
    """A piece as large as this cell of the board."""
    outline = np.array(polygon_mm, float)
    outline = outline / np.sqrt(cv2.contourArea(outline.astype(np.float32)))
    moments = cv2.moments((outline * 1000).astype(np.float32))
    outline = outline - np.array([moments["m10"], moments["m01"]]) / moments["m00"] / 1000
    for order in (6, 4, 2):
        if overlap(outline * 100, turned(outline * 100, 360 / order)) > 0.96:
            return Piece(outline, 360 / order)
    return Piece(outline, 360.0)


def turned(outline: Array, deg: float) -> Array:
    """An outline turned about (0, 0)."""
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    return outline @ np.array([[c, s], [-s, c]])


@dataclass(frozen=True, eq=False)
class Seen:
    """A picture, its CIELAB and its change of colour per px, and where the picture is known."""

    picture: Picture
    lab: Small
    slope: Small
    known: Mask


@dataclass(frozen=True, eq=False)
class Patch:
    """A flat patch: contour, area, middle (2,), best turn (deg), its overlap, and the threshold of
    flatness (index) at which it shows."""

    contour: cv2.typing.MatLike
    area: float
    middle: Array
    turn_deg: float
    like: float
    flat: int


def see(picture: Picture) -> Seen:
    """What is looked at of a picture (H, W, 3), sRGB; black px are unknown."""
    known = picture.max(axis=2) > 0
    calm = np.asarray(cv2.medianBlur(picture, 3), np.float32) / 255
    lab = np.asarray(cv2.cvtColor(calm, cv2.COLOR_RGB2LAB), np.float32)
    soft = cv2.GaussianBlur(lab, (0, 0), 0.9)
    dx, dy = (cv2.Scharr(soft, cv2.CV_32F, *way) / 32.0 for way in ((1, 0), (0, 1)))
    return Seen(picture, lab, np.asarray(np.sqrt((dx**2 + dy**2).sum(-1)), np.float32), known)


def patches_like(seen: Seen, piece: Piece, like: float) -> Iterator[Patch]:
    """Every flat patch that has the outline of one piece."""
    for patch in flat_patches(seen, piece):
        if patch.like > like:
            yield patch


def flat_patches(seen: Seen, piece: Piece) -> Iterator[Patch]:
    """Every flat patch of a possible size, and how like the piece it is."""
    least, most = (share * seen.slope.size for share in PIECE_SHARE)
    for index, flat in enumerate(FLAT_STEPS):
        mask = np.asarray((seen.slope < flat) & seen.known, np.uint8)
        mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3))), np.uint8)
        contours, family = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
        if family is None:
            continue
        for contour, kin in zip(contours, family[0], strict=True):
            area = cv2.contourArea(contour)
            if kin[3] >= 0 or not least < area < most:
                continue
            moments = cv2.moments(contour)
            middle = np.array([moments["m10"], moments["m01"]]) / moments["m00"]
            deg, like = _best_turn(contour, area, middle, piece)
            yield Patch(contour, area, middle, deg, like, index)


def _best_turn(
    contour: cv2.typing.MatLike, area: float, middle: Array, piece: Piece
) -> tuple[float, float]:
    """Turn (deg) of the piece's outline that overlaps a contour best, and the overlap."""
    points = np.asarray(contour, float).reshape(-1, 2)
    outline = piece.outline * np.sqrt(area)
    reach = float(np.linalg.norm(outline, axis=1).max())
    far = np.linalg.norm(points - middle, axis=1).max() > 1.35 * reach
    if far or cv2.contourArea(cv2.convexHull(contour)) > 1.3 * area:
        return 0.0, 0.0
    coarse = [piece.symmetry_deg * k / TURNS for k in range(TURNS)]
    told = [(overlap(points, turned(outline, deg) + middle), deg) for deg in coarse]
    best = max(told)
    step = piece.symmetry_deg / TURNS / 3
    near = [(overlap(points, turned(outline, best[1] + d) + middle), best[1] + d)
            for d in (-step, step)]  # fmt: skip
    like, deg = max(best, *near)
    return deg, like


def overlap(one: Array, other: Array) -> float:
    """Intersection over union of two outlines (K, 2), px."""
    both = np.vstack([one, other])
    low = np.floor(both.min(axis=0)) - 1
    wide, tall = (np.ceil(both.max(axis=0)) - low + 2).astype(int)
    masks = np.zeros((2, tall, wide), np.uint8)
    for mask, outline in zip(masks, (one, other), strict=True):
        cv2.fillPoly(mask, [np.round((outline - low) * 16).astype(np.int32)], 1, shift=4)
    return float((masks[0] & masks[1]).sum() / max(1, (masks[0] | masks[1]).sum()))


def rounder(patch: Patch) -> bool:
    """Whether a disc fits a patch clearly better than the outline: a dot printed on a cloth."""
    rim = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    disc = np.column_stack([np.cos(rim), np.sin(rim)]) * np.sqrt(patch.area / np.pi)
    points = np.asarray(patch.contour, float).reshape(-1, 2)
    return overlap(points, disc + patch.middle) > patch.like + 0.02


def of_usual_size(patches: Sequence[Patch], alike: float) -> list[Patch]:
    """The best patch at each place, of those of the commonest size."""
    kept = apart(patches)
    if not kept:
        return []
    logs = np.log([patch.area for patch in kept])
    crowd = (np.abs(logs[:, None] - logs[None]) < alike / 2).sum(axis=1)
    middle = np.median(logs[np.abs(logs - logs[int(crowd.argmax())]) < alike / 2])
    return [p for p, log in zip(kept, logs, strict=True) if abs(log - middle) < alike]


def apart(patches: Sequence[Patch]) -> list[Patch]:
    """Patches of which no two lie at one place; the better fitting one stays."""
    ordered = sorted(patches, key=lambda p: (-p.like, *p.middle))
    middles = np.array([patch.middle for patch in ordered]).reshape(-1, 2)
    free = np.ones(len(ordered), bool)
    kept: list[Patch] = []
    for index, patch in enumerate(ordered):
        near = np.hypot(*(middles[:index] - patch.middle).T) <= 0.6 * np.sqrt(patch.area)
        free[index] = not (near & free[:index]).any()
        if free[index]:
            kept.append(patch)
    return kept


def outline_of(patch: Patch, piece: Piece, side: float) -> Array:
    """Outline (K, 2) of the whole piece that shows a patch."""
    return turned(piece.outline * side, patch.turn_deg) + patch.middle


def sides_of(outline: Array) -> Iterator[tuple[Array, Array]]:
    """The two ends of each side of an outline."""
    return pairwise([*outline, outline[0]])


def values_at(field: Small, points: Array) -> Array:
    """Values (N,) of a field at points (N, 2) px; 0 outside."""
    x, y = np.asarray(points, np.float32).reshape(-1, 1, 2).transpose(2, 0, 1)
    told = cv2.remap(field, np.ascontiguousarray(x), np.ascontiguousarray(y), cv2.INTER_LINEAR)
    return np.asarray(told, np.float64).ravel()


def inside(size: tuple[int, ...], outline: Array, grown: float) -> tuple[Mask, Window]:
    """What lies inside an outline grown about its middle: a mask, and its window in a picture of
    this size."""
    middle = outline.mean(axis=0)
    points = middle + (outline - middle) * grown
    low = np.clip(np.floor(points.min(axis=0)).astype(int) - 1, 0, None)
    high = np.minimum(np.ceil(points.max(axis=0)).astype(int) + 2, size[1::-1])
    window = np.s_[low[1] : max(low[1], high[1]), low[0] : max(low[0], high[0])]
    mask = np.zeros(np.maximum(high - low, 0)[::-1], np.uint8)
    if mask.size:
        cv2.fillPoly(mask, [np.round((points - low) * 16).astype(np.int32)], 1, shift=4)
    return mask.astype(bool), window


def filled(size: tuple[int, ...], outlines: Iterable[Array], grown: float) -> Mask:
    """What lies inside any of the outlines."""
    filled = np.zeros(size[:2], bool)
    for outline in outlines:
        mask, window = inside(size, outline, grown)
        filled[window] |= mask
    return filled


def side_votes(fields: tuple[Small, Small], outline: Array) -> Array:
    """Mean votes on each long side of one outline where it lies."""
    told = []
    for a, b in sides_of(outline):
        long = float(np.linalg.norm(b - a))
        if long < 0.12 * SIDE_PX:
            continue
        nx, ny = (b - a)[1] / long, -(b - a)[0] / long
        line = a + np.linspace(0.1, 0.9, max(2, round(long)))[:, None] * (b - a)
        votes = (
            values_at(fields[0], line) * (nx * nx - ny * ny)
            + values_at(fields[1], line) * 2 * nx * ny
        )
        told.append(float(votes.mean()))
    return np.array(told)


def directed(seen: Seen) -> tuple[Small, Small]:
    """Change of colour by its direction: |g| cos 2a and |g| sin 2a, counted up to 8 a px."""
    soft = cv2.GaussianBlur(seen.lab, (0, 0), 0.9)
    dx, dy = (cv2.Scharr(soft, cv2.CV_32F, *way) / 32.0 for way in ((1, 0), (0, 1)))
    xx, yy, xy = ((a * b).sum(axis=-1) for a, b in ((dx, dx), (dy, dy), (dx, dy)))
    long = np.sqrt(xx + yy) + 1e-6
    cut = np.minimum(long, 8) / long**2
    return np.asarray((xx - yy) * cut, np.float32), np.asarray(2 * xy * cut, np.float32)
