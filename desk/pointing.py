"""Anchors by pointing: at a cell, or past the cells at one of the board's edges."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from desk.given import GivenError
from scoring.regular import row_of
from scoring.sides import within
from scoring.types import Point

Array = NDArray[np.float64]
EDGES = ("top", "bottom", "left", "right", "rim")


def point_mm(words: str, option: str, px_per_mm: float, size_mm: tuple[float, float]) -> Point:
    """Board mm of ``X,Y`` in px of a picture of the whole board."""
    try:
        x, y = (float(part) / px_per_mm for part in words.split(","))
    except ValueError as error:
        raise GivenError(f"{option} {words}", "write X,Y in the picture of the board.") from error
    if not (0 <= x <= size_mm[0] and 0 <= y <= size_mm[1]):
        raise GivenError(f"{option} {words}", "this point does not lie on the board.")
    return x, y


def anchors_toml(edge: str, pointed: Sequence[str | Point], outlines: Mapping[str, Array]) -> str:
    """The sheet's ``anchors`` from a named edge and from what was pointed at; "" for none.

    A point in a cell, or a cell's name, makes that cell an anchor; a point past all cells makes
    the nearest edge's cells anchors. ``outlines`` (K, 2) mm by cell; raises GivenError for a cell
    that there is not.
    """
    if edge and edge not in EDGES:
        raise GivenError(f"--anchors {edge}", f"name one of {', '.join(EDGES)}.")
    edges = [edge] if edge else []
    cells: list[str] = []
    for one in pointed:
        if isinstance(one, str):
            if outlines and one not in outlines:
                raise GivenError(f"--anchor {one}", "the board has no such cell.")
            cells.append(one)
        elif cell := cell_at(one, outlines):
            cells.append(cell)
        else:
            edges.append(edge_at(one, outlines))
    return _inline(list(dict.fromkeys(edges)), list(dict.fromkeys(cells)), outlines)


def cell_at(point: Point, outlines: Mapping[str, Array]) -> str:
    """The cell under a point; "" where there is none."""
    for name, outline in outlines.items():
        if within(point, tuple((float(x), float(y)) for x, y in outline)):
            return name
    return ""


def edge_at(point: Point, outlines: Mapping[str, Array]) -> str:
    """The edge of all cells that a point beside them is nearest to."""
    low = np.min([outline.min(axis=0) for outline in outlines.values()], axis=0)
    high = np.max([outline.max(axis=0) for outline in outlines.values()], axis=0)
    x, y = point
    past = {"left": low[0] - x, "right": x - high[0], "top": low[1] - y, "bottom": y - high[1]}
    return max(past, key=lambda edge: past[edge])


def _inline(edges: list[str], cells: list[str], outlines: Mapping[str, Array]) -> str:
    """An inline table; of several edges all but the first are written cell by cell."""
    for edge in edges[1:]:
        cells += [name for name in along(edge, list(outlines)) if name not in cells]
    parts = [f'edge = "{edges[0]}"'] if edges else []
    if cells:
        names = ", ".join(f'"{name}"' for name in cells)
        parts.append(f"cells = [{names}]")
    return f"{{ {', '.join(parts)} }}" if parts else ""


def along(edge: str, names: Sequence[str]) -> list[str]:
    """The cells along an edge, told from their names as a sheet tells them."""
    rows: dict[str, list[str]] = {}
    for name in names:
        rows.setdefault(row_of(name), []).append(name)
    lines = list(rows.values())
    found = {
        "top": lines[0],
        "bottom": lines[-1],
        "left": [line[0] for line in lines],
        "right": [line[-1] for line in lines],
    }
    return (
        found[edge] if edge in found else sorted({name for line in found.values() for name in line})
    )
