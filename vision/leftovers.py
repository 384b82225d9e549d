"""What counting loose pieces leaves over: four nets that catch what no counted piece explains."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.ground import LIKE_TABLE, Ground, from_table, half
from vision.outlines import (
    SIDE_PX,
    TURNS,
    Patch,
    Piece,
    Seen,
    directed,
    filled,
    flat_patches,
    inside,
    outline_of,
    side_votes,
    sides_of,
    turned,
    values_at,
)

Array = NDArray[np.float64]
Small = NDArray[np.float32]
Mask = NDArray[np.bool_]

EXTENDED = 0.6
"""Share of the lines beyond an outline's corners that go on as they do in a printed pattern."""


LEFT_OVER = 0.22
"""Share of a piece's area from which what is left over is a doubt."""


OUTLINE_OUT = 6.0
"""Votes that stand out from those of the bare table by so many of its spreads are a doubt too."""


FAINT, ONE_SIDE = 0.1, 0.4
"""Votes, over those of the pieces found, below which an outline is none however smooth the table,
and from which it is one however rough."""


CLOSED = 0.45
"""An outline is closed where its second poorest side has this share of its mean votes."""


MOST_PEAKS = 500


@dataclass(frozen=True, eq=False)
class LoosePiece:
    """One piece: its outline (K, 2) in px of the levelled picture, and how well it fits, 0 to 1."""

    outline_px: Array
    fit: float


@dataclass(frozen=True, eq=False)
class Unsettled:
    """A place (4, 2), px of the levelled picture, that was not counted, and why."""

    box_px: Array
    why: str


def _like_table(seen: Seen, outline: Array, ground: Ground) -> bool:
    """Whether the colour inside an outline may be the table's."""
    mask, window = inside(seen.slope.shape, outline, 0.6)
    core = seen.lab[window][mask]
    if not len(core):
        return False
    return bool(from_table(half(np.median(core, axis=0)), ground.colours) <= LIKE_TABLE)


def may_be_table(seen: Seen, patch: Patch, ground: Ground) -> bool:
    """Whether most of a patch may be bare table."""
    points = np.asarray(patch.contour).reshape(-1, 2)
    colour = np.median(seen.lab[points[:, 1], points[:, 0]], axis=0)
    return bool(from_table(half(colour), ground.colours) <= LIKE_TABLE)


def is_printed(seen: Seen, outline: Array, ground: Ground) -> bool:
    """Whether an outline is printed on the table: its colour is the table's and its sides go on
    beyond its corners."""
    if not _like_table(seen, outline, ground):
        return False
    sides = [(a, b) for a, b in sides_of(outline) if np.linalg.norm(b - a) > 0.3 * SIDE_PX]
    beyond = [np.vstack([a + t * (a - b), b + t * (b - a)]) for a, b in sides
              for t in (0.15, 0.25, 0.35)]  # fmt: skip
    own = np.mean([values_at(seen.slope, a + 0.5 * (b - a)[None]).max() for a, b in sides])
    return bool((values_at(seen.slope, np.vstack(beyond)) > 0.5 * own).mean() > EXTENDED)


def box_round(points: Array) -> Array:
    """The upright box (4, 2) round points."""
    (left, top), (right, low) = points.min(axis=0), points.max(axis=0)
    return np.array([[left, top], [right, top], [right, low], [left, low]])


def left_over(
    seen: Seen, piece: Piece, found: Sequence[LoosePiece], ground: Ground
) -> list[Unsettled]:
    """What three nets catch: strange colours, patches, and outlines that no piece explains."""
    side = ground.side
    explained = filled(seen.slope.shape, [one.outline_px for one in found], 1.3)
    strange = (from_table(half(seen.lab), ground.colours) > LIKE_TABLE) & seen.known & ~explained
    strange &= ~ground.beyond
    caught = _blobs(strange, LEFT_OVER * side**2, "something here is not a whole number of pieces")
    for patch in flat_patches(seen, piece):
        outline = outline_of(patch, piece, side)
        if patch.like > 0.75 and abs(np.log(patch.area / side**2)) < 0.7 and not is_printed(
            seen, outline, ground
        ):  # fmt: skip
            caught.append(Unsettled(box_round(outline), "this may be a piece"))
    caught += _outlines_seen(seen, piece, found, ground)
    return _new_places(caught, explained)


