"""A photo of loose pieces spread out on a table -> where each piece lies, and what is unsettled.

Flat patches with the outline of a piece, turned any way, are pieces if they are of the usual size.
How their size changes over the photo tells how the table is tilted; the photo is levelled and the
pieces are sought again, patches of several pieces are split into whole outlines, and three nets
catch what is left over: patches and colours that are not the table's, and outlines that no patch
fills. What is caught is kept as a doubt with its place; nothing is dropped in silence.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.errors import PhotoError
from vision.geometry import USUAL_FOCAL
from vision.types import Photo

Array = NDArray[np.float64]
Small = NDArray[np.float32]
Picture = NDArray[np.uint8]
Mask = NDArray[np.bool_]
Window = tuple[slice, slice]

SEARCH_PX = 1500
SIDE_PX = 36.0
"""Root of a piece's area in the levelled picture."""

LARGEST_LEVEL_PX = 2400
FLAT_STEPS = (1.0, 1.8, 3.0, 5.0)
"""Change of colour, CIELAB units per px, up to which a picture counts as flat; all are tried."""

PIECE_SHARE = (0.0002, 0.02)
"""A piece fills between these shares of the photo."""

LIKE_FIRST, LIKE_PIECE = 0.80, 0.85
"""Overlap with a piece's outline from which a patch may be one, before and after levelling."""

ALIKE_FIRST, ALIKE_SIZE = 0.45, 0.2
"""Difference of log area from the usual piece's within which a patch is one piece."""

LIKE_GROUP = 0.86
"""Overlap of several outlines together with the patch that they explain."""

MOST_IN_GROUP = 5
FEWEST_FOR_TILT = 14
TURNS = 12
"""Turns tried of an outline, over its own symmetry."""

EXTENDED = 0.6
"""Share of the lines beyond an outline's corners that go on as they do in a printed pattern."""

TABLE_COLOURS = 10
LIKE_TABLE = 12.0
"""CIELAB difference (L at half weight) within which a colour may be the table's."""

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

LEAST_VOTES = 0.45
"""Votes, over the usual, that a patch's outline must collect to be counted as a piece."""

MUCH_PATTERN = 12
"""So many printed outlines, and the table looks too much like pieces."""

MUCH_DOUBT = 0.4
"""Doubts, over the pieces found, from which the photo as a whole is refused."""


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


@dataclass(frozen=True, eq=False)
class Spread:
    """What a photo shows: the levelled picture (H, W, 3) sRGB, pieces in reading order, doubts,
    and ``to_photo`` (3, 3) from its px to full-size photo px."""

    level: Picture
    pieces: tuple[LoosePiece, ...]
    unsettled: tuple[Unsettled, ...]
    to_photo: Array


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
        if _iou(outline * 100, turned(outline * 100, 360 / order)) > 0.96:
            return Piece(outline, 360 / order)
    return Piece(outline, 360.0)


def turned(outline: Array, deg: float) -> Array:
    """An outline turned about (0, 0)."""
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    return outline @ np.array([[c, s], [-s, c]])


def find_pieces(photo: Photo, piece: Piece) -> Spread:
    """The loose pieces in a photo. Raises PhotoError where fewer than two are seen."""
    k = max(1.0, max(photo.pixels.shape) / SEARCH_PX)
    size = (round(photo.pixels.shape[1] / k), round(photo.pixels.shape[0] / k))
    small = np.asarray(cv2.resize(photo.pixels, size, interpolation=cv2.INTER_AREA), np.uint8)
    first = _usual(list(_patches(_seen(small), piece, LIKE_FIRST)), ALIKE_FIRST)
    if len(first) < 2:
        raise PhotoError(
            photo.name,
            "hardly any loose pieces are seen.",
            "Spread them out flat on a table of one other colour and photograph them from above.",
        )
    to_small, level = _levelled(small, first)
    try:
        pieces, unsettled = _counted(_seen(level), piece)
    except NotSettled as much:
        raise PhotoError(
            photo.name,
            "the table's own pattern looks too much like pieces.",
            "Spread them out on a plain cloth of a colour that no piece has, in even light.",
        ) from much
    to_decoded = np.array([[k, 0, (k - 1) / 2], [0, k, (k - 1) / 2], [0, 0, 1.0]])
    s = photo.scale
    to_full = np.array([[s, 0, (s - 1) / 2], [0, s, (s - 1) / 2], [0, 0, 1.0]])
    return Spread(level, tuple(pieces), tuple(unsettled), to_full @ to_decoded @ to_small)


