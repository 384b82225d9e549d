"""Lattices: the cells of a board, which of them share a whole side, which sides lie inward.

Board plane in mm, origin at the board's top left corner, x right, y down. Cells are named by row
letter from the top (A ... Z, AA ...) and column number from the left. Regular boards come from
``regular_lattice``, boards drawn cell by cell from ``build_lattice``; ``with_anchors`` then says
where a first piece may lie.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from statistics import median

from scoring.errors import SheetError
from scoring.regular import Outline, Shape, Step, piece_outline, place_outline, row_of, steps_of
from scoring.sides import area, centre, overlapping_pairs, shared_sides
from scoring.types import Cell, Lattice, Point

SMALLEST_MM2 = 1.0
"""Area in mm² below which a drawn outline is no place for a piece."""

HALF_STEPPED = ("courses", "hex-pointy", "hex-flat", "diamond")
"""Kinds whose steps (u, v) all have u + v even, or all odd."""


def regular_lattice(kind: str, shape: Shape, size_mm: tuple[float, float] | None = None) -> Lattice:
    """The cells of a regular board, without anchors; its size follows from them if not said."""
    steps = steps_of(kind, shape)
    places = [place_outline(kind, shape, step) for step in steps.values()]
    cells = [Cell(id, piece_outline(kind, shape, step)) for id, step in steps.items()]
    size_mm = size_mm or _size_around(places, shape.margin_mm)
    joined = _named([cell.id for cell in cells], shared_sides(places))
    return Lattice(kind, tuple(cells), size_mm, joined, dict.fromkeys(steps, ()), steps, kind)


def build_lattice(
    kind: str,
    cells: Sequence[Cell],
    board_size_mm: tuple[float, float],
    neighbours: Mapping[str, Iterable[str]] | None = None,
    like: str = "",
) -> Lattice:
    """A lattice of drawn cells; neighbours come from the outlines unless they are given.

    ``like`` names the regular kind in whose steps patterns are written ("" if none fits). Raises
    SheetError when two cells share a name or a spot, or the cells do not lie as ``like`` says.
    """
    ids = [cell.id for cell in cells]
    _refuse_impossible(cells)
    if neighbours is None:
        joined = _named(ids, shared_sides([cell.polygon_mm for cell in cells]))
    else:
        joined = _checked_neighbours(ids, neighbours)
    steps = _steps_like(like, cells) if like else {}
    bare = Lattice(kind, tuple(cells), board_size_mm, joined, dict.fromkeys(ids, ()), steps, like)
    return with_anchors(bare, [cell.id for cell in cells if cell.anchor])


def with_anchors(lattice: Lattice, anchors: Iterable[str]) -> Lattice:
    """The same lattice with these cells as anchors; inner sides are those a step nearer to one."""
    wanted = set(anchors)
    cells = tuple(replace(cell, anchor=cell.id in wanted) for cell in lattice.cells)
    anchored = replace(lattice, cells=cells)
    steps = anchor_distance(anchored)
    far = len(cells)
    inner = {
        id: tuple(b for b in beside if steps.get(b, far) < steps.get(id, far))
        for id, beside in lattice.neighbours.items()
    }
    return replace(anchored, inner=inner)


def anchor_distance(lattice: Lattice) -> dict[str, int]:
    """Steps from each cell to its nearest anchor; cells that reach none are left out."""
    reached = {cell.id: 0 for cell in lattice.cells if cell.anchor}
    waiting = deque(reached)
    while waiting:
        here = waiting.popleft()
        for beside in lattice.neighbours[here]:
            if beside not in reached:
                reached[beside] = reached[here] + 1
                waiting.append(beside)
    return reached


def rows_of(lattice: Lattice) -> dict[str, list[str]]:
    """Cell ids of each row, by row letter, from the top."""
    rows: dict[str, list[str]] = {}
    for cell in lattice.cells:
        rows.setdefault(row_of(cell.id), []).append(cell.id)
    return rows


def columns_of(lattice: Lattice) -> dict[str, list[str]]:
    """Cell ids of each column number, from the left."""
    columns: dict[str, list[str]] = {}
    for cell in lattice.cells:
        columns.setdefault(cell.id.removeprefix(row_of(cell.id)), []).append(cell.id)
    return dict(sorted(columns.items(), key=lambda item: int(item[0])))


def cells_at_edge(lattice: Lattice, edge: str) -> list[str]:
    """Ids along the "top", "bottom", "left" or "right" edge, or along all four ("rim")."""
    rows = list(rows_of(lattice).values())
    found = {
        "top": rows[0],
        "bottom": rows[-1],
        "left": [row[0] for row in rows],
        "right": [row[-1] for row in rows],
    }
    rim = {id for line in found.values() for id in line}
    return found[edge] if edge != "rim" else [cell.id for cell in lattice.cells if cell.id in rim]


def cell_centres_mm(lattice: Lattice) -> list[Point]:
    """Centre of area of every cell in mm, in cell order."""
    return [centre(cell.polygon_mm) for cell in lattice.cells]


def board_corners_mm(lattice: Lattice) -> list[Point]:
    """The board's corners in mm, clockwise from the top left."""
    width, height = lattice.board_size_mm
    return [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)]


