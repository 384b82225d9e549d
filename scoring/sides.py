"""Which cells share a whole side, told from their outlines alone.

Boards leave a small gap between cells, so two sides count as one when they face each other across
at most ``GAP_SHARE`` of a cell's size. What is shared must be the whole side of one of the two
cells, or a whole half of a side of both, as in half-offset courses. A touch at a corner joins
nothing. Lengths are in mm, y runs down.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence

from scoring.types import Point

GAP_SHARE = 0.16
"""Widest gap between cells that still counts as touching, in cell sizes; most boards: under 0.1."""

WHOLE = 0.75
"""Share of a side (or half side) that must face the other cell; gaps shorten sides a little."""

PARALLEL = math.cos(math.radians(12.0))
"""Facing sides may differ by 12 degrees, for outlines drawn by hand."""

SHORTEST = 0.25
"""Sides shorter than this many cell sizes (a rounded or cut corner) never join cells."""

Outline = Sequence[Point]
Side = tuple[Point, Point]


def centre(outline: Outline) -> Point:
    """Centre of area of an outline, in mm."""
    doubled, cx, cy = 0.0, 0.0, 0.0
    for (ax, ay), (bx, by) in sides(outline):
        cross = ax * by - bx * ay
        doubled, cx, cy = doubled + cross, cx + (ax + bx) * cross, cy + (ay + by) * cross
    return (cx / (3 * doubled), cy / (3 * doubled))


def area(outline: Outline) -> float:
    """Area in mm²; positive when the outline runs clockwise on the board (y down)."""
    return sum(ax * by - bx * ay for (ax, ay), (bx, by) in sides(outline)) / 2


def sides(outline: Outline) -> list[Side]:
    """The sides of an outline in its own order."""
    return list(zip(outline, [*outline[1:], outline[0]], strict=True))


def clockwise(outline: Outline) -> list[Point]:
    """The same outline, running clockwise as seen on the board."""
    return list(outline) if area(outline) > 0 else list(reversed(outline))


def typical_size(outlines: Sequence[Outline]) -> float:
    """Side of a square as large as the middle cell, in mm."""
    areas = sorted(abs(area(outline)) for outline in outlines)
    return math.sqrt(areas[len(areas) // 2])


def near_pairs(outlines: Sequence[Outline]) -> list[tuple[int, int]]:
    """Pairs (i, j), i < j, near enough to touch: found in buckets, so the cost grows linearly."""
    reach = max(_diameter(outline) for outline in outlines) * (1 + GAP_SHARE)
    buckets: dict[tuple[int, int], list[int]] = defaultdict(list)
    spots = [centre(outline) for outline in outlines]
    for i, (x, y) in enumerate(spots):
        buckets[int(x // reach), int(y // reach)].append(i)
    return sorted(_close_pairs(buckets, spots, reach))


def _close_pairs(
    buckets: dict[tuple[int, int], list[int]], spots: Sequence[Point], reach: float
) -> Iterable[tuple[int, int]]:
    for (bx, by), here in buckets.items():
        around = [
            j for dx in (-1, 0, 1) for dy in (-1, 0, 1) for j in buckets.get((bx + dx, by + dy), ())
        ]
        for i in here:
            for j in around:
                if i < j and math.dist(spots[i], spots[j]) <= reach:
                    yield i, j


def shared_sides(outlines: Sequence[Outline]) -> list[tuple[int, int]]:
    """Pairs of cells that share a whole side."""
    size = typical_size(outlines)
    gap = GAP_SHARE * size
    turned = [
        [side for side in sides(clockwise(outline)) if math.dist(*side) >= SHORTEST * size]
        for outline in outlines
    ]
    return [
        (i, j)
        for i, j in near_pairs(outlines)
        if any(_face(a, b, gap) for a in turned[i] for b in turned[j])
    ]


def overlapping_pairs(outlines: Sequence[Outline]) -> list[tuple[int, int]]:
    """Pairs of cells that lie on one spot: a part of one, not just its rim, is within the other."""
    return [
        (i, j)
        for i, j in near_pairs(outlines)
        if _reaches_into(outlines[i], outlines[j]) or _reaches_into(outlines[j], outlines[i])
    ]


def within(point: Point, outline: Outline) -> bool:
    """Whether a point lies inside an outline (crossing count)."""
    x, y = point
    crossings = 0
    for (ax, ay), (bx, by) in sides(outline):
        if (ay > y) != (by > y) and x < ax + (bx - ax) * (y - ay) / (by - ay):
            crossings += 1
    return crossings % 2 == 1


def _reaches_into(outline: Outline, other: Outline) -> bool:
    cx, cy = centre(outline)
    drawn_in = [(cx + 0.85 * (x - cx), cy + 0.85 * (y - cy)) for x, y in outline]
    return any(within(point, other) for point in [(cx, cy), *drawn_in])


def _diameter(outline: Outline) -> float:
    xs, ys = [p[0] for p in outline], [p[1] for p in outline]
    return math.hypot(max(xs) - min(xs), max(ys) - min(ys))


def _face(a: Side, b: Side, gap: float) -> bool:
    """Whether side b lies along side a from outside, whole or by a whole half of both."""
    length_a, length_b = math.dist(*a), math.dist(*b)
    ux, uy = (a[1][0] - a[0][0]) / length_a, (a[1][1] - a[0][1]) / length_a
    if (ux * (b[1][0] - b[0][0]) + uy * (b[1][1] - b[0][1])) / length_b > -PARALLEL:
        return False
    along = sorted(ux * (x - a[0][0]) + uy * (y - a[0][1]) for x, y in b)
    # Clockwise with y down: the outside is to the left of the way, (uy, -ux).
    away = [uy * (x - a[0][0]) - ux * (y - a[0][1]) for x, y in b]
    if max(abs(d) for d in away) > gap + 0.05 * length_b:
        return False
    shared = min(along[1], length_a) - max(along[0], 0.0)
    return (
        shared >= WHOLE * min(length_a, length_b) or shared >= WHOLE * max(length_a, length_b) / 2
    )