@dataclass(frozen=True, eq=False)
class Seen:
    """A picture, its CIELAB and its change of colour per px, and where the picture is known."""

    picture: Picture
    lab: Small
    slope: Small
    known: Mask


@dataclass(frozen=True, eq=False)
class _Patch:
    """A flat patch: contour, area, middle (2,), best turn (deg), its overlap, and the threshold of
    flatness (index) at which it shows."""

    contour: cv2.typing.MatLike
    area: float
    middle: Array
    turn_deg: float
    like: float
    flat: int


def _seen(picture: Picture) -> Seen:
    known = picture.max(axis=2) > 0
    calm = np.asarray(cv2.medianBlur(picture, 3), np.float32) / 255
    lab = np.asarray(cv2.cvtColor(calm, cv2.COLOR_RGB2LAB), np.float32)
    soft = cv2.GaussianBlur(lab, (0, 0), 0.9)
    dx, dy = (cv2.Scharr(soft, cv2.CV_32F, *way) / 32.0 for way in ((1, 0), (0, 1)))
    return Seen(picture, lab, np.asarray(np.sqrt((dx**2 + dy**2).sum(-1)), np.float32), known)


def _patches(seen: Seen, piece: Piece, like: float) -> Iterator[_Patch]:
    """Every flat patch that has the outline of one piece."""
    for patch in _all_patches(seen, piece):
        if patch.like > like:
            yield patch


def _all_patches(seen: Seen, piece: Piece) -> Iterator[_Patch]:
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
            yield _Patch(contour, area, middle, deg, like, index)


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
    told = [(_iou(points, turned(outline, deg) + middle), deg) for deg in coarse]
    best = max(told)
    step = piece.symmetry_deg / TURNS / 3
    near = [(_iou(points, turned(outline, best[1] + d) + middle), best[1] + d)
            for d in (-step, step)]  # fmt: skip
    like, deg = max(best, *near)
    return deg, like


def _iou(one: Array, other: Array) -> float:
    """Intersection over union of two outlines (K, 2), px."""
    both = np.vstack([one, other])
    low = np.floor(both.min(axis=0)) - 1
    wide, tall = (np.ceil(both.max(axis=0)) - low + 2).astype(int)
    masks = np.zeros((2, tall, wide), np.uint8)
    for mask, outline in zip(masks, (one, other), strict=True):
        cv2.fillPoly(mask, [np.round((outline - low) * 16).astype(np.int32)], 1, shift=4)
    return float((masks[0] & masks[1]).sum() / max(1, (masks[0] | masks[1]).sum()))


def _usual(patches: Sequence[_Patch], alike: float) -> list[_Patch]:
    """The best patch at each place, of those of the commonest size."""
    kept = _apart(patches)
    if not kept:
        return []
    logs = np.log([patch.area for patch in kept])
    crowd = (np.abs(logs[:, None] - logs[None]) < alike / 2).sum(axis=1)
    middle = np.median(logs[np.abs(logs - logs[int(crowd.argmax())]) < alike / 2])
    return [p for p, log in zip(kept, logs, strict=True) if abs(log - middle) < alike]


def _apart(patches: Sequence[_Patch]) -> list[_Patch]:
    """Patches of which no two lie at one place; the better fitting one stays."""
    kept: list[_Patch] = []
    for patch in sorted(patches, key=lambda p: (-p.like, *p.middle)):
        gap = 0.6 * np.sqrt(patch.area)
        if all(np.linalg.norm(patch.middle - other.middle) > gap for other in kept):
            kept.append(patch)
    return kept


def _levelled(small: Picture, singles: Sequence[_Patch]) -> tuple[Array, Picture]:
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