def pitch_mm(lattice: Lattice) -> float:
    """Median distance in mm between the centres of neighbouring cells."""
    spots = dict(zip(lattice.neighbours, cell_centres_mm(lattice), strict=True))
    gaps = [math.dist(spots[a], spots[b]) for a, bs in lattice.neighbours.items() for b in bs]
    if gaps:
        return median(gaps)
    xs, ys = zip(*lattice.cells[0].polygon_mm, strict=True)
    return max(max(xs) - min(xs), max(ys) - min(ys))


def _size_around(outlines: Iterable[Outline], margin_mm: Point) -> tuple[float, float]:
    xs, ys = zip(*(point for outline in outlines for point in outline), strict=True)
    return (round(max(xs) + margin_mm[0], 3), round(max(ys) + margin_mm[1], 3))


def _named(ids: Sequence[str], pairs: Iterable[tuple[int, int]]) -> dict[str, tuple[str, ...]]:
    beside: list[list[int]] = [[] for _ in ids]
    for i, j in pairs:
        beside[i].append(j)
        beside[j].append(i)
    return {id: tuple(ids[j] for j in sorted(js)) for id, js in zip(ids, beside, strict=True)}


def _refuse_impossible(cells: Sequence[Cell]) -> None:
    seen: set[str] = set()
    for cell in cells:
        if cell.id in seen:
            raise SheetError(f"board, cell {cell.id}", "two cells have this name")
        if abs(area(cell.polygon_mm)) < SMALLEST_MM2:
            raise SheetError(f"board, cell {cell.id}", "its outline has no area")
        seen.add(cell.id)
    for i, j in overlapping_pairs([cell.polygon_mm for cell in cells]):
        where = f"board, cells {cells[i].id} and {cells[j].id}"
        raise SheetError(where, "two cells lie on one spot")


def _checked_neighbours(
    ids: Sequence[str], given: Mapping[str, Iterable[str]]
) -> dict[str, tuple[str, ...]]:
    order = {id: i for i, id in enumerate(ids)}
    pairs: set[tuple[int, int]] = set()
    for a, beside in given.items():
        for b in beside:
            stranger = next((id for id in (a, b) if id not in order), None)
            if stranger:
                raise SheetError(f"board, neighbours of {a}", f"there is no cell {stranger}")
            if a == b:
                raise SheetError(f"board, neighbours of {a}", "a cell is not its own neighbour")
            pairs.add((min(order[a], order[b]), max(order[a], order[b])))
    return _named(ids, pairs)


def _steps_like(like: str, cells: Sequence[Cell]) -> dict[str, Step]:
    """Steps of drawn cells on a regular lattice, told from their centres."""
    spots = [centre(cell.polygon_mm) for cell in cells]
    us, vs = (_counted([spot[axis] for spot in spots]) for axis in (0, 1))
    steps = dict(zip((cell.id for cell in cells), zip(us, vs, strict=True), strict=True))
    odd = {(u + v) % 2 for u, v in steps.values()}
    if len(set(steps.values())) < len(steps) or (like in HALF_STEPPED and len(odd) > 1):
        raise SheetError("board, like", f"the drawn cells do not lie as in {like}")
    return steps


def _counted(values: Sequence[float]) -> list[int]:
    """Which line each value lies on, lines counted from 0 and as far apart as most of them are."""
    ordered = sorted(values)
    rises = [b - a for a, b in pairwise(ordered)]
    clear = [rise for rise in rises if rise > 0.3 * max(rises)]
    step = median(clear) if clear else 1.0
    return [round((value - ordered[0]) / step) for value in values]
