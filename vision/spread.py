"""A photo of loose pieces spread out on a table -> where each piece lies, and what is unsettled.

Flat patches with the outline of a piece, turned any way, are pieces if they are of the usual size.
How their size changes over the photo tells how the table is tilted; the photo is levelled and the
pieces are sought again, patches of several pieces are split into whole outlines, and three nets
catch what is left over: patches and colours that are not the table's, and outlines that no patch
fills. What is caught is kept as a doubt with its place; nothing is dropped in silence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.errors import PhotoError
from vision.geometry import USUAL_FOCAL
from vision.ground import ground_of
from vision.leftovers import (
    LoosePiece,
    Unsettled,
    box_round,
    is_printed,
    left_over,
    may_be_table,
)
from vision.outlines import (
    FLAT_STEPS,
    SIDE_PX,
    TURNS,
    Patch,
    Piece,
    Seen,
    apart,
    directed,
    filled,
    flat_patches,
    of_usual_size,
    outline_of,
    patches_like,
    rounder,
    see,
    side_votes,
    sides_of,
    turned,
    values_at,
)
from vision.types import Photo

Array = NDArray[np.float64]
Small = NDArray[np.float32]
Picture = NDArray[np.uint8]

SEARCH_PX = 1500


LARGEST_LEVEL_PX = 2400


LIKE_FIRST, LIKE_PIECE = 0.80, 0.85
"""Overlap with a piece's outline from which a patch may be one, before and after levelling."""


ALIKE_FIRST, ALIKE_SIZE = 0.45, 0.2
"""Difference of log area from the usual piece's within which a patch is one piece."""


LIKE_GROUP = 0.86
"""Overlap of several outlines together with the patch that they explain."""


MOST_IN_GROUP = 5


FEWEST_FOR_TILT = 14


LEAST_VOTES = 0.45
"""Votes, over the usual, that a patch's outline must collect to be counted as a piece."""


MUCH_PATTERN = 12
"""So many printed outlines, and the table looks too much like pieces."""


MOST_PATCHES = 1100
"""So many patches like a piece, over all thresholds, and it is a pattern: 120 pieces show at most
600, checked cloths 1500 to 3000 (``tests/bench/packing.py``)."""


MUCH_DOUBT = 0.4
"""Doubts, over the pieces found, from which the photo as a whole is refused."""


@dataclass(frozen=True, eq=False)
class Spread:
    """What a photo shows: the levelled picture (H, W, 3) sRGB, pieces in reading order, doubts,
    ``to_photo`` (3, 3) from its px to full-size photo px, and ``table`` (K, 3), the colours of the
    bare table, CIELAB with L at half weight."""

    level: Picture
    pieces: tuple[LoosePiece, ...]
    unsettled: tuple[Unsettled, ...]
    to_photo: Array
    table: Small


def find_pieces(photo: Photo, piece: Piece) -> Spread:
    """The loose pieces in a photo. Raises PhotoError where fewer than two are seen."""
    k = max(1.0, max(photo.pixels.shape) / SEARCH_PX)
    size = (round(photo.pixels.shape[1] / k), round(photo.pixels.shape[0] / k))
    small = np.asarray(cv2.resize(photo.pixels, size, interpolation=cv2.INTER_AREA), np.uint8)
    patches = list(islice(patches_like(see(small), piece, LIKE_FIRST), MOST_PATCHES))
    if len(patches) == MOST_PATCHES:
        raise _patterned(photo)
    first = of_usual_size(patches, ALIKE_FIRST)
    if len(first) < 2:
        raise PhotoError(
            photo.name,
            "hardly any loose pieces are seen.",
            "Spread them out flat on a table of one other colour and photograph them from above.",
        )
    to_small, level = _levelled(small, first)
    try:
        pieces, unsettled, table = _counted(see(level), piece)
    except NotSettled as much:
        raise _patterned(photo) from much
    to_decoded = np.array([[k, 0, (k - 1) / 2], [0, k, (k - 1) / 2], [0, 0, 1.0]])
    s = photo.scale
    to_full = np.array([[s, 0, (s - 1) / 2], [0, s, (s - 1) / 2], [0, 0, 1.0]])
    return Spread(level, tuple(pieces), tuple(unsettled), to_full @ to_decoded @ to_small, table)


def _patterned(photo: Photo) -> PhotoError:
    return PhotoError(
        photo.name,
        "the table's own pattern looks too much like pieces.",
        "Spread them out on a plain cloth of a colour that no piece has, in even light.",
    )