def _counted(seen: Seen, piece: Piece) -> tuple[list[LoosePiece], list[Unsettled]]:
    """The pieces of a levelled picture, and what was left over."""
    patches = list(_all_patches(seen, piece))
    singles = [p for p in patches if p.like > LIKE_PIECE and abs(np.log(p.area / SIDE_PX**2)) < 0.6]
    sizes = {
        flat: float(np.median([p.area for p in singles if p.flat == flat] or [SIDE_PX**2]))
        for flat in range(len(FLAT_STEPS))
    }
    whole = [p for p in singles if abs(np.log(p.area / sizes[p.flat])) < ALIKE_SIZE]
    side = _true_side(seen, piece, _apart(whole))
    table = _table_colours(seen, _apart(whole), side)
    printed = [_is_pattern(seen, _outline(p, piece, side), table) for p in whole]
    kept = _apart([p for p, is_printed in zip(whole, printed, strict=True) if not is_printed])
    found = [LoosePiece(_outline(p, piece, side), p.like) for p in kept]
    groups = [p for p in patches if not _table_patch(seen, p, table)]
    for patch in sorted(groups, key=lambda p: -p.flat):
        found += _split(patch, sizes[patch.flat], side, piece, found)
    found, clashes = _without_clashes(_outlined(seen, found))
    left = [*clashes, *_left_over(seen, piece, found, (side, table))]
    if sum(printed) > MUCH_PATTERN or len(left) > max(MUCH_DOUBT * len(found), 6):
        raise NotSettled(sum(printed), len(left))
    return found, left


class NotSettled(Exception):
    """Too much on the table looks like pieces: printed outlines seen, doubts left."""


def _outlined(seen: Seen, found: Sequence[LoosePiece]) -> list[LoosePiece]:
    """Those pieces whose outlines are seen; a flat spot of the table has none."""
    fields = _directed(seen)
    told = [float(_side_votes(fields, one.outline_px).mean()) for one in found]
    least = LEAST_VOTES * float(np.median(told)) if told else 0.0
    return [one for one, votes in zip(found, told, strict=True)
            if votes > least]  # fmt: skip


def _outline(patch: _Patch, piece: Piece, side: float) -> Array:
    """Outline (K, 2) of the whole piece that shows a patch."""
    return turned(piece.outline * side, patch.turn_deg) + patch.middle


def _true_side(seen: Seen, piece: Piece, whole: Sequence[_Patch]) -> float:
    """Root of a piece's area, px: where the outlines of the pieces meet most change of colour."""
    sides = np.sqrt(np.median([p.area for p in whole])) * np.linspace(1.0, 1.35, 36)
    told = [np.mean([_votes(seen, _outline(p, piece, side)) for p in whole[:60]]) for side in sides]
    return float(sides[int(np.argmax(told))])


def _votes(seen: Seen, outline: Array) -> float:
    """Mean change of colour on an outline, counted up to 12 a px."""
    line = np.vstack([a + np.linspace(0.1, 0.9, 7)[:, None] * (b - a) for a, b in _pairs(outline)])
    return float(np.minimum(_at(seen.slope, line), 12).mean())


def _pairs(outline: Array) -> Iterator[tuple[Array, Array]]:
    return pairwise([*outline, outline[0]])


def _at(field: Small, points: Array) -> Array:
    """Values (N,) of a field at points (N, 2) px; 0 outside."""
    x, y = np.asarray(points, np.float32).reshape(-1, 1, 2).transpose(2, 0, 1)
    told = cv2.remap(field, np.ascontiguousarray(x), np.ascontiguousarray(y), cv2.INTER_LINEAR)
    return np.asarray(told, np.float64).ravel()