def _blobs(mask: Mask, least: float, why: str) -> list[Unsettled]:
    """Boxes of the connected parts of a mask that hold at least so many px."""
    clean = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5)))
    number, _, stats, _ = cv2.connectedComponentsWithStats(np.asarray(clean, np.uint8))
    found = []
    for x, y, wide, tall, area in stats[1:number]:
        if area >= least:
            found.append(Unsettled(box_round(np.array([[x, y], [x + wide, y + tall]], float)), why))
    return found


def _outlines_seen(
    seen: Seen, piece: Piece, found: Sequence[LoosePiece], ground: Ground
) -> list[Unsettled]:
    """Places at which an outline collects nearly as many votes as those of the pieces do.

    Votes are |gradient| cos 2(direction - normal), as in ``lattice_proposal``.
    """
    side = ground.side
    fields = directed(seen)
    usual = float(np.median([side_votes(fields, one.outline_px).mean() for one in found]))
    explained = filled(seen.slope.shape, [one.outline_px for one in found], 1.28)
    rim = cv2.erode(seen.known.astype(np.uint8), np.ones((7, 7)), borderValue=0) == 0
    for field in fields:
        field[explained | rim] = 0
    best = np.zeros(seen.slope.shape, np.float32)
    turn_of = np.zeros(seen.slope.shape, np.float32)
    for k in range(TURNS):
        deg = piece.symmetry_deg * k / TURNS
        votes = _outline_votes(fields, turned(piece.outline * side, deg))
        turn_of = np.where(votes > best, np.float32(deg), turn_of)
        best = np.maximum(best, votes)
    middling, high = np.quantile(best[~explained & ~rim], [0.5, 0.84])
    least = max(FAINT * usual, float(middling + OUTLINE_OUT * (high - middling)))
    caught = []
    peaks = (best == cv2.dilate(best, np.ones((15, 15)))) & (best > min(least, ONE_SIDE * usual))
    for y, x in sorted(zip(*np.nonzero(peaks), strict=True), key=lambda at: -best[at])[:MOST_PEAKS]:
        outline = turned(piece.outline * side, float(turn_of[y, x])) + np.array([x, y])
        sides = np.sort(side_votes(fields, outline))
        if sides[1] > CLOSED * sides.mean() and not is_printed(seen, outline, ground):
            caught.append(Unsettled(box_round(outline), "the outline of a piece is seen here"))
    return caught


def _outline_votes(fields: tuple[Small, Small], outline: Array) -> Small:
    """Votes (H, W) of an outline with its middle at each px."""
    half = int(np.ceil(np.abs(outline).max())) + 2
    kernels = np.zeros((2, 2 * half + 1, 2 * half + 1), np.float32)
    points = 0
    for a, b in sides_of(outline):
        long = float(np.linalg.norm(b - a))
        nx, ny = (b - a)[1] / max(long, 1e-6), -(b - a)[0] / max(long, 1e-6)
        for t in np.linspace(0.1, 0.9, max(1, round(long))):
            x, y = np.round(a + t * (b - a)).astype(int) + half
            kernels[:, y, x] += (nx * nx - ny * ny, 2 * nx * ny)
            points += 1
    told = [cv2.filter2D(field, -1, kernel / points, borderType=0)
            for field, kernel in zip(fields, kernels, strict=True)]  # fmt: skip
    return np.asarray(told[0] + told[1], np.float32)


def _new_places(caught: Sequence[Unsettled], explained: Mask) -> list[Unsettled]:
    """What does not lie on a counted piece, each place once."""
    kept: list[Unsettled] = []
    for one in caught:
        middle = one.box_px.mean(axis=0)
        x, y = np.round(middle).astype(int)
        off = not (0 <= y < explained.shape[0] and 0 <= x < explained.shape[1])
        if off or (explained[y, x] and "whole number" not in one.why):
            continue
        if all(np.linalg.norm(middle - other.box_px.mean(axis=0)) > 0.7 * SIDE_PX
               for other in kept):  # fmt: skip
            kept.append(one)
    return kept