def _levelled(small: Picture, singles: Sequence[Patch]) -> tuple[Array, Picture]:
    """The picture seen from straight above, a piece ``SIDE_PX`` wide, and the way back (3, 3).

    A patch of a plane with normal n has an area as (n . (x, y, 1))^3, x and y in focal lengths, so
    that the cube roots of the pieces' areas are linear in x and y.
    """
    height, width = small.shape[:2]
    focal = USUAL_FOCAL * max(width, height)
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    at = (np.array([patch.middle for patch in singles]) - middle) / focal
    roots = np.cbrt([patch.area for patch in singles])
    normal = _plane(at, roots) if len(singles) >= FEWEST_FOR_TILT else np.array(
        [0.0, 0.0, float(np.median(roots))])  # fmt: skip
    up = normal / np.linalg.norm(normal)
    right = np.array([1.0, 0, 0]) - up[0] * up
    right /= np.linalg.norm(right)
    way = np.column_stack([right, np.cross(up, right), up])  # plane axes in camera axes
    side = float(np.median(roots)) ** 1.5
    scale = SIDE_PX / side * focal
    to_camera = way @ np.diag([1 / scale, 1 / scale, 1.0])
    to_small = np.array([[focal, 0, middle[0]], [0, focal, middle[1]], [0, 0, 1.0]]) @ to_camera
    rim = np.array([[0, 0], [width, 0], [width, height], [0, height]], float).reshape(-1, 1, 2)
    seen = cv2.perspectiveTransform(rim, np.linalg.inv(to_small)).reshape(-1, 2)
    low, high = seen.min(axis=0), seen.max(axis=0)
    size = np.minimum(np.ceil(high - low), LARGEST_LEVEL_PX).astype(int)
    to_small = to_small @ np.array([[1, 0, low[0]], [0, 1, low[1]], [0, 0, 1.0]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    level = cv2.warpPerspective(small, to_small, (int(size[0]), int(size[1])), flags=flags)
    return to_small, np.asarray(level, np.uint8)


def _plane(at: Array, roots: Array) -> Array:
    """Normal (3,) of the table from cube roots of areas, by least squares reweighted (Huber)."""
    design = np.column_stack([at, np.ones(len(at))])
    weight: Array = np.ones(len(at))
    normal: NDArray[np.floating] = np.zeros(3)
    for _ in range(12):
        normal = np.linalg.lstsq(design * weight[:, None], roots * weight, rcond=None)[0]
        off = np.abs(design @ normal - roots) / (0.02 * np.median(roots))
        weight = np.sqrt(1 / np.maximum(off, 1.0))
    return np.asarray(normal, np.float64)


def _counted(seen: Seen, piece: Piece) -> tuple[list[LoosePiece], list[Unsettled], Small]:
    """The pieces of a levelled picture, what was left over, and the table's colours (K, 3)."""
    patches = list(flat_patches(seen, piece))
    singles = [p for p in patches if p.like > LIKE_PIECE and abs(np.log(p.area / SIDE_PX**2)) < 0.6]
    sizes = {
        flat: float(np.median([p.area for p in singles if p.flat == flat] or [SIDE_PX**2]))
        for flat in range(len(FLAT_STEPS))
    }
    whole = [p for p in singles if abs(np.log(p.area / sizes[p.flat])) < ALIKE_SIZE]
    side = _true_side(seen, piece, apart(whole))
    ground = ground_of(seen, apart(whole), side)
    printed = [is_printed(seen, outline_of(p, piece, side), ground) for p in whole]
    if sum(printed) > MUCH_PATTERN:
        raise NotSettled(sum(printed), 0)
    kept = apart([p for p, is_printed in zip(whole, printed, strict=True) if not is_printed])
    kept = [patch for patch in kept if not rounder(patch)]
    found = [LoosePiece(outline_of(p, piece, side), p.like) for p in kept]
    groups = [p for p in patches if not may_be_table(seen, p, ground)]
    for patch in sorted(groups, key=lambda p: -p.flat):
        found += _split(patch, sizes[patch.flat], side, piece, found)
    found, clashes = _without_clashes(_outlined(seen, found))
    left = [*clashes, *left_over(seen, piece, found, ground)]
    if len(left) > max(MUCH_DOUBT * len(found), 6):
        raise NotSettled(sum(printed), len(left))
    return found, left, ground.colours


class NotSettled(Exception):
    """Too much on the table looks like pieces: printed outlines seen, doubts left."""


def _outlined(seen: Seen, found: Sequence[LoosePiece]) -> list[LoosePiece]:
    """Those pieces whose outlines are seen; a flat spot of the table has none."""
    fields = directed(seen)
    told = [float(side_votes(fields, one.outline_px).mean()) for one in found]
    least = LEAST_VOTES * float(np.median(told)) if told else 0.0
    return [one for one, votes in zip(found, told, strict=True)
            if votes > least]  # fmt: skip


def _true_side(seen: Seen, piece: Piece, whole: Sequence[Patch]) -> float:
    """Root of a piece's area, px: where the outlines of the pieces meet most change of colour."""
    sides = np.sqrt(np.median([p.area for p in whole])) * np.linspace(1.0, 1.35, 36)
    told = [
        np.mean([_votes(seen, outline_of(p, piece, side)) for p in whole[:60]]) for side in sides
    ]
    return float(sides[int(np.argmax(told))])


def _votes(seen: Seen, outline: Array) -> float:
    """Mean change of colour on an outline, counted up to 12 a px."""
    line = np.vstack(
        [a + np.linspace(0.1, 0.9, 7)[:, None] * (b - a) for a, b in sides_of(outline)]
    )
    return float(np.minimum(values_at(seen.slope, line), 12).mean())


def _split(
    patch: Patch, area: float, side: float, piece: Piece, found: Sequence[LoosePiece]
) -> list[LoosePiece]:
    """The pieces that a patch of several is made of; none where no whole number explains it."""
    number = round(patch.area / area)
    x, y, wide, tall = cv2.boundingRect(patch.contour)
    inside = [p for p in found if cv2.pointPolygonTest(patch.contour, _middle(p), False) > 0]
    if not 2 <= number <= MOST_IN_GROUP or inside or max(wide, tall) > 3 * number * side:
        return []
    room = round(side)
    origin = np.array([x - room, y - room])
    free = np.zeros((tall + 2 * room, wide + 2 * room), np.uint8)
    cv2.fillPoly(free, [np.asarray(patch.contour - origin, np.int32)], 1)
    outlines = _placed_whole(free.astype(np.float32), np.sqrt(area), piece, number)
    together = filled(free.shape, outlines, 1.0)
    like = float((together & (free > 0)).sum() / (together | (free > 0)).sum())
    if like < LIKE_GROUP:
        return []
    grown = side / np.sqrt(area)
    middles = [outline.mean(axis=0) for outline in outlines]
    return [
        LoosePiece(m + (o - m) * grown + origin, like)
        for o, m in zip(outlines, middles, strict=True)
    ]


def _placed_whole(free: Small, side: float, piece: Piece, number: int) -> list[Array]:
    """Outlines laid one after the other where most of the patch (1, else 0) is still free."""
    left = 2 * free - 1
    placed = []
    for _ in range(number):
        best = (-np.inf, np.zeros((0, 2)))
        for k in range(2 * TURNS):
            outline = turned(piece.outline * side, piece.symmetry_deg * k / TURNS / 2)
            half = int(np.ceil(np.abs(outline).max())) + 1
            kernel = filled((2 * half + 1, 2 * half + 1), [outline + half], 1.0)
            told = cv2.filter2D(left, -1, kernel.astype(np.float32), borderType=0)
            row, column = np.unravel_index(int(told.argmax()), told.shape)
            if told[row, column] > best[0]:
                best = (float(told[row, column]), outline + np.array([column, row]))
        placed.append(best[1])
        left[filled(left.shape, [best[1]], 1.0)] = -1
    return placed


def _middle(piece: LoosePiece) -> tuple[float, float]:
    x, y = piece.outline_px.mean(axis=0).tolist()
    return x, y


def _without_clashes(
    found: Sequence[LoosePiece],
) -> tuple[list[LoosePiece], list[Unsettled]]:
    """Pieces of which no two overlap, in reading order; the worse of two that do is a doubt."""
    kept: list[LoosePiece] = []
    clashes = []
    for piece in sorted(found, key=lambda p: (-p.fit, *_middle(p))):
        near = [p for p in kept if np.linalg.norm(np.subtract(_middle(p), _middle(piece))) < 80]
        shared = [_shared(piece.outline_px, p.outline_px) for p in near]
        if max(shared, default=0.0) < 0.15:
            kept.append(piece)
        elif max(shared) < 0.6:
            clashes.append(Unsettled(box_round(piece.outline_px), "two outlines overlap here"))
    kept.sort(key=lambda p: (round(_middle(p)[1] / SIDE_PX), _middle(p)[0]))
    return kept, clashes


def _shared(one: Array, other: Array) -> float:
    """Share of one outline's inside that lies in another's too."""
    area, _ = cv2.intersectConvexConvex(one.astype(np.float32), other.astype(np.float32))
    return float(area / cv2.contourArea(one.astype(np.float32)))