def _table_colours(seen: Seen, whole: Sequence[_Patch], side: float) -> Small:
    """CIELAB (K, 3), L at half weight, of the table as it shows well away from the pieces."""
    near = np.zeros(seen.slope.shape, np.uint8)
    for patch in whole:
        x, y = np.round(patch.middle).astype(int).tolist()
        cv2.circle(near, (x, y), round(1.1 * side), 1, -1)
    bare = seen.known & (near == 0)
    pixels = _half(seen.lab)[bare][:: max(1, int(bare.sum() // 20000))]
    if len(pixels) < TABLE_COLOURS:
        return np.full((1, 3), 1e6, np.float32)
    rule = (cv2.TERM_CRITERIA_MAX_ITER + cv2.TERM_CRITERIA_EPS, 25, 0.5)
    cv2.setRNGSeed(1)
    _, label, centres = cv2.kmeans(
        np.ascontiguousarray(pixels),
        TABLE_COLOURS,
        None,
        rule,
        1,
        cv2.KMEANS_PP_CENTERS,  # type: ignore[call-overload]
    )
    common = np.bincount(np.asarray(label).ravel(), minlength=TABLE_COLOURS) > 0.01 * len(pixels)
    return np.asarray(centres[common], np.float32)


def _half(lab: Small) -> Small:
    return lab * np.array([0.5, 1, 1], np.float32)


def _from_table(lab: Small, table: Small) -> Small:
    """Difference of colours (..., 3), L at half weight, from the nearest colour of the table."""
    return np.asarray(
        np.min([np.linalg.norm(lab - colour, axis=-1) for colour in table], axis=0), np.float32
    )


def _like_table(seen: Seen, outline: Array, table: Small) -> bool:
    """Whether the colour inside an outline may be the table's."""
    mask, window = _inside(seen.slope.shape, outline, 0.6)
    core = seen.lab[window][mask]
    return len(core) > 0 and bool(_from_table(_half(np.median(core, axis=0)), table) <= LIKE_TABLE)


def _table_patch(seen: Seen, patch: _Patch, table: Small) -> bool:
    """Whether most of a patch may be bare table."""
    points = np.asarray(patch.contour).reshape(-1, 2)
    colour = np.median(seen.lab[points[:, 1], points[:, 0]], axis=0)
    return bool(_from_table(_half(colour), table) <= LIKE_TABLE)


def _is_pattern(seen: Seen, outline: Array, table: Small) -> bool:
    """Whether an outline is printed on the table: its colour is the table's and its sides go on
    beyond its corners."""
    if not _like_table(seen, outline, table):
        return False
    sides = [(a, b) for a, b in _pairs(outline) if np.linalg.norm(b - a) > 0.3 * SIDE_PX]
    beyond = [np.vstack([a + t * (a - b), b + t * (b - a)]) for a, b in sides
              for t in (0.15, 0.25, 0.35)]  # fmt: skip
    own = np.mean([_at(seen.slope, a + 0.5 * (b - a)[None]).max() for a, b in sides])
    return bool((_at(seen.slope, np.vstack(beyond)) > 0.5 * own).mean() > EXTENDED)


def _inside(size: tuple[int, ...], outline: Array, grown: float) -> tuple[Mask, Window]:
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


def _filled(size: tuple[int, ...], outlines: Iterable[Array], grown: float) -> Mask:
    """What lies inside any of the outlines."""
    filled = np.zeros(size[:2], bool)
    for outline in outlines:
        mask, window = _inside(size, outline, grown)
        filled[window] |= mask
    return filled


def _split(
    patch: _Patch, area: float, side: float, piece: Piece, found: Sequence[LoosePiece]
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
    together = _filled(free.shape, outlines, 1.0)
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
            kernel = _filled((2 * half + 1, 2 * half + 1), [outline + half], 1.0)
            told = cv2.filter2D(left, -1, kernel.astype(np.float32), borderType=0)
            row, column = np.unravel_index(int(told.argmax()), told.shape)
            if told[row, column] > best[0]:
                best = (float(told[row, column]), outline + np.array([column, row]))
        placed.append(best[1])
        left[_filled(left.shape, [best[1]], 1.0)] = -1
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
            clashes.append(Unsettled(_box(piece.outline_px), "two outlines overlap here"))
    kept.sort(key=lambda p: (round(_middle(p)[1] / SIDE_PX), _middle(p)[0]))
    return kept, clashes


def _shared(one: Array, other: Array) -> float:
    """Share of one outline's inside that lies in another's too."""
    area, _ = cv2.intersectConvexConvex(one.astype(np.float32), other.astype(np.float32))
    return float(area / cv2.contourArea(one.astype(np.float32)))


def _box(points: Array) -> Array:
    """The upright box (4, 2) round points."""
    (left, top), (right, low) = points.min(axis=0), points.max(axis=0)
    return np.array([[left, top], [right, top], [right, low], [left, low]])


def _left_over(
    seen: Seen, piece: Piece, found: Sequence[LoosePiece], known: tuple[float, Small]
) -> list[Unsettled]:
    """What three nets catch: strange colours, patches, and outlines that no piece explains."""
    side, table = known
    explained = _filled(seen.slope.shape, [one.outline_px for one in found], 1.3)
    strange = (_from_table(_half(seen.lab), table) > LIKE_TABLE) & seen.known & ~explained
    caught = _blobs(strange, LEFT_OVER * side**2, "something here is not a whole number of pieces")
    for patch in _all_patches(seen, piece):
        outline = _outline(patch, piece, side)
        if patch.like > 0.75 and abs(np.log(patch.area / side**2)) < 0.7 and not _is_pattern(
            seen, outline, table
        ):  # fmt: skip
            caught.append(Unsettled(_box(outline), "this may be a piece"))
    caught += _outlines_seen(seen, piece, found, known)
    return _new_places(caught, explained)


def _blobs(mask: Mask, least: float, why: str) -> list[Unsettled]:
    """Boxes of the connected parts of a mask that hold at least so many px."""
    clean = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5)))
    number, _, stats, _ = cv2.connectedComponentsWithStats(np.asarray(clean, np.uint8))
    found = []
    for x, y, wide, tall, area in stats[1:number]:
        if area >= least:
            found.append(Unsettled(_box(np.array([[x, y], [x + wide, y + tall]], float)), why))
    return found


def _outlines_seen(
    seen: Seen, piece: Piece, found: Sequence[LoosePiece], known: tuple[float, Small]
) -> list[Unsettled]:
    """Places at which an outline collects nearly as many votes as those of the pieces do.

    Votes are |gradient| cos 2(direction - normal), as in ``lattice_proposal``.
    """
    side, table = known
    fields = _directed(seen)
    usual = float(np.median([_side_votes(fields, one.outline_px).mean() for one in found]))
    explained = _filled(seen.slope.shape, [one.outline_px for one in found], 1.28)
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
        sides = np.sort(_side_votes(fields, outline))
        if sides[1] > CLOSED * sides.mean() and not _is_pattern(seen, outline, table):
            caught.append(Unsettled(_box(outline), "the outline of a piece is seen here"))
    return caught


def _side_votes(fields: tuple[Small, Small], outline: Array) -> Array:
    """Mean votes on each long side of one outline where it lies."""
    told = []
    for a, b in _pairs(outline):
        long = float(np.linalg.norm(b - a))
        if long < 0.12 * SIDE_PX:
            continue
        nx, ny = (b - a)[1] / long, -(b - a)[0] / long
        line = a + np.linspace(0.1, 0.9, max(2, round(long)))[:, None] * (b - a)
        votes = _at(fields[0], line) * (nx * nx - ny * ny) + _at(fields[1], line) * 2 * nx * ny
        told.append(float(votes.mean()))
    return np.array(told)


def _directed(seen: Seen) -> tuple[Small, Small]:
    """Change of colour by its direction: |g| cos 2a and |g| sin 2a, counted up to 8 a px."""
    soft = cv2.GaussianBlur(seen.lab, (0, 0), 0.9)
    dx, dy = (cv2.Scharr(soft, cv2.CV_32F, *way) / 32.0 for way in ((1, 0), (0, 1)))
    xx, yy, xy = ((a * b).sum(axis=-1) for a, b in ((dx, dx), (dy, dy), (dx, dy)))
    long = np.sqrt(xx + yy) + 1e-6
    cut = np.minimum(long, 8) / long**2
    return np.asarray((xx - yy) * cut, np.float32), np.asarray(2 * xy * cut, np.float32)


def _outline_votes(fields: tuple[Small, Small], outline: Array) -> Small:
    """Votes (H, W) of an outline with its middle at each px."""
    half = int(np.ceil(np.abs(outline).max())) + 2
    kernels = np.zeros((2, 2 * half + 1, 2 * half + 1), np.float32)
    points = 0
    for a, b in _pairs(outline):
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
